"""Holds two executors against each other, tick by tick, to the last bit."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from sequencer.execute import CompiledExecutor, Executor, Outputs, ReferenceExecutor
from sequencer.sequence.model import Sequence
from sequencer.testing.streams import Aboard, Ride

__all__ = ["first_difference"]


@dataclass(slots=True)
class _Twins:
    """One computer, twice."""

    aboard: Aboard
    reference: Executor
    other: Executor
    booted_at: int = 0
    message: tuple[float, ...] | None = None


def first_difference(
    ride: Ride, make: Callable[[Sequence], Executor] = CompiledExecutor
) -> str | None:
    """What differs first between the reference executor and another one, or None.

    Compared are, before the first tick and after every tick, all registers bit for bit, and of
    every tick all events and outputs. Messages are heard one step after they were published.
    """
    computers = [
        _Twins(each, ReferenceExecutor(each.sequence), make(each.sequence)) for each in ride
    ]
    for twins in computers:
        found = _registers(twins)
        if found is not None:
            return f"{twins.aboard.sequence.name}, after boot: {found}"
    for number in range(len(ride[0].steps)):
        messages = [twins.message for twins in reversed(computers)]
        for twins, message in zip(computers, messages, strict=True):
            found = _step(twins, number, message)
            if found is not None:
                return f"{twins.aboard.sequence.name}, step {number}: {found}"
    return None


def _step(twins: _Twins, number: int, message: tuple[float, ...] | None) -> str | None:
    step, reference, other = twins.aboard.steps[number], twins.reference, twins.other
    kept = twins.aboard.reboots.get(number)
    if kept is not None:
        if other.flags() != reference.flags():
            return f"flags are {other.flags()}, not {reference.flags()}"
        reference.boot(reference.flags() if kept else None)
        other.boot(other.flags() if kept else None)
        twins.booted_at = step.clock
    values, fresh = list(step.values), list(step.fresh)
    for put, field in twins.aboard.heard:
        fresh[put] = message is not None
        if message is not None:
            values[put] = message[field]
    clock = step.clock - twins.booted_at
    expected, got = reference.tick(clock, values, fresh), other.tick(clock, values, fresh)
    twins.message = expected.message
    return _outputs(expected, got) or _registers(twins)


def _outputs(expected: Outputs, got: Outputs) -> str | None:
    if repr(got) == repr(expected):  # which tells -0.0 from 0.0, and takes NaN for itself
        return None
    for name in ("state", "events", "on", "demands", "message"):
        wanted, given = getattr(expected, name), getattr(got, name)
        if repr(wanted) != repr(given):
            return f"{name} {given}, not {wanted}"
    return f"{got}, not {expected}"


def _registers(twins: _Twins) -> str | None:
    wanted, given = twins.reference.registers(), twins.other.registers()
    if wanted.keys() != given.keys():
        return f"registers {sorted(wanted.keys() ^ given.keys())} on one side only"
    if _bits(wanted, wanted) == _bits(given, wanted):
        return None
    name = next(each for each in wanted if _bits(wanted, [each]) != _bits(given, [each]))
    return f"register {name} is {given[name]!r}, not {wanted[name]!r}"


def _bits(registers: Mapping[str, float], names: Mapping[str, float] | list[str]) -> bytes:
    return array("d", [registers[name] for name in names]).tobytes()
