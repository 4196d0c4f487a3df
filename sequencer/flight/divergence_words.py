"""A difference between the model and what flew, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sequencer.execute import Outputs
from sequencer.flight.agreement import Difference, Happening
from sequencer.sequence import Sequence as FlightLogic
from sequencer.sequence.phrases import listed
from sequencer.units import unit

__all__ = ["Later", "Side", "at_odds", "did", "what_differs"]

#: of an event, how its kind is told where the event did not come
_PLAIN = {
    "took": "take", "entered": "enter", "set": "set", "cleared": "clear", "ended": "end",
    "cut": "cut", "fired": "fire", "ignored": "ignore", "blocked": "block", "moved": "move",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Later:
    """What whoever was behind did after the divergence.

    event   the one that was missing, or another exit in its place; `ticks` after the divergence
    """

    event: Happening
    ticks: int


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two on the tick on which they began to differ.

    who      "the model" or "the firmware"
    before   the state in which the model began the tick
    """

    who: str
    outputs: Outputs
    before: str


def at_odds(difference: Difference) -> tuple[Happening | None, Happening | None]:
    """The events that the difference is told by, the model's and the other's; None: nothing.

    Exits come first, for all else follows from them.
    """
    missing, extra = difference.missing, difference.extra
    mine, other = (_first(each, "took") for each in (missing, extra))
    if mine is not None and other is None:
        return mine, _first(extra, "entered")
    if mine is None and other is not None:
        return _first(missing, "entered"), other
    if mine is None:
        mine = missing[0] if missing else None
        other = _counterpart(mine, extra) if mine is not None else extra[0] if extra else None
    return mine, other


def what_differs(
    logic: FlightLogic, difference: Difference, sides: tuple[Side, Side], tail: str = ""
) -> str:
    """What each of them did: "the model took 'tilt abort', the firmware stayed".

    sides   the model's, the other's
    tail    what became of an event that one of them did not have
    """
    model, its = sides
    mine, other = at_odds(difference)
    if mine is not None and other is not None:
        same = mine[0] == other[0] and not mine[2] and not other[2]
        return f"{model.who} {_phrase(mine)}, {its.who} {_name(other) if same else _phrase(other)}"
    if mine is not None:
        return _alone(mine, model, its, tail)
    if other is not None:
        return _alone(other, its, model, tail)
    if not difference.levels:
        order = _listed(model.outputs.events), _listed(its.outputs.events)
        return f"{model.who} {order[0]}, {its.who} did the same in another order: {order[1]}"
    part, at = difference.levels[0]
    first, second = _told_apart(logic, part, at, sides)
    return f"{model.who} {first}, {its.who} {second}"


def _alone(event: Happening, doer: Side, other: Side, tail: str) -> str:
    """Of an event that only one of them had, or had more often."""
    often = [sum(each == event for each in side.outputs.events) for side in (doer, other)]
    if often[1] and often[0] > often[1]:
        return f"{doer.who} {_phrase(event)} {_times(often[0])}, {other.who} {_times(often[1])}"
    if event[0] == "took" and other.outputs.state == other.before:
        return f"{doer.who} {_phrase(event)}, {other.who} stayed{tail}"
    instead = ""
    if event[0] == "took":
        instead = f", and is in '{other.outputs.state}'"
    verb = _PLAIN.get(event[0], event[0])
    return f"{doer.who} {_phrase(event)}, {other.who} did not {verb} it{instead or tail}"


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _first(events: Sequence[Happening], kind: str) -> Happening | None:
    return next((each for each in events if each[0] == kind), None)


def did(
    logic: FlightLogic, difference: Difference, sides: tuple[Side, Side]
) -> tuple[tuple[str, ...], ...]:
    """What each of them did on the tick, event by event, and what differs beside them."""
    events = [[_phrase(event) for event in each.outputs.events] for each in sides]
    levels = [_told_apart(logic, part, at, sides) for part, at in difference.levels]
    return tuple(
        (*phrases, *(level[side] for level in levels)) for side, phrases in enumerate(events)
    )


def _told_apart(
    logic: FlightLogic, part: str, at: int | None, sides: tuple[Side, Side]
) -> tuple[str, str]:
    """How a level that differs stands with each of them, with as many digits as that takes."""
    model, its = (each.outputs for each in sides)
    few = _stands(logic, part, at, model, 6), _stands(logic, part, at, its, 6)
    if few[0] != few[1]:
        return few
    return _stands(logic, part, at, model, 17), _stands(logic, part, at, its, 17)


def _counterpart(mine: Happening, extra: Sequence[Happening]) -> Happening | None:
    """What the other side did instead: with the same thing, or else the same with another."""
    about = (each for each in extra if each[1] == mine[1])
    alike = (each for each in extra if each[0] == mine[0])
    return next(about, None) or next(alike, None)


def _phrase(event: Happening) -> str:
    kind, _, detail = event
    return f"{kind} {_name(event)}{f' ({detail})' if detail else ''}"


def _name(event: Happening) -> str:
    return f"'{event[1]}'"


def _listed(events: Sequence[Happening]) -> str:
    return listed(_phrase(event) for event in events) or "did nothing"


def _stands(logic: FlightLogic, part: str, at: int | None, outputs: Outputs, digits: int) -> str:
    """How a level stands with one of them, as what it does."""
    if part == "state":
        return f"is in '{outputs.state}'"
    if part == "message" and (at is None or outputs.message is None):
        return "publishes nothing" if outputs.message is None else "publishes a message"
    if at is None:
        return f"has {len(getattr(outputs, part))} entries in '{part}'"
    if part == "on":
        return f"has '{_functions(logic, servos=False)[at]}' {'on' if outputs.on[at] else 'off'}"
    if part == "demands":
        name = _functions(logic, servos=True)[at]
        return f"demands {_demand(logic, name, outputs.demands[at], digits)} of '{name}'"
    assert outputs.message is not None  # noqa: S101 - asked above
    return f"publishes {_published(logic, at, outputs.message[at], digits)}"


def _functions(logic: FlightLogic, *, servos: bool) -> list[str]:
    functions = logic.functions.values()
    return [each.name for each in functions if (each.kind == "servo") == servos]


def _demand(logic: FlightLogic, servo: str, demand: float, digits: int) -> str:
    """Of a servo that loops drive an angle; of others the position, where it has a name."""
    if any(servo in (name for _, name in loop.outputs) for loop in logic.loops.values()):
        return f"{unit('deg').from_si(demand):.{digits}g} deg"
    for name, at in logic.functions[servo].positions:
        if at == demand:
            return f"'{name}'"
    return f"{demand:.{digits}g}"


def _published(logic: FlightLogic, at: int, value: float, digits: int) -> str:
    assert logic.publication is not None  # noqa: S101 - there is a message
    name = logic.publication.fields[at]
    if math.isnan(value):
        return f"'{name}' as bad"
    estimate = logic.estimates.get(name)
    symbol = "bool" if estimate is None else estimate.unit
    if symbol == "bool" and value in {0.0, 1.0}:
        return f"'{name}' as {'true' if value else 'false'}"
    if symbol in {"bool", "1"}:
        return f"'{name}' as {value:.{digits}g}"
    return f"'{name}' as {unit(symbol).from_si(value):.{digits}g} {symbol}"
