"""Random streams of inputs for random sequences, and computers that talk to each other.

They are meant to hurt: values jump between numbers that lie on and beside the limits and numbers
that no sum of them rounds alike, some are NaN, infinite or huge, inputs go stale or silent, the
clock leaves ticks out, and computers reboot.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from random import Random

from hypothesis import strategies as st

from sequencer.sequence.model import Sequence
from sequencer.testing.sequences import random_sequence

__all__ = ["Aboard", "Ride", "Step", "random_ride", "random_stream", "streams"]

_PLAIN = [0.0, 1.0, -1.0, 0.5, 2.0, 3.0]
_NASTY = [-0.0, 1e308, -1e308, 5e-324, math.nan, math.inf, -math.inf]
#: how often an input is refreshed
_EAGERNESS = [1.0, 2.0 / 3.0, 2.0 / 3.0, 0.2]


@dataclass(frozen=True, slots=True)
class Step:
    """What one tick is given; see `sequencer.execute.Executor.tick`."""

    clock: int
    values: tuple[float, ...]
    fresh: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Aboard:
    """One computer of a ride.

    steps     its stream; clocks count from its first boot
    reboots   before these steps, and whether the retained flags survive
    heard     (input, field of what the other computer published on the step before), by index;
              those inputs are fresh when something was published, and only then
    """

    sequence: Sequence
    steps: tuple[Step, ...]
    reboots: Mapping[int, bool]
    heard: tuple[tuple[int, int], ...] = ()


#: one computer, or two that read each other's messages
Ride = tuple[Aboard, ...]


def _value(rng: Random) -> float:
    kind = rng.random()
    if kind < 0.25:
        return rng.uniform(-4.0, 4.0)
    return rng.choice(_PLAIN if kind < 0.75 else _NASTY)


def random_stream(rng: Random, sequence: Sequence, ticks: int) -> list[Step]:
    """Inputs for this many executed ticks of a sequence; values dwell, and then jump."""
    clock = rng.choice([0, 0, 0, 2])
    values = [rng.choice(_PLAIN) for _ in sequence.inputs]
    eager = [rng.choice(_EAGERNESS) for _ in values]
    silent = [rng.randint(1, 2 * ticks) if rng.random() < 0.2 else ticks for _ in values]
    steps = []
    for number in range(ticks):
        for index in range(len(values)):
            if rng.random() < 0.3:  # dwells of three ticks on average
                values[index] = _value(rng)
        fresh = tuple(
            number < silent[index] and rng.random() < eager[index] for index in range(len(values))
        )
        steps.append(Step(clock, tuple(values), fresh))
        clock += rng.choice([1, 1, 1, 1, 1, 1, 2, 3]) if rng.random() < 0.99 else 1000
    return steps


def random_ride(rng: Random, ticks: int = 60) -> Ride:
    """One computer, or two that talk to each other, for up to so many ticks, with reboots."""
    logics = [random_sequence(rng, name) for name in ("one", "other")[: rng.choice([1, 1, 1, 2])]]
    length = rng.randint(1, ticks)
    ride = []
    for logic, other in zip(logics, reversed(logics), strict=True):
        fields = other.publication.fields if other.publication and len(logics) == 2 else ()
        inputs, heard = dict(logic.inputs), []
        for index, (name, put) in enumerate(logic.inputs.items()):
            if fields and rng.random() < 0.5:
                field = rng.randrange(len(fields))
                inputs[name] = replace(put, message=(other.name, fields[field]))
                heard.append((index, field))
        steps = tuple(random_stream(rng, logic, length))
        reboots = {rng.randrange(length): rng.random() < 0.8 for _ in range(rng.choice([0, 1, 2]))}
        ride.append(Aboard(replace(logic, inputs=inputs), steps, reboots, tuple(heard)))
    return tuple(ride)


def streams(
    sequence: Sequence, *, most: int = 60, shrink: bool = False
) -> st.SearchStrategy[list[Step]]:
    """Strategy for `random_stream` of up to `most` ticks."""
    return st.builds(
        random_stream,
        st.randoms(use_true_random=not shrink),
        st.just(sequence),
        st.integers(1, most),
    )
