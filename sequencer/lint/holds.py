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
    """To see two samples for certain it has to be longer than the time between them."""
    for logic in subject.sequences.values():
        for way in exits_of(logic):
            if way.hold_ticks < 2:
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


@rule(
    "hold-too-long",
    "an exit whose hold is longer than its state can last",
    "a timer ends the state before the hold is over: the exit is never taken",
)
def hold_too_long(subject: Subject) -> Iterator[Claim]:
    """The hold of a common exit goes on in the next state that lists it: their times add up."""
    for logic in subject.sequences.values():
        for way in exits_of(logic):
            ends = [_ends(logic, state, way) for state in way.sources]
            if any(end is None for end in ends):
                continue
            lasts = math.fsum(end[0] for end in ends if end is not None)
            needs = _earliest(subject, logic, way)
            # the timer of one state alone, tried first, is as good as an earlier one
            first = all(end is not None and end[1] for end in ends)
            late = needs >= lasts - 1e-9 if first else needs > lasts + 1e-9
            if not late:
                continue
            states = " and ".join(f"'{state}'" for state in way.sources)
            verb = "lasts" if len(way.sources) == 1 else "last"
            what = (
                f"{place_of(way)} takes {needs:.3g} s, and {states} {verb} {lasts:.3g} s at most: "
                "it is never taken"
            )
            yield Claim(logic, way.line, what, (way.name, *way.sources))


def _ends(logic: Sequence, state: str, way: Exit) -> tuple[float, bool] | None:
    """When time alone ends a state, s, and whether that exit is tried before `way`."""
    found: tuple[float, bool] | None = None
    ways = logic.eligible_exits(state)
    for index, other in enumerate(ways):
        if other is way or other.fresh is not None:
            continue
        after = _time_alone(logic, other.condition)
        if after is None:
            continue
        end = after + (other.hold_ticks - 1) / logic.rate_hz, index < ways.index(way)
        found = end if found is None else min(found, end)
    return found


def _time_alone(logic: Sequence, condition: Node) -> float | None:
    """T for a condition `time_in_state >= T` and nothing else."""
    if not isinstance(condition, Comparison):
        return None
    left, right = condition.left, condition.right
    if condition.operator in ("<", "<="):
        left, right = right, left
    elif condition.operator not in (">", ">="):
        return None
    if left != Variable("time_in_state") or not isinstance(right, Variable):
        return None
    limit = logic.limits.get(right.name)
    return None if limit is None else limit.value


def _earliest(subject: Subject, logic: Sequence, way: Exit) -> float:
    """Time in state at which an exit can be taken at the earliest, s."""
    terms = way.condition.operands if isinstance(way.condition, And) else (way.condition,)
    waits = [after for term in terms if (after := _time_alone(logic, term)) is not None]
    tick = 1.0 / logic.rate_hz
    if way.fresh is not None:
        tick = sample_period(subject, logic, way.fresh) or tick
    return max(waits, default=0.0) + (way.hold_ticks - 1) * tick


RULES = (hold_too_short, hold_too_long)
