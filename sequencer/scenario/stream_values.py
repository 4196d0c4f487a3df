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

#: so many digits that a product of numbers from files is rounded only when it becomes a double
_EXACT = decimal.Context(
    prec=50, Emax=decimal.MAX_EMAX, Emin=decimal.MIN_EMIN, traps=[decimal.InvalidOperation]
)


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
    per_unit = scale.factor * rate_hz
    first: decimal.Decimal | None = None
    before: decimal.Decimal | None = None
    found = np.empty(len(log.rows), dtype=np.int64)
    for row, cells in enumerate(log.rows):
        if not math.isfinite(_number(log, row, table.column, cells[at])):
            raise log.complaint(row, f"has no time in column '{table.column}'")
        now = decimal.Decimal(cells[at])
        if first is None or before is None:
            first = before = now
        if now < before:
            raise log.complaint(row, f"time goes backwards: {now} after {before}")
        before = now
        since = _EXACT.subtract(now, first)
        if since * decimal.Decimal(float(scale.factor)) > _LONGEST_S:
            raise log.complaint(row, f"time jumps to {now}, which no log lasts")
        above, below = since.as_integer_ratio()
        found[row] = -(-above * per_unit.numerator // (below * per_unit.denominator))
    ticks, rows = np.unique(found, return_inverse=True)
    return ticks, rows.astype(np.int64)


def column_values(
    document: Document, place: Loc, table: ColumnTable, log: LogTable, source: Input
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """What one input reads in each row, in SI with NaN for a bad answer, and which rows answer.

    Raises InputError for a column that is not there, a unit that does not fit the input, and a
    cell that is no number.
    """
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
    at = _index(document, place, table.column, log)
    convert = _conversion(table, scale)
    values = np.empty(len(log.rows))
    answered = np.ones(len(log.rows), dtype=np.bool_)
    for row, cells in enumerate(log.rows):
        text = cells[at]
        if wanted == TRUTH:
            text = _WORDS.get(text.lower(), text)
        value = _number(log, row, table.column, text)
        if math.isfinite(value):
            value = convert(text, value)
            if wanted == TRUTH and value not in (0.0, 1.0):
                raise log.complaint(
                    row, f"'{cells[at]}' in column '{table.column}' is no truth: 0 or 1"
                )
        else:
            value = math.nan
        values[row] = value
        answered[row] = bool(text) or table.empty == "bad"
    if table.taken_as == "height":
        values = _heights(values)
    return values, answered


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
    near = nearest(column, log.header)
    known = "" if near else f" (it has: {', '.join(log.header[:12])})"
    raise document.error(place, f"{log.path.name} has no column '{column}'{known}", nearest=near)


def _number(log: LogTable, row: int, column: str, text: str) -> float:
    """A cell as a number; NaN where it is empty."""
    if not text:
        return math.nan
    try:
        # Python would take 1_000 for a number, nobody else does
        return float(text.replace("_", "no"))
    except ValueError:
        shown = text if len(text) <= 40 else text[:40] + "..."
        raise log.complaint(row, f"'{shown}' in column '{column}' is no number") from None


def _conversion(table: ColumnTable, scale: Unit) -> Callable[[str, float], float]:
    """(text, the number it holds) -> SI value: (text * scale + offset) in the unit of the file."""
    slope = exact(table.scale) * scale.factor
    shift = exact(table.offset) * scale.factor + scale.offset
    if slope == 1 and shift == 0:
        return lambda _, value: value
    times, plus = _decimal(slope), _decimal(shift)

    def convert(text: str, _: float) -> float:
        return float(_EXACT.fma(decimal.Decimal(text), times, plus))

    return convert


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
