"""The watched executor: it executes as the other does, and what it saw explains every exit taken."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from sequencer.execute import CompiledExecutor
from sequencer.execute.deciding import DecidingExecutor, Sight
from sequencer.execute.layout import Head
from sequencer.sequence.decisions import FALSE, TRUE, UNKNOWN, decisions_of, outcome
from sequencer.testing.agreement import first_difference
from sequencer.testing.sequences import random_sequence
from sequencer.testing.streams import random_ride, random_stream


class Looked(DecidingExecutor):
    """Looks at every decision of every tick, not only at what is new."""

    def look(self, clock, values, fresh):
        self._last[:] = -1
        self.seen.clear()
        outputs = self.tick(clock, values, fresh)
        return outputs, {sight.decision: sight for sight in self.seen}


@pytest.mark.parametrize("seed", range(25))
def test_it_executes_as_the_compiled_executor_does(seed):
    assert first_difference(random_ride(Random(seed)), DecidingExecutor) is None


@pytest.mark.parametrize("seed", range(40))
def test_leaves_put_together_are_the_decisions_that_the_executor_took(seed):
    """Counters and exits are worked out anew from the leaves alone, on every tick."""
    rng = Random(seed)
    sequence = random_sequence(rng)
    executor = Looked(sequence)
    decisions = decisions_of(sequence)
    places = {d.name: i for i, d in enumerate(decisions) if d.is_exit}
    counts = dict.fromkeys(places, 0)
    state = sequence.start
    for step in random_stream(rng, sequence, 60):
        outputs, seen = executor.look(step.clock, step.values, step.fresh)
        registers = executor.registers()
        taken = None
        for way in sequence.eligible_exits(state):
            sight = seen.get(places[way.name])
            if way.fresh is not None and not step.fresh[list(sequence.inputs).index(way.fresh)]:
                assert sight is None
                continue
            bad = way.fresh is not None and registers[f"input.{way.fresh}.bad"]
            if sight is None and not bad and not decisions[places[way.name]].leaves:
                sight = Sight(places[way.name], False, b"")  # a constant is never news
                sight = replace(sight, taken=("took", way.name, "") in outputs.events)
            assert (sight is None) == bool(bad)
            if sight is None or outcome(decisions[sight.decision].shape, sight.leaves) != TRUE:
                counts[way.name] = 0
                assert sight is None or not sight.taken
                continue
            counts[way.name] = min(counts[way.name] + 1, way.hold_ticks)
            if taken is None and counts[way.name] == way.hold_ticks:
                taken = way
            assert sight.taken == (taken is way)
        took = [name for kind, name, _ in outputs.events if kind == "took"]
        assert took == ([] if taken is None else [taken.name])
        if taken is not None:
            for way in sequence.eligible_exits(state):
                if not way.common or taken.to not in way.sources:
                    counts[way.name] = 0
            counts[taken.name] = 0
        state = outputs.state
        for name, count in counts.items():
            assert registers[f"hold.{name}"] == count
        for place, decision in enumerate(decisions):
            if not decision.is_exit and decision.leaves:
                found = outcome(decision.shape, seen[place].leaves)
                placed = executor._memory[executor.tables.code[Head.M_PLACE] + place - len(places)]
                assert found == {0.0: FALSE, 1.0: TRUE, 2.0: UNKNOWN}[placed]
