"""What is told of exits and inhibits after the fact, held against what the watched executor saw."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from sequencer.execute.deciding import DecidingExecutor
from sequencer.flight.explaining import Moment, decision, readings
from sequencer.sequence.decisions import FALSE, TRUE, UNKNOWN, decisions_of
from sequencer.testing.sequences import random_sequence
from sequencer.testing.streams import random_stream

TRITS = {FALSE: False, TRUE: True, UNKNOWN: None}


def flown(rng, ticks=40):
    """A random sequence, its moments, and per tick what the watched executor saw of decisions."""
    sequence = random_sequence(rng)
    executor = DecidingExecutor(sequence)
    state, entered, moments, sights = sequence.start, None, [], []
    for step in random_stream(rng, sequence, ticks):
        executor._last[:] = -1
        executor.seen.clear()
        outputs = executor.tick(step.clock, step.values, step.fresh)
        registers = executor.registers()
        before = step.clock if entered is None else entered
        moments.append(Moment(step.clock, state, before, registers, step.fresh, outputs))
        sights.append({sight.decision: sight for sight in executor.seen})
        state, entered = outputs.state, int(registers["entered"])
    return sequence, moments, sights


def _changes(moments):
    """Ticks on which an exit was taken: where most can be told wrong."""
    return [i for i, each in enumerate(moments) if any(e[0] == "took" for e in each.outputs.events)]


@given(st.randoms(use_true_random=True))
def test_terms_come_out_as_the_executor_saw_them(rng):
    """The watched executor evaluates leaves in machine code, on the tick itself."""
    sequence, moments, sights = flown(rng)
    number = rng.choice([*_changes(moments), rng.randrange(len(moments))])
    moment = moments[number]
    for place, one in enumerate(decisions_of(sequence)):
        sight = sights[number].get(place)
        if sight is None:  # not in this state, its input was not refreshed, or it has no leaves
            continue
        told = decision(sequence, one.of, moments[: number + 1])
        assert told.clocks[-1] == moment.clock
        assert [term.truths[-1] for term in told.terms] == [TRITS[each] for each in sight.leaves]


@given(st.randoms(use_true_random=True))
def test_counters_come_out_as_the_executor_counts(rng):
    sequence, moments, _ = flown(rng)
    number = rng.choice([*_changes(moments), rng.randrange(len(moments))])
    moment = moments[number]
    took = [name for kind, name, _ in moment.outputs.events if kind == "took"]
    for way in sequence.eligible_exits(moment.state):
        held = decision(sequence, way, moments[: number + 1]).held[-1]
        if took == [way.name]:
            assert held == way.hold_ticks
        elif took and not (way.common and moment.outputs.state in way.sources):
            assert held is None
        else:
            assert held == moment.registers[f"hold.{way.name}"]


@given(st.randoms(use_true_random=True))
def test_readings_are_what_the_stream_said_last(rng):
    sequence, moments, _ = flown(rng)
    moment = moments[-1]
    told = readings(sequence, sequence.inputs, moment)
    assert [each.name for each in told] == list(sequence.inputs)
    for index, reading in enumerate(told):
        heard = [
            (each.clock, each.registers[f"input.{reading.name}"])
            for each in moments
            if each.fresh[index] and not each.registers[f"input.{reading.name}.bad"]
        ]
        assert reading.fresh == moment.fresh[index]
        if moment.registers[f"input.{reading.name}.bad"]:
            assert reading.value is None
            continue
        clock, value = heard[-1]
        assert math.isclose(reading.age_s, (moment.clock - clock) / sequence.rate_hz)
        assert reading.value == value
