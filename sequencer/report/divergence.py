"""Where firmware first did something else than the model, for a person: what each of them did, the
exit in question on the ticks that led to it, and the inputs behind it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from sequencer.record.divergence import Constant, Decision, Divergence, Quantity, Reading
from sequencer.report.summary import folded

__all__ = ["divergence_lines"]

_LEAD = 17
_TABLE = " " * 6
_TRUTHS = {None: "unknown", False: "no", True: "yes"}


def divergence_lines(divergence: Divergence, width: int) -> Iterator[str]:
    """What stands below its sentence, in lines of `width` as far as that is possible."""
    for who, what in (("model", divergence.model), ("firmware", divergence.firmware)):
        yield from folded(_lead(who), ", ".join(what) or "nothing", width)
    for decision in divergence.decisions:
        yield from _decision(decision, width)
    if divergence.inputs:
        yield f"    inputs on tick {divergence.clock}"
        yield from _columns(_readings(divergence.inputs))


def _decision(decision: Decision, width: int) -> Iterator[str]:
    when = ", ".join(filter(None, (decision.text, decision.hold)))
    yield from folded(_lead(decision.kind), f"'{decision.name}' when {when}", width)
    if decision.constants:
        yield from folded(_lead("limits"), "; ".join(map(_constant, decision.constants)), width)
    yield from _table(list(_rows(decision)), width)


def _rows(decision: Decision) -> Iterator[tuple[str, list[str]]]:
    """Label and cells of each row of a decision's table."""
    yield "tick", [str(clock) for clock in decision.clocks]
    for term in decision.terms:
        yield term.text, [_TRUTHS[truth] for truth in term.truths]
    for quantity in decision.quantities:
        yield _named(quantity), [_value(value, quantity.unit) for value in quantity.values]
    if decision.needed > 1:
        held = ["-" if count is None else str(count) for count in decision.held]
        yield f"held, of {decision.needed} ticks", held


def _table(rows: Sequence[tuple[str, list[str]]], width: int) -> Iterator[str]:
    """Cells to the right; a label that leaves no room for them gets a line of its own."""
    cell = max(len(text) for _, cells in rows for text in cells)
    needed = sum(cell + 2 for _ in rows[0][1])
    room = max(width - len(_TABLE) - needed, 0)
    label = min(max(len(text) for text, _ in rows), room)
    for text, cells in rows:
        beside = text
        if len(text) > label:
            yield from folded(_TABLE, text, width)
            beside = ""
        shown = "".join(f"  {each:>{cell}}" for each in cells)
        yield f"{_TABLE}{beside:<{label}}{shown}"


def _readings(inputs: Iterable[Reading]) -> list[list[str]]:
    """Name, value and how fresh it is, of each input."""
    return [[each.name, _measured(each), _freshness(each)] for each in inputs]


def _measured(reading: Reading) -> str:
    value = _value(reading.value, reading.unit)
    plain = reading.value is None or reading.unit in {"bool", "1"}
    return value if plain else f"{value} {reading.unit}"


def _freshness(reading: Reading) -> str:
    if reading.age_s is None:
        return "never received" if not reading.fresh else "fresh"
    if reading.fresh:
        since = f", the last good one {reading.age_s:g} s before"
        return "fresh" + (since if reading.value is None else "")
    return f"{reading.age_s:g} s old"


def _columns(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for row in rows:
        cells = (f"{text:<{wide}}" for text, wide in zip(row, widths, strict=True))
        yield (_TABLE + "  ".join(cells)).rstrip()


def _lead(word: str) -> str:
    return f"    {word:<{_LEAD - 4}}"


def _named(quantity: Quantity) -> str:
    plain = quantity.unit in {"bool", "1"}
    return quantity.name if plain else f"{quantity.name}, {quantity.unit}"


def _constant(constant: Constant) -> str:
    unit = "" if constant.unit == "1" else f" {constant.unit}"
    return f"{constant.name} {constant.value:.6g}{unit}"


def _value(value: float | None, unit: str) -> str:
    if value is None:
        return "bad"
    return _TRUTHS[bool(value)] if unit == "bool" else f"{value:.4g}"
