"""Rules about how long a condition must hold before its exit is taken."""

from __future__ import annotations

import math
from collections.abc import Iterator

from sequencer.expressions import And, Comparison, Node, Variable, variables
from sequencer.lint.circuits import sensor_of
from sequencer.lint.findings import Claim, rule
from sequencer.lint.reading import exits_of, place_of
from sequencer.lint.subject import Subject
from sequencer.sequence import Exit, Sequence

__all__ = ["RULES", "sample_period"]

#: times that differ by less are the same, s
_CLOSE = 1e-9
#: blocks that hand on what they read as it is; the others smooth a single wrong value
_THROUGH = ("expression", "vote", "latch")


def sample_period(subject: Subject, logic: Sequence, put: str) -> float | None:
    """Time between two answers of an input, s; None for a switch, or where nothing is known."""
    entry = logic.inputs[put]
    if entry.period_s is not None:
        return entry.period_s
    sensor = sensor_of(subject, logic, put)
    return 1.0 / sensor.rate_hz if sensor is not None and sensor.rate_hz is not None else None


def _raw(logic: Sequence, node: Node) -> Iterator[str]:
    """Inputs whose single answers a condition sees as they are."""
    for name in variables(node):
        if name in logic.inputs:
            yield name
        elif name in logic.estimates:
            block = logic.estimates[name].block
            if block.kind in _THROUGH and block.gate is None:
                for _, argument in block.arguments:
                    yield from _raw(logic, argument)


@rule(
    "hold-too-short",
    "a hold that may see one sample only of an input that it reads",
    "it looks like a condition that has to last, and one wrong answer of the sensor takes the exit",
)
def hold_too_short(subject: Subject) -> Iterator[Claim]:
    """To see two samples for certain it has to be longer than the time between them.

    What is decided on the ground and fires nothing can be taken back, and is left alone.
    """
    for logic in subject.sequences.values():
        for way in exits_of(logic):
            if way.hold_ticks < 2 or not _is_final(logic, way):
                continue
            tick = 1.0 / logic.rate_hz
            if way.fresh is not None:
                tick = sample_period(subject, logic, way.fresh) or tick
            hold = way.hold_ticks * tick
            periods = {
                put: period
                for put in dict.fromkeys(_raw(logic, way.condition))
                if (period := sample_period(subject, logic, put)) is not None
            }
            slow = max(periods, key=lambda put: periods[put], default=None)
            if slow is None or hold > periods[slow] * (1 + 1e-9):
                continue
            what = (
                f"the hold of {place_of(way)} lasts {hold:.3g} s, and '{slow}' answers every "
                f"{periods[slow]:.3g} s: one sample is enough"
            )
            yield Claim(logic, way.line, what, (way.name, slow))


def _is_final(logic: Sequence, way: Exit) -> bool:
    """Whether an exit belongs to flight, or commands something that cannot be taken back."""
    states = [logic.states[name] for name in (*way.sources, way.to)]
    left = (command for state in states[:-1] for command in state.on_leave)
    commands = (*left, *way.actions, *states[-1].on_entry)
    return any(state.phase == "flight" for state in states) or any(
        one.verb in ("fire", "release") for one in commands
    )


@rule(
    "hold-too-long",
    "an exit whose hold is longer than its state, or its own condition, can last",
    "a timer ends it before the hold is over: the exit is never taken",
)
def hold_too_long(subject: Subject) -> Iterator[Claim]:
    """The hold of a common exit goes on in the next state that lists it: their times add up."""
    for logic in subject.sequences.values():
        for way in exits_of(logic):
            needs = _earliest(subject, logic, way)
            window = min(_bounds(logic, way.condition, upper=True), default=math.inf)
            ends = [_ends(logic, state, way) for state in way.sources]
            lasts = math.fsum(end for end, _ in ends)
            # the timer of a state that is tried first is as good as an earlier one
            first = all(before for _, before in ends)
            if needs >= window - _CLOSE:
                why = f"its condition ends {window:.3g} s into the state"
            elif needs > lasts + _CLOSE or (first and needs >= lasts - _CLOSE):
                states = " and ".join(f"'{state}'" for state in way.sources)
                verb = "lasts" if len(way.sources) == 1 else "last"
                why = f"{states} {verb} {lasts:.3g} s at most"
            else:
                continue
            what = f"{place_of(way)} takes {needs:.3g} s, and {why}: it is never taken"
            yield Claim(logic, way.line, what, (way.name, *way.sources))


def _ends(logic: Sequence, state: str, way: Exit) -> tuple[float, bool]:
    """When time alone ends a state, s, and whether that exit is tried before `way`."""
    ways = logic.eligible_exits(state)
    found = (math.inf, False)
    for index, other in enumerate(ways):
        if other is way or other.fresh is not None or not isinstance(other.condition, Comparison):
            continue
        for after in _bounds(logic, other.condition, upper=False):
            end = after + (other.hold_ticks - 1) / logic.rate_hz
            # of two that end it at once the one that is tried before counts
            found = min(found, (end, index > ways.index(way)))
    return found[0], found != (math.inf, False) and not found[1]


def _bounds(logic: Sequence, condition: Node, *, upper: bool) -> Iterator[float]:
    """Limits that a condition sets to time in state: T of `time_in_state >= T` (or of `<= T`)."""
    if isinstance(condition, And):
        for term in condition.operands:
            yield from _bounds(logic, term, upper=upper)
        return
    if not isinstance(condition, Comparison):
        return
    left, right = condition.left, condition.right
    if condition.operator in (("<", "<=") if not upper else (">", ">=")):
        left, right = right, left
    elif condition.operator not in (("<", "<=") if upper else (">", ">=")):
        return
    if left == Variable("time_in_state") and isinstance(right, Variable):
        limit = logic.limits.get(right.name)
        if limit is not None:
            yield limit.value


def _earliest(subject: Subject, logic: Sequence, way: Exit) -> float:
    """Time in state at which an exit can be taken at the earliest, s."""
    tick = 1.0 / logic.rate_hz
    if way.fresh is not None:
        tick = sample_period(subject, logic, way.fresh) or tick
    waits = max(_bounds(logic, way.condition, upper=False), default=0.0)
    return waits + (way.hold_ticks - 1) * tick


RULES = (hold_too_short, hold_too_long)
