"""The watched executor: it executes as the other does, and what it saw explains every exit."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from sequencer.execute.deciding import DecidingExecutor, Sight
from sequencer.sequence.decisions import TRUE, UNKNOWN, decisions_of, outcome
from sequencer.testing.agreement import first_difference
from sequencer.testing.sequences import random_sequence
from sequencer.testing.streams import random_ride, random_stream

randoms = st.randoms(use_true_random=True)


class Looked(DecidingExecutor):
    """Looks at every decision of every tick, not only at what is new."""

    def look(self, step):
        self._last[:] = -1
        self.seen.clear()
        outputs = self.tick(step.clock, step.values, step.fresh)
        return outputs, {sight.decision: sight for sight in self.seen}


class Holds:
    """Works out which exit is taken, from leaves alone, by the rules of docs/semantics.md."""

    def __init__(self, sequence):
        self.sequence = sequence
        self.decisions = decisions_of(sequence)
        self.places = {one.name: i for i, one in enumerate(self.decisions) if one.is_exit}
        self.counts = dict.fromkeys(self.places, 0)

    def true(self, way, seen, step, bad):
        """Whether an exit counts up on this tick, None if the tick does not count for it."""
        place = self.places[way.name]
        inputs = list(self.sequence.inputs)
        sight = seen.get(place)
        if way.fresh is not None and not step.fresh[inputs.index(way.fresh)]:
            assert sight is None
            return None
        if way.fresh is not None and bad[way.fresh]:
            assert sight is None
            return False
        if not self.decisions[place].leaves:  # a constant is never news
            sight = sight or Sight(place, taken=False, leaves=b"")
        return outcome(self.decisions[place].shape, sight.leaves) == TRUE

    def tick(self, state, seen, step, bad):
        """The exit that is taken, or None."""
        taken = None
        ways = self.sequence.eligible_exits(state)
        for way in ways:
            true = self.true(way, seen, step, bad)
            if true is None:
                continue
            self.counts[way.name] = min(self.counts[way.name] + 1, way.hold_ticks) if true else 0
            if taken is None and self.counts[way.name] == way.hold_ticks:
                taken = way
        if taken is not None:
            for way in ways:
                if way is taken or not way.common or taken.to not in way.sources:
                    self.counts[way.name] = 0
        return taken

    def first_in_place(self, function, seen):
        """The inhibit that holds a function back, or None."""
        kind = self.sequence.functions[function].kind
        for inhibit in self.sequence.functions[function].inhibits:
            place = len(self.places) + list(self.sequence.inhibits).index(inhibit)
            one = self.decisions[place]
            found = outcome(one.shape, seen[place].leaves if one.leaves else b"")
            if found == TRUE or (found == UNKNOWN and kind != "parachute"):
                return inhibit
        return None


@given(randoms)
def test_it_executes_as_the_compiled_executor_does(rng):
    assert first_difference(random_ride(rng), DecidingExecutor) is None


@given(randoms)
def test_leaves_put_together_are_the_decisions_that_the_executor_took(rng):
    sequence = random_sequence(rng)
    executor, holds = Looked(sequence), Holds(sequence)
    state = sequence.start
    for step in random_stream(rng, sequence, 60):
        outputs, seen = executor.look(step)
        registers = executor.registers()
        bad = {name: registers[f"input.{name}.bad"] for name in sequence.inputs}
        way = holds.tick(state, seen, step, bad)
        took = [name for kind, name, _ in outputs.events if kind == "took"]
        assert took == ([] if way is None else [way.name])
        marked = [sight.decision for sight in seen.values() if sight.taken]
        assert marked == [holds.places[name] for name in took]
        assert {name: registers[f"hold.{name}"] for name in holds.counts} == holds.counts
        for kind, name, detail in outputs.events:
            if kind in ("fired", "moved", "blocked"):
                assert holds.first_in_place(name, seen) == (detail if kind == "blocked" else None)
        state = outputs.state
