"""What must hold for any sequence and any stream of inputs."""

from __future__ import annotations

import math
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st
from logic_builder import logic, state, way

from sequencer.execute import ReferenceExecutor
from sequencer.expressions import Variable
from sequencer.testing.sequences import random_sequence, sequences
from sequencer.testing.streams import Step, random_stream, streams

randoms = st.randoms(use_true_random=True)


@st.composite
def flights(draw):
    sequence = draw(sequences())
    return sequence, draw(streams(sequence))


def fly(sequence, stream):
    executor = ReferenceExecutor(sequence)
    outputs, registers = [], []
    for step in stream:
        outputs.append(executor.tick(step.clock, step.values, step.fresh))
        registers.append(executor.registers())
    return outputs, registers, executor


def same(left, right):
    """Equality of outputs that takes NaN for equal to itself."""
    return repr(left) == repr(right)


@given(flights())
def test_at_most_one_exit_is_taken_per_tick_and_the_state_follows_it(flight):
    sequence, stream = flight
    ways = {way.name: way for name in sequence.states for way in sequence.eligible_exits(name)}
    present = sequence.start
    for out in fly(sequence, stream)[0]:
        taken = [name for kind, name, _ in out.events if kind == "took"]
        assert len(taken) <= 1
        if taken:
            assert present in ways[taken[0]].sources
            present = ways[taken[0]].to
        assert out.state == present


@given(flights())
def test_the_same_stream_twice_leaves_the_same_registers(flight):
    sequence, stream = flight
    once, again = fly(sequence, stream), fly(sequence, stream)
    assert once[1] == again[1]
    assert same(once[0], again[0])


@given(flights())
def test_the_value_of_an_input_that_was_not_refreshed_is_not_read(flight):
    sequence, stream = flight
    spoilt = [
        Step(
            step.clock,
            tuple(v if f else -777.0 for v, f in zip(step.values, step.fresh, strict=True)),
            step.fresh,
        )
        for step in stream
    ]
    assert fly(sequence, stream)[1] == fly(sequence, spoilt)[1]


@given(flights())
def test_nothing_that_is_not_finite_gets_in(flight):
    sequence, stream = flight
    outputs, registers, _ = fly(sequence, stream)
    assert all(math.isfinite(value) for each in registers for value in each.values())
    assert all(math.isfinite(demand) for out in outputs for demand in out.demands)
    assert not any(math.isinf(value) for out in outputs for value in out.message or ())


@given(flights(), randoms)
def test_after_a_reboot_only_retained_flags_are_remembered(flight, rng):
    sequence, stream = flight
    executor = fly(sequence, stream)[2]
    flags = executor.flags()
    executor.boot(flags)
    cold = ReferenceExecutor(sequence)
    cold.boot({name: flags[name] for name, flag in sequence.flags.items() if flag.retained})
    for name, flag in sequence.flags.items():
        assert executor.flags()[name] == (flags[name] if flag.retained else flag.initial)
    for step in random_stream(rng, sequence, 10):
        left = executor.tick(step.clock, step.values, step.fresh)
        assert same(left, cold.tick(step.clock, step.values, step.fresh))
        assert executor.registers() == cold.registers()


@given(flights())
def test_pulses_last_their_ticks_unless_they_are_cut(flight):
    """An oracle from the events alone: on from `fired` until its length is over, or `cut`."""
    sequence, stream = flight
    pulsed = [f for f in sequence.functions.values() if f.kind != "servo"]
    until = dict.fromkeys((f.name for f in pulsed), 0)
    for step, out in zip(stream, fly(sequence, stream)[0], strict=True):
        for kind, name, _ in out.events:
            if kind == "fired":
                assert until[name] == 0
                until[name] = step.clock + sequence.functions[name].pulse_ticks
            elif kind == "ended":
                assert 0 < until[name] <= step.clock
                until[name] = 0
            elif kind == "cut":
                assert until[name] > 0
                until[name] = 0
            elif kind == "ignored":
                assert until[name] > step.clock
        assert out.on == tuple(step.clock < until[f.name] for f in pulsed)


# --- holds against an oracle that looks back instead of counting up

STATES = ("s0", "s1", "s2")
INPUTS = ("k0", "k1", "k2")


def random_ways(rng):
    """States whose exits read one switch each, and common exits that do the same."""

    def draw(name, sources, *, common):
        return way(
            name,
            sources,
            rng.choice(STATES),
            Variable(rng.choice(INPUTS)),
            hold=rng.randint(1, 4),
            fresh=rng.choice([None, None, *INPUTS]),
            common=common,
        )

    own = {name: [draw(f"{name}.{i}", name, common=False) for i in range(2)] for name in STATES}
    common = [draw(f"c{i}", rng.sample(STATES, rng.randint(1, 3)), common=True) for i in range(2)]
    return logic(*(state(n, *own[n]) for n in STATES), numbers=(), truths=INPUTS, common=common)


class LookBack:
    """Says which exit fires, from the whole history and without any counter."""

    def __init__(self, sequence):
        self.sequence = sequence
        self.present = sequence.start
        self.seen = dict.fromkeys(INPUTS)  # last refreshed value, None for bad
        self.history = []  # (state during the tick, inputs, fresh, exit that fired)

    def counted(self, exit_, inputs, fresh):
        """None where this tick does not count, else whether it counts as true."""
        if exit_.fresh is not None and not fresh[exit_.fresh]:
            return None
        good = exit_.fresh is None or inputs[exit_.fresh] is not None
        return good and inputs[exit_.condition.name] is True

    def length_of_hold(self, exit_):
        """Consecutive true ticks up to now, back to where the exit was last not eligible."""
        length = 0
        for index in range(len(self.history) - 1, -1, -1):
            state_, inputs, fresh, fired = self.history[index]
            is_now = index == len(self.history) - 1
            if state_ not in exit_.sources or (fired is exit_ and not is_now):
                break
            if not exit_.common and fired is not None and not is_now:
                break  # the state was left, or entered again, after that tick
            counts = self.counted(exit_, inputs, fresh)
            if counts is False:
                break
            length += counts is True
        return length

    def tick(self, step):
        fresh = dict(zip(INPUTS, step.fresh, strict=True))
        for name, value in zip(INPUTS, step.values, strict=True):
            if fresh[name]:
                self.seen[name] = value != 0.0 if math.isfinite(value) else None
        inputs = dict(self.seen)
        self.history.append((self.present, inputs, fresh, None))
        for exit_ in self.sequence.eligible_exits(self.present):
            ready = self.length_of_hold(exit_) >= exit_.hold_ticks
            if ready and self.counted(exit_, inputs, fresh):
                self.history[-1] = (self.present, inputs, fresh, exit_)
                self.present = exit_.to
                return exit_.name
        return None


@settings(max_examples=150)
@given(randoms)
def test_holds_priorities_and_common_exits_agree_with_looking_back(rng):
    sequence = random_ways(rng)
    stream = random_stream(rng, sequence, 60)
    oracle = LookBack(sequence)
    for step, out in zip(stream, fly(sequence, stream)[0], strict=True):
        expected = oracle.tick(step)
        assert [name for kind, name, _ in out.events if kind == "took"] == [expected] * (
            expected is not None
        )
        assert out.state == oracle.present


def test_random_streams_reach_every_kind_of_event():
    """The properties above would be worth little on sequences in which nothing happens."""
    seen = set()
    for seed in range(60):
        rng = Random(seed)  # noqa: S311 - nothing to keep secret
        sequence = random_sequence(rng)
        for out in fly(sequence, random_stream(rng, sequence, 60))[0]:
            seen |= {kind for kind, _, _ in out.events}
    assert seen == {
        *("entered", "took", "fired", "ended", "cut", "blocked", "ignored", "moved"),
        *("set", "cleared"),
    }
