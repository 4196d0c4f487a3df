"""Rules about the graph of states: what is never reached, never left, or waits for ever."""

from __future__ import annotations

from collections.abc import Iterator

from sequencer.lint.findings import Claim, Undecided, rule
from sequencer.lint.possible import World
from sequencer.lint.subject import Subject
from sequencer.lint.walking import MOST_NODES, Walk, walk_of
from sequencer.sequence import Sequence

__all__ = ["RULES", "cut_short", "walked"]


def walked(subject: Subject, logic: Sequence) -> Walk:
    """The walk of a sequence, worked out once for all rules."""
    key = ("walk", logic.path)
    if key not in subject.memory:
        subject.memory[key] = walk_of(logic)
    walk = subject.memory[key]
    assert isinstance(walk, Walk)  # noqa: S101 - put there above
    return walk


def cut_short(logic: Sequence, question: str) -> Undecided:
    """A question that a walk which was given up leaves open."""
    why = f"there are more than {MOST_NODES} pairs of state and flags"
    return Undecided(logic, ("states",), question, why)


@rule(
    "unreachable-state",
    "a state that no way from power-up leads to",
    "it was meant to be reached: an exit is missing, leads elsewhere, or asks for a flag that "
    "nobody sets",
)
def unreachable_state(subject: Subject) -> Iterator[Claim | Undecided]:
    """Over exits and common exits, with the flags as the commands on the way leave them."""
    for logic in subject.sequences.values():
        walk = walked(subject, logic)
        reached = {node.state for node in walk.nodes}
        for name, state in logic.states.items():
            if name in reached:
                continue
            if not walk.whole:
                yield cut_short(logic, f"whether state '{name}' is reached")
                continue
            ways = [way for way in _ways_into(logic, name) if set(way.sources) != {name}]
            if not ways:
                what = f"no exit leads to state '{name}'"
            else:
                listed = ", ".join(f"'{way.name}' (line {way.line})" for way in ways)
                what = f"state '{name}' is never reached: {listed} can never be taken"
            yield Claim(logic, state.line, what, (name,))


def _ways_into(logic: Sequence, name: str) -> Iterator:  # type: ignore[type-arg]
    for state in logic.states.values():
        yield from (way for way in state.exits if way.to == name)
    yield from (way for way in logic.common_exits if way.to == name)


@rule(
    "dead-end",
    "a state, not of phase 'after', that nothing leaves",
    "once there it stays there, whatever happens, until somebody switches it off",
)
def dead_end(subject: Subject) -> Iterator[Claim]:
    """An exit to the state itself does not leave it."""
    for logic in subject.sequences.values():
        for name, state in logic.states.items():
            away = [way for way in logic.eligible_exits(name) if way.to != name]
            if not away and state.phase != "after":
                what = f"nothing leaves state '{name}', which is of phase '{state.phase}'"
                yield Claim(logic, state.line, what, (name,))


@rule(
    "waits-for-ever",
    "a state of flight that only something measured ends",
    "a sensor that is dead, or a flight that goes otherwise, keeps it there: behind every measured "
    "condition stands a timer",
)
def waits_for_ever(subject: Subject) -> Iterator[Claim | Undecided]:
    """No exit to another state that time in state, or a timer that surely runs, takes by itself."""
    for logic in subject.sequences.values():
        walk = walked(subject, logic)
        if not walk.whole:
            yield cut_short(logic, "which states can last for ever")
        found = set()
        for node in walk.nodes:
            state = logic.states[node.state]
            ways = [way for way in logic.eligible_exits(node.state) if way.to != node.state]
            if state.phase != "flight" or node.state in found or not ways:
                continue
            blind = World(
                logic,
                walk.world(node).flags,
                node.state,
                lost=frozenset(logic.inputs),
                ages="lost",
            )
            if any(blind.takes(way) for way in ways):
                continue
            found.add(node.state)
            names = ", ".join(f"'{way.name}'" for way in ways)
            what = f"state '{node.state}' can last for ever: only something measured takes {names}"
            yield Claim(logic, state.line, what, (node.state,))


RULES = (unreachable_state, dead_end, waits_for_ever)
