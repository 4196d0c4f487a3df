"""Where firmware first did something else than the model, for a person: what each of them did, the
exit in question on the ticks that led to it, and the inputs behind it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sequencer.record.divergence import Constant, Decision, Divergence, Quantity, Reading
from sequencer.report.summary import folded

__all__ = ["divergence_lines"]

_LEAD = 17
_TABLE = " " * 6
#: ticks that are shown however narrow the page
_FEWEST = 2
#: what a condition that cannot be told counts as
_UNKNOWN = {
    "exit": "counts as false, at the top of a condition",
    "inhibit": "counts as in place; where it blocks a parachute, as removed",
}
_TRUTHS = {None: "unknown", False: "no", True: "yes"}


def divergence_lines(divergence: Divergence, width: int) -> Iterator[str]:
    """What stands below its sentence, in lines of `width` as far as that is possible."""
    for who, what in (("model", divergence.model), ("firmware", divergence.firmware)):
        yield from folded(_lead(who), ", ".join(what) or "nothing", width)
    if divergence.declared:
        yield from folded(_lead("file says"), "; ".join(divergence.declared), width)
    if divergence.late:
        last = f"{divergence.late} since it booted, the last was tick {divergence.last_late}"
        yield from folded(_lead("late ticks"), last, width)
    for decision in divergence.decisions:
        yield from _decision(decision, width)
    if divergence.inputs:
        yield f"    inputs on tick {divergence.clock}"
        yield from _readings(divergence.inputs, width)


def _decision(decision: Decision, width: int) -> Iterator[str]:
    when = ", ".join(filter(None, (decision.text, decision.hold)))
    link = "when" if decision.kind in {"exit", "inhibit"} else "is"
    yield from folded(_lead(decision.kind), f"'{decision.name}' {link} {when}", width)
    if decision.constants:
        yield from folded(_lead("limits"), "; ".join(map(_constant, decision.constants)), width)
    if any(term.truths[-1] is None for term in decision.terms) and decision.kind in _UNKNOWN:
        yield from folded(_lead("unknown"), _UNKNOWN[decision.kind], width)
    yield from _table(list(_rows(decision)), width)


def _rows(decision: Decision) -> Iterator[tuple[str, list[str]]]:
    """Label and cells of each row of a decision's table."""
    yield "tick", [str(clock) for clock in decision.clocks]
    if len(set(decision.states)) > 1:
        yield "state", list(decision.states)
    for term in decision.terms:
        yield term.text, [_TRUTHS[truth] for truth in term.truths]
    for quantity in decision.quantities:
        yield _named(quantity), [_value(value, quantity.unit) for value in quantity.values]
    if decision.needed > 1:
        held = ["-" if count is None else str(count) for count in decision.held]
        yield f"held, of {decision.needed} ticks", held


def _table(rows: Sequence[tuple[str, list[str]]], width: int) -> Iterator[str]:
    """Cells to the right, the oldest ticks left out where there is no room for them.

    A label that leaves no room for its cells gets a line of its own.
    """
    wide = [max(map(len, column)) for column in zip(*(cells for _, cells in rows), strict=True)]
    while len(wide) > _FEWEST and sum(cell + 2 for cell in wide) > width - len(_TABLE):
        del wide[0]
    room = max(width - len(_TABLE) - sum(cell + 2 for cell in wide), 0)
    label = min(max(len(text) for text, _ in rows), room)
    for text, cells in rows:
        beside = text
        if len(text) > label:
            yield from folded(_TABLE, text, width)
            beside = ""
        shown = "".join(
            f"  {each:>{cell}}" for each, cell in zip(cells[-len(wide) :], wide, strict=True)
        )
        yield f"{_TABLE}{beside:<{label}}{shown}"


def _readings(inputs: Sequence[Reading], width: int) -> Iterator[str]:
    """Name, value and how fresh it is, of each input."""
    name = max(len(each.name) for each in inputs)
    value = max(len(_measured(each)) for each in inputs)
    for each in inputs:
        lead = f"{_TABLE}{each.name:<{name}}  {_measured(each):<{value}}  "
        yield from folded(lead, _freshness(each), width)


def _measured(reading: Reading) -> str:
    value = _value(reading.value, reading.unit)
    plain = reading.value is None or reading.unit in {"bool", "1"}
    return value if plain else f"{value} {reading.unit}"


def _freshness(reading: Reading) -> str:
    """How old the value is; of a bad one, how long it has been bad."""
    if reading.age_s is None:
        return "fresh" if reading.fresh else "never received"
    if reading.value is not None:
        return "fresh" if reading.fresh else f"{reading.age_s:g} s old"
    return f"{'fresh, ' if reading.fresh else ''}the last good one {reading.age_s:g} s before"


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
