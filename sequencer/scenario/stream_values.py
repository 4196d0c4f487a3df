"""The cells of a recorded log as ticks and SI values.

Times and values are converted as the decimal numbers that the file holds, and rounded once.
"""

from __future__ import annotations

import decimal
import math
from collections.abc import Callable
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.documents import Document, Loc
from sequencer.errors import InputError, nearest
from sequencer.scenario.schema import ColumnTable, TimeTable
from sequencer.scenario.stream_file import LogTable
from sequencer.sequence.model import Input
from sequencer.units import TRUTH, Unit, exact, unit

__all__ = ["column_values", "row_ticks"]

_WORDS = {"true": "1", "false": "0"}
#: times further apart than this are none, s
_LONGEST_S = 1e9
#: nor are those with more digits than this before or behind the point
_DIGITS = 30

#: characters of a cell that a message repeats
_SHOWN = 40

#: so many digits that a product of numbers from files is rounded only when it becomes a double
_EXACT = decimal.Context(
    prec=50, Emax=decimal.MAX_EMAX, Emin=decimal.MIN_EMIN, traps=[decimal.InvalidOperation]
)

#: signs between columns, and how the scenario file writes them
_SEPARATORS = {";": ";", "\t": "\\t", ",": ","}


def row_ticks(
    document: Document, table: TimeTable, log: LogTable, rate_hz: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The ticks on which rows of the log fall, and for each row the index of its tick.

    A row belongs to the first tick at or after its time; the first row is at tick 0.

    Raises InputError for a unit that is none of time, a time that cannot be read, or that is
    earlier than that of the row before.
    """
    place: Loc = ("stream", "time")
    scale = _unit(document, place, table.unit)
    if scale.dimension != unit("s").dimension:
        raise document.error((*place, "unit"), f"'{table.unit}' is no unit of time")
    at = _index(document, place, table.column, log)
    above, below = (scale.factor * rate_hz).as_integer_ratio()
    longest = decimal.Decimal(_LONGEST_S) / _decimal(scale.factor)
    first: decimal.Decimal | None = None
    before: decimal.Decimal | None = None
    found = np.empty(len(log.rows), dtype=np.int64)
    for row, cells in enumerate(log.rows):
        now = _time(log, row, table.column, cells[at])
        if first is None or before is None:
            first = before = now
        if now < before:
            raise log.complaint(row, f"time goes backwards: {now} after {before}")
        before = now
        since = _EXACT.subtract(now, first)
        if since > longest:
            raise log.complaint(row, f"time jumps to {now}, which no log lasts")
        part, whole = since.as_integer_ratio()
        found[row] = -(-part * above // (whole * below))
    ticks, rows = np.unique(found, return_inverse=True)
    return ticks, rows.astype(np.int64)


def _time(log: LogTable, row: int, column: str, text: str) -> decimal.Decimal:
    try:
        if not math.isfinite(_number(text)):
            raise log.complaint(row, f"has no time in column '{column}'")
    except ValueError as error:
        what = f"'{_shown(text)}' in column '{column}' is {error}"
        raise log.complaint(row, what) from None
    now = decimal.Decimal(text)
    if now and not -_DIGITS < now.adjusted() < _DIGITS:
        raise log.complaint(row, f"'{_shown(text)}' in column '{column}' is no time")
    return now


def column_values(
    document: Document, place: Loc, table: ColumnTable, log: LogTable, source: Input
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """What one input reads in each row, in SI with NaN for a bad answer, and which rows answer.

    Raises InputError for a column that is not there, a unit that does not fit the input, and a
    cell that is no number.
    """
    scale = _fitting_unit(document, place, table, source)
    at = _index(document, place, table.column, log)
    texts = [cells[at] for cells in log.rows]
    convert = _conversion(table, scale)
    # sensors repeat themselves: each text is worked out once, in the order of the file
    known = dict.fromkeys(texts, math.nan)
    for text in known:
        try:
            known[text] = convert(text)
        except ValueError as error:
            what = f"'{_shown(text)}' in column '{table.column}' is {error}"
            raise log.complaint(texts.index(text), what) from None
    values = np.array([known[text] for text in texts])
    if table.taken_as == "height":
        values = _heights(values)
    silent = table.empty == "no_answer"
    answered = np.array([bool(text) or not silent for text in texts], dtype=np.bool_)
    return values, answered


def _fitting_unit(document: Document, place: Loc, table: ColumnTable, source: Input) -> Unit:
    """The unit of a column; refuse one that the input cannot be in."""
    scale = _unit(document, place, table.unit)
    wanted = unit(source.unit).dimension
    has = scale.dimension
    if table.taken_as == "height":
        if has != unit("Pa").dimension:
            raise document.error(
                (*place, "as"),
                f"only a pressure can be taken as height, not what is in {scale.symbol}",
            )
        has = unit("m").dimension
    if has != wanted:
        hint = "g0" if scale.symbol == "g" and wanted == unit("g0").dimension else None
        raise document.error(
            (*place, "unit"),
            f"column '{table.column}' is in {scale.symbol}"
            f"{', taken as height' if table.taken_as else ''}, but input '{source.name}' is "
            f"declared in {source.unit}",
            nearest=hint,
        )
    return scale


def _unit(document: Document, place: Loc, symbol: str) -> Unit:
    try:
        return unit(symbol)
    except InputError as error:
        raise document.error((*place, "unit"), error.what, nearest=error.nearest) from None


def _index(document: Document, place: Loc, column: str, log: LogTable) -> int:
    """Which column of the log has this name."""
    count = log.header.count(column)
    if count == 1:
        return log.header.index(column)
    place = (*place, "column")
    if count:
        raise document.error(place, f"{log.path.name} has {count} columns named '{column}'")
    for sign, written in _SEPARATORS.items():
        if len(log.header) == 1 and column in map(str.strip, log.header[0].split(sign)):
            what = f'{log.path.name} has one column only; did you mean separator = "{written}"?'
            raise document.error(place, what)
    near = nearest(column, log.header)
    known = "" if near else f" (it has: {', '.join(log.header[:12])})"
    raise document.error(place, f"{log.path.name} has no column '{column}'{known}", nearest=near)


def _number(text: str) -> float:
    """A cell as a number; NaN where it is empty. Raises ValueError, saying what it is not."""
    if not text:
        return math.nan
    try:
        # Python would take 1_000 for a number, nobody else does
        return float(text.replace("_", "no"))
    except ValueError:
        raise ValueError("no number") from None


def _shown(text: str) -> str:
    return text if len(text) <= _SHOWN else text[:_SHOWN] + "..."


def _conversion(table: ColumnTable, scale: Unit) -> Callable[[str], float]:
    """Cell -> SI value: (cell * scale + offset) in the unit of the file; NaN for a bad answer.

    It raises ValueError, saying what the cell is not.
    """
    slope = exact(table.scale) * scale.factor
    shift = exact(table.offset) * scale.factor + scale.offset
    times, plus = _decimal(slope), _decimal(shift)
    as_it_is = slope == 1 and shift == 0

    def convert(text: str) -> float:
        value = _number(text)
        if not as_it_is and math.isfinite(value):
            value = float(_EXACT.fma(decimal.Decimal(text), times, plus))
        return value if math.isfinite(value) else math.nan

    def truth(text: str) -> float:
        value = convert(_WORDS.get(text.lower(), text))
        if value not in (0.0, 1.0) and not math.isnan(value):
            raise ValueError("no truth: 0 or 1")
        return value

    return truth if scale.dimension == TRUTH else convert


def _decimal(number: Fraction) -> decimal.Decimal:
    above, below = decimal.Decimal(number.numerator), decimal.Decimal(number.denominator)
    return _EXACT.divide(above, below)


def _heights(pressures: NDArray[np.float64]) -> NDArray[np.float64]:
    """Heights (m) above where the first pressure (Pa) was read, in the standard atmosphere.

    What is no pressure at all, 0 or less, is a bad answer.
    """
    from sequencer.world.air import pressure_height  # noqa: PLC0415 - pulls in numba

    # the function as it was written: to compile it for so few numbers would take longer
    height = getattr(pressure_height, "py_func", pressure_height)
    found = np.full(pressures.shape, math.nan)
    good = np.flatnonzero(pressures > 0.0)
    found[good] = [height(pressure) for pressure in pressures[good].tolist()]
    return found - found[good[0]] if good.size else found
