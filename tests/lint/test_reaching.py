"""Nothing happens in a random flight that was not counted among what can happen."""

from __future__ import annotations

from random import Random

import pytest

from sequencer.execute import ReferenceExecutor
from sequencer.lint.effects import may_be_on
from sequencer.lint.firing import never_fires
from sequencer.lint.reaching import Configuration, Reach
from sequencer.lint.solving import Solver
from sequencer.testing.sequences import random_sequence
from sequencer.testing.streams import random_stream

pytest.importorskip("z3")


def test_states_flags_exits_and_pulses_of_random_flights_were_all_foreseen():
    rng = Random(11)  # noqa: S311 - examples, not secrets
    taken_in_all, never_in_all = 0, 0
    for _ in range(15):
        sequence = random_sequence(rng)
        reach = Reach(Solver(sequence))
        on = may_be_on(reach)
        ways = [*sequence.common_exits, *(w for s in sequence.states.values() for w in s.exits)]
        never = {way.name for way in ways if never_fires(reach, reach.solver, way)}
        pulsed = [name for name, each in sequence.functions.items() if each.kind != "servo"]
        executor = ReferenceExecutor(sequence)
        booted = 0
        for step in random_stream(rng, sequence, 150):
            if rng.random() < 0.03:
                executor.boot(executor.flags() if rng.random() < 0.8 else None)
                booted = step.clock
            outputs = executor.tick(step.clock - booted, step.values, step.fresh)
            here = Configuration(outputs.state, tuple(executor.flags().values()))
            assert here in reach.configurations
            burning = {name for name, is_on in zip(pulsed, outputs.on, strict=True) if is_on}
            assert burning <= on[here]
            taken = {name for kind, name, _ in outputs.events if kind == "took"}
            assert not taken & never
            taken_in_all += len(taken)
        never_in_all += len(never)
    assert taken_in_all > 100
    assert never_in_all > 5
