"""What no scenario reaches, and in one sentence each the scenario to write."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import product
from typing import Final

from sequencer.expressions import unparse
from sequencer.sequence.decisions import FALSE, TRUE, UNKNOWN, outcome
from sequencer.sequence.model import Exit, State
from sequencer.sequence.phrases import asked_of, commanded_by, hold, listed, literal
from sequencer.studies.independence import Leaves, turned
from sequencer.studies.reach import DecisionReach, First, Reach, SequenceReach

__all__ = ["Gap", "gaps", "missing_requirements"]

#: with more leaves only neighbours of what has been seen are thought of
_MOST: Final = 10
#: ways into a state, or uses of a function, that a sentence names
_NAMED: Final = 2

_Good = Callable[[Leaves], bool]


@dataclass(frozen=True, slots=True)
class Gap:
    """Something that no scenario exercises.

    kind       "state", "exit", "function", "inhibit" or "leaf" (of a condition)
    name       of the state, exit, function or inhibit
    leaf       text of the leaf, for "leaf"
    line       in the sequence file, where there is one
    sentence   what is missing, and the scenario to fly
    """

    kind: str
    name: str
    sentence: str
    line: int | None = None
    leaf: str | None = None


def gaps(found: SequenceReach) -> tuple[Gap, ...]:
    """All of one sequence: states, exits and what decides them, functions, inhibits.

    What cannot be exercised before something else is, is named there and has no entry of its own.
    """
    return tuple(_Advice(found).everything())


def missing_requirements(found: Reach) -> tuple[str, ...]:
    """A sentence for each requirement that no scenario puts to the test."""
    return tuple(
        f"no scenario puts requirement '{name}' to the test: {because}"
        for name, because in found.resting.items()
    )


class _Advice:
    def __init__(self, found: SequenceReach) -> None:
        self._found = found
        self._sequence = found.sequence
        self._decisions = {
            (one.decision.is_exit, one.decision.name): one for one in found.decisions
        }

    def everything(self) -> Iterator[Gap]:
        for state in self._sequence.states.values():
            if not self._found.states[state.name]:
                yield self._state(state)
        for one in self._found.decisions:
            if isinstance(one.decision.of, Exit):
                yield from self._exit(one.decision.of, one)
        for function, names in self._found.functions.items():
            if not names:
                gap = self._function(function)
                if gap is not None:
                    yield gap
        for inhibit, names in self._found.held_back.items():
            if not names and inhibit not in self._found.second_locks:
                yield self._inhibit(inhibit)
            one = self._decisions[False, inhibit]
            yield from (self._leaf(one, leaf) for leaf in one.missing)

    def _state(self, state: State) -> Gap:
        ways = [
            one.decision.of
            for one in self._found.decisions
            if isinstance(one.decision.of, Exit) and one.decision.of.to == state.name
        ]
        into = [f"exit '{way.name}' of {listed(way.sources, 'or')}" for way in ways]
        text = f"no scenario enters {state.name}: "
        if into:
            more = " (or another)" if len(into) > _NAMED else ""
            text += f"fly one that takes {listed(into[:_NAMED], 'or')}{more}"
        else:
            text += "no exit leads there"
        if state.exits:
            ways_out = listed(f"'{way.name}'" for way in state.exits)
            text += f"; its {'exits' if len(state.exits) > 1 else 'exit'} {ways_out} "
            text += f"{'wait' if len(state.exits) > 1 else 'waits'} for that"
        return Gap("state", state.name, text, state.line)

    def _exit(self, way: Exit, one: DecisionReach) -> Iterator[Gap]:
        entered = [state for state in way.sources if self._found.states[state]]
        if not entered:
            return
        if one.yes:
            yield from (self._leaf(one, leaf) for leaf in one.missing)
            return
        if self._found.exits[way.name]:
            return  # its condition is a constant, and so has no leaves
        text = f"no scenario takes exit '{way.name}' of {listed(way.sources, 'or')}: "
        wish = self._nearest(one, [*one.idle, *one.no], lambda v: one.question.says(v) is True)
        if wish is None:
            text += "its condition can never be true together with what leads there"
        else:
            needed = _reduced(wish, lambda v: outcome(one.question.shape, v) == TRUE)
            text += f"fly one in which {self._said(one, needed)}"
            text += f"{_for(hold(self._sequence, way))}, while in {listed(entered, 'or')}"
        if one.idle:
            text += f" ({self._idle(way, next(iter(one.idle.values())))})"
        yield Gap("exit", way.name, text, way.line)

    def _idle(self, way: Exit, first: First) -> str:
        enough = hold(self._sequence, way)
        reason = (
            f"not {enough}, or not before another exit" if enough else "another exit came first"
        )
        return f"its condition was true in {first.scenario} at {first.at_s:.2f} s, but {reason}"

    def _leaf(self, one: DecisionReach, leaf: int) -> Gap:
        of = one.decision.of
        text = unparse(one.decision.leaves[leaf])
        if isinstance(of, Exit):
            entered = [state for state in of.sources if self._found.states[state]]
            sentence = f"no scenario shows that `{text}` alone decides exit '{of.name}'"
            sentence += f" of {listed(of.sources, 'or')}: "
            place = f", while in {listed(entered, 'or')}"
            enough = _for(hold(self._sequence, of))
        else:
            sentence = f"no scenario shows that `{text}` alone decides inhibit '{of.name}': "
            place = enough = ""
        wish = self._wish(one, leaf)
        if wish is None:
            sentence += "no values of the rest were found that leave the decision to it"
        else:
            sentence += self._scenario(one, leaf, wish, place, enough)
        return Gap("leaf", of.name, sentence, getattr(of, "line", None), text)

    def _scenario(
        self, one: DecisionReach, leaf: int, wish: Leaves, place: str, enough: str
    ) -> str:
        yes = one.question.says(wish) is True
        wanted, other = (TRUE, FALSE) if yes else (FALSE, TRUE)
        needed = _reduced(
            wish,
            lambda v: (
                outcome(one.question.shape, v) == wanted
                and outcome(one.question.shape, turned(v, leaf)) == other
            ),
            leaf,
        )
        rest = bytes(UNKNOWN if i == leaf else value for i, value in enumerate(needed))
        with_rest = any(value != UNKNOWN for value in rest)
        node, true = one.decision.leaves[leaf], wish[leaf] == TRUE
        if yes:
            said = literal(self._sequence, node, true=true, verb="goes")
            every = listed([*self._words(one, rest), said])
            return f"fly one in which {every}{enough}{place}"
        said = literal(self._sequence, node, true=true, verb="stays")
        if not with_rest:
            return f"fly one in which {said}{place}"
        return f"fly one in which {self._said(one, rest)} but {said}{place}"

    def _function(self, function: str) -> Gap | None:
        used = commanded_by(self._sequence, function)
        text = f"no scenario has {function} on: "
        if not used:
            text += "nothing in the sequence commands it"
            return Gap("function", function, text)
        if not self._could_be_commanded(function):
            return None
        text += f"fly one in which nothing holds it back {listed(used[:_NAMED], 'or')}"
        return Gap("function", function, text)

    def _could_be_commanded(self, function: str) -> bool:
        """Whether a state was entered or an exit taken that commands it; else that is the gap."""
        states = self._sequence.states.values()
        reached = [state for state in states if self._found.states[state.name]]
        if any(asked_of((*s.on_entry, *s.on_leave), function) for s in reached):
            return True
        return any(
            self._found.exits[one.decision.name] and asked_of(one.decision.of.actions, function)
            for one in self._found.decisions
            if isinstance(one.decision.of, Exit)
        )

    def _inhibit(self, name: str) -> Gap:
        functions = [f.name for f in self._sequence.functions.values() if name in f.inhibits]
        text = f"in no scenario does inhibit {name} hold anything back: "
        one = self._decisions[False, name]
        wish = self._nearest(one, [*one.yes, *one.no], lambda v: one.question.says(v) is True)
        if wish is None:
            return Gap("inhibit", name, f"{text}its condition can never be true")
        needed = _reduced(wish, lambda v: outcome(one.question.shape, v) == TRUE)
        before = {
            other
            for function in functions
            for other in self._sequence.functions[function].inhibits[
                : self._sequence.functions[function].inhibits.index(name)
            ]
        }
        text += f"fly one in which {listed(functions, 'or')} is commanded, or on, while "
        text += self._said(one, needed)
        if before:
            are = "is" if len(before) == 1 else "are"
            text += f" (and {listed(sorted(before))} {are} not in place)"
        return Gap("inhibit", name, text)

    # sights to wish for

    def _wish(self, one: DecisionReach, leaf: int) -> Leaves | None:
        """What a scenario should show, so that with what has been seen the leaf is shown."""
        question = one.question
        halves = []
        for says, sights in ((False, one.yes), (True, one.no)):
            halves += [(says, s[leaf]) for s in sights if question.hangs_on(leaf, s)]
        seen = [*one.yes, *one.no, *one.idle]

        def completes(sight: Leaves) -> bool:
            if not question.hangs_on(leaf, sight):
                return False
            says = question.says(sight)
            if not halves:
                return says is True
            return any(says == half and sight[leaf] == 1 - value for half, value in halves)

        return self._nearest(one, seen, completes)

    def _nearest(self, one: DecisionReach, seen: Iterable[Leaves], good: _Good) -> Leaves | None:
        """The possible sight, of those that are good, that differs least from one that was seen."""
        size = len(one.decision.leaves)
        near = list(seen)
        candidates: Iterable[Leaves]
        if size <= _MOST:
            candidates = (bytes(values) for values in product((TRUE, FALSE), repeat=size))
        else:
            candidates = (turned(s, i) for s in near for i in range(size) if s[i] != UNKNOWN)
        best, least = None, size + 1
        for sight in candidates:
            if not good(sight) or not self._found.rule.can_be(self._sequence, one.decision, sight):
                continue
            away = min((_distance(sight, other) for other in near), default=0)
            if away < least:
                best, least = sight, away
        return best

    def _said(self, one: DecisionReach, sight: Leaves) -> str:
        """What is known of the leaves, in words."""
        return listed(self._words(one, sight))

    def _words(self, one: DecisionReach, sight: Leaves) -> list[str]:
        return [
            literal(self._sequence, leaf, true=value == TRUE)
            for leaf, value in zip(one.decision.leaves, sight, strict=True)
            if value != UNKNOWN
        ]


def _reduced(sight: Leaves, good: _Good, keep: int | None = None) -> Leaves:
    """Without what need not be said: the decision is settled whatever that is."""
    for leaf in reversed(range(len(sight))):
        less = sight[:leaf] + bytes([UNKNOWN]) + sight[leaf + 1 :]
        if leaf != keep and good(less):
            sight = less
    return sight


def _distance(one: Leaves, other: Leaves) -> int:
    return sum(a != b for a, b in zip(one, other, strict=True))


def _for(enough: str) -> str:
    return f" {enough}" if enough else ""
