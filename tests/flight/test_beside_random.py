"""Random sequences on targets that deviate on one random tick: that tick is found, and told."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from odd_targets import Odd, same

from sequencer.flight.beside import Beside
from sequencer.flight.target import Boot
from sequencer.report.divergence import divergence_lines
from sequencer.testing.sequences import random_sequence
from sequencer.testing.streams import random_stream


def fewer(events):
    return events[1:]


def more(events):
    return (*events, events[-1])


def other(events):
    kind, name, _ = events[0]
    return ((kind, f"not_{name}", ""), *events[1:])


#: field of the outputs, and what becomes of it
WAYS = {
    "fewer events": ("events", fewer),
    "more events": ("events", more),
    "other events": ("events", other),
    "another state": ("state", lambda state: f"not_{state}"),
    "other pulses": ("on", lambda on: (not on[0], *on[1:])),
    "other demands": ("demands", lambda demands: (demands[0] + 0.25, *demands[1:])),
    "no message": ("message", lambda _: None),
    "another message": (
        "message",
        lambda told: (0.0 if abs(told[0]) > 1e6 else told[0] + 1.0, *told[1:]),
    ),
}


def found(sequence, steps, target):
    """The divergence, in stream `steps` with a reboot half way."""
    beside = Beside(target, sequence)
    beside.reset(Boot.COLD)
    for number, step in enumerate(steps):
        if number == len(steps) // 2:
            beside.reset(Boot.WARM)
        beside.now = number
        beside.exchange(step.clock, step.values, step.fresh)
    return beside.divergence(sequence.rate_hz)


@given(st.randoms(use_true_random=True))
def test_nothing_is_found_where_nothing_deviates(rng):
    sequence = random_sequence(rng)
    steps = random_stream(rng, sequence, 60)
    tolerance_s = rng.choice([0.0, 1.0 / sequence.rate_hz])
    assert found(sequence, steps, Odd(sequence, same, tolerance_s)) is None


@pytest.mark.parametrize("way", WAYS)
@given(st.randoms(use_true_random=True))
def test_the_tick_is_found_on_which_it_deviates(way, rng):
    sequence = random_sequence(rng)
    steps = random_stream(rng, sequence, 60)
    wanted = steps[rng.randrange(len(steps))].clock
    field, change = WAYS[way]
    changed = []

    def how(tick, outputs):
        value = getattr(outputs, field)
        if tick < wanted or changed or not value or value[0] != value[0]:
            return outputs  # nothing to change, or a NaN, of which one is as good as another
        changed.append(tick)
        return replace(outputs, **{field: change(value)})

    told = found(sequence, steps, Odd(sequence, how))
    if not changed:
        assert told is None
        return
    assert (told.clock, told.boot) == (
        changed[0],
        int([step.clock for step in steps].index(changed[0]) >= len(steps) // 2),
    )
    lines = list(divergence_lines(told, 80))
    assert lines[0].startswith("    model        ")
    assert told.model != told.firmware
