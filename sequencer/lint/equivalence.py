"""Whether a changed sequence can ever behave differently: proved, shown apart, or undecided.

Two sequences *mean the same* when, fed the same inputs from boot on, with reboots at any moment,
they give the same events, outputs and messages on every tick. The proof goes tick by tick: as long
as they have been the same they are in the same configuration (`sequencer.lint.reaching`) and
remember the same. So it is enough to show for every configuration that one more tick is the same:

- estimates with a memory get the same arguments; published ones come out the same;
- exits are the same, or their conditions are true together, or differ only on ticks on which an
  earlier exit is taken, or the exit is never taken in either; exits that have changed their order
  are never true together;
- the commands of every step bring about the same changes;
- inhibits block a function in both or in neither, wherever it can be on or is commanded.

Which of several inhibits has blocked a function is no part of it: that is the detail of an event,
and no check reads details.

A `Witness` is an assignment for which one changed part differs. Whether a flight ever gets there,
and whether anything notices, it does not say. Needs the extra `solve`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from sequencer.expressions import Node, Variable
from sequencer.lint.effects import effect, may_be_on
from sequencer.lint.firing import never_fires
from sequencer.lint.reaching import Configuration, Reach, Step, steps_commands
from sequencer.lint.solving import (
    NOT_INSTALLED,
    Answer,
    Differ,
    Is,
    Moment,
    Proved,
    Question,
    Solver,
    Undecided,
    has_solver,
    is_seen_through,
    touches,
)
from sequencer.lint.solving.symbols import Formula
from sequencer.lint.solving.terms import Terms
from sequencer.sequence.model import Block, Exit, Function, Limit, Sequence

__all__ = ["Original", "same_meaning"]


def same_meaning(sequence: Sequence, changed: Sequence) -> Answer:
    """Whether the changed sequence always behaves as the first one does.

    Proved, with the reason; a Witness for which one changed condition differs; or Undecided. To
    compare many changes of one sequence, use `Original`.
    """
    return Original(sequence).same_meaning(changed)


class Original:
    """A sequence that many changed ones are compared with: what can happen in it is found once."""

    def __init__(self, sequence: Sequence) -> None:
        self.sequence = sequence

    def same_meaning(self, changed: Sequence) -> Answer:
        """As the function of that name."""
        if not has_solver():
            return Undecided(NOT_INSTALLED)
        if not self.reach.complete:
            return Undecided("it has too many combinations of states and flags")
        return _Comparison(self, changed).answer()

    @cached_property
    def reach(self) -> Reach:
        """All configurations of the sequence."""
        return Reach(Solver(self.sequence))

    @cached_property
    def on(self) -> Mapping[Configuration, frozenset[str]]:
        """Functions that may be on in each."""
        return may_be_on(self.reach)


class _Different(Exception):  # noqa: N818 - it ends a comparison; it is no error
    def __init__(self, answer: Answer) -> None:
        super().__init__()
        self.answer = answer


@dataclass(frozen=True, slots=True)
class _BlockedDifferently:
    """A function is blocked in one of the two and not in the other: by which inhibit is no matter.

    parachute   an inhibit that cannot be told counts as removed, and otherwise as in place
    """

    ours: tuple[Node, ...]
    theirs: tuple[Node, ...]
    parachute: bool

    def holds(self, evaluate: Callable[..., float | bool | None]) -> bool:
        """Whether it holds, going by an evaluator."""
        judged = (
            any(self._blocks(evaluate(node, after=True, other=other)) for node in nodes)
            for other, nodes in ((False, self.ours), (True, self.theirs))
        )
        return next(judged) is not next(judged)

    def _blocks(self, judged: float | bool | None) -> bool:  # noqa: FBT001 - what came out
        return judged is True or (judged is None and not self.parachute)

    def formula(self, terms: Callable[[bool, bool], Terms], z3: Formula) -> Formula:
        """The same for the solver."""
        ours = self._blocked(terms(True, False), self.ours, z3)
        return ours != self._blocked(terms(True, True), self.theirs, z3)

    def _blocked(self, terms: Terms, nodes: tuple[Node, ...], z3: Formula) -> Formula:
        truths = [terms.truth(node) for node in nodes]
        placed = [one.true if self.parachute else z3.Not(one.false) for one in truths]
        return z3.Or(*placed, terms.never)

    def nodes(self) -> Iterator[tuple[bool, Node]]:
        """What it goes by; True before those of the other sequence."""
        for node in self.ours:
            yield False, node
        for node in self.theirs:
            yield True, node


class _Comparison:
    """One comparison, part by part; the first part that is not proved the same ends it."""

    def __init__(self, original: Original, changed: Sequence) -> None:
        self.original = original
        self.ours = original.sequence
        self.theirs = changed
        self.reach = original.reach
        self.apart: frozenset[str] = frozenset()
        self.solver = Solver(self.ours, changed)
        self.why: dict[str, None] = {}

    def answer(self) -> Answer:
        try:
            self._frame()
            self._estimates()
            self._publication()
            self._loops()
            self._exits()
            self._commands()
            self._functions()
        except _Different as found:
            return found.answer
        return Proved("; ".join(self.why) or "nothing that counts has changed")

    # helpers

    @cached_property
    def _moved(self) -> frozenset[str]:
        """Limits and estimates of which not every reader can be sure to read the same."""
        ours, theirs = self.ours, self.theirs
        found = {name for name, limit in ours.limits.items() if not _same_limit(theirs, limit)}
        found |= self.apart
        for name, estimate in ours.estimates.items():
            if is_seen_through(estimate) and (
                estimate.block != theirs.estimates[name].block
                or any(found & touches(ours, node) for _, node in estimate.block.arguments)
            ):
                found.add(name)
        return frozenset(found)

    def _untouched(self, ours: Node, theirs: Node) -> bool:
        return ours == theirs and not self._moved & touches(self.ours, ours)

    def _everywhere(self, differ: Differ, places: Iterator[Configuration]) -> Answer:
        """Proved that the two never differ in any of these configurations, or the first reason."""
        if self._untouched(differ.node, differ.other):
            return Proved()
        for place in places:
            answer = self.solver.find([differ], self._moment(differ, place))
            if not isinstance(answer, Proved):
                return answer
        self._because("the changed expression always comes out the same")
        return Proved()

    def _because(self, why: str) -> None:
        self.why[why] = None

    def _moment(self, differ: Differ, place: Configuration, beside: Iterable[Node] = ()) -> Moment:
        flags = place.flags(self.ours)
        first = self.solver.moment([differ.node, *beside], place.state, flags)
        second = self.solver.moment([differ.other], place.state, flags, other=True)
        return Moment(first.state or second.state, {**first.flags, **second.flags})

    @staticmethod
    def _demand(answer: Answer) -> None:
        if not isinstance(answer, Proved):
            raise _Different(answer)

    # parts

    def _frame(self) -> None:
        """What the proof takes for granted."""
        ours, theirs = self.ours, self.theirs
        for part in ("name", "rate_hz", "boot_ticks", "start", "inputs", "flags"):
            if getattr(ours, part) != getattr(theirs, part):
                raise _Different(Undecided(f"the two differ in '{part}'"))
        for part in ("states", "estimates", "functions", "loops"):
            if tuple(getattr(ours, part)) != tuple(getattr(theirs, part)):
                raise _Different(Undecided(f"the two declare other {part}"))

    def _estimates(self) -> None:
        """Those with a memory stay the same when all that they are given is the same."""
        for name, estimate in self.ours.estimates.items():
            other = self.theirs.estimates[name]
            if (estimate.unit, estimate.is_cosine) != (other.unit, other.is_cosine):
                raise _Different(Undecided(f"the two differ in the unit of '{name}'"))
            if is_seen_through(estimate) and is_seen_through(other):
                continue
            if not self._same_block(estimate.block, other.block):
                self.apart |= {name}
                self.solver = Solver(self.ours, self.theirs, apart=self.apart)
                self.__dict__.pop("_moved", None)

    def _same_block(self, ours: Block, theirs: Block) -> bool:
        if replace(ours, arguments=()) != replace(theirs, arguments=()):
            return False
        if [name for name, _ in ours.arguments] != [name for name, _ in theirs.arguments]:
            return False
        for (key, node), (_, other) in zip(ours.arguments, theirs.arguments, strict=True):
            how = "truth" if key.endswith(("_when", "while")) else "number"
            answer = self._everywhere(Differ(node, other, how), iter(self.reach.configurations))
            if not isinstance(answer, Proved):
                return False
        return True

    def _publication(self) -> None:
        ours, theirs = self.ours.publication, self.theirs.publication
        if ours != theirs:
            raise _Different(Undecided("the two publish something else"))
        for name in ours.fields if ours else ():
            if name in self.ours.estimates:
                how = "kleene" if self.ours.estimates[name].unit == "bool" else "number"
                differ = Differ(Variable(name), Variable(name), how)
                self._demand(self._everywhere(differ, iter(self.reach.configurations)))

    def _loops(self) -> None:
        for name, loop in self.ours.loops.items():
            other = self.theirs.loops[name]
            used = any(name in self.ours.states[state].loops for state in self.reach.states)
            if used and (
                loop.outputs != other.outputs
                or (loop.block.subject or "") in self.apart
                or not self._same_block(loop.block, other.block)
            ):
                raise _Different(Undecided(f"loop '{name}' may steer differently"))
        for state in self.reach.states:
            if self.ours.states[state].loops != self.theirs.states[state].loops:
                raise _Different(Undecided(f"state '{state}' runs other loops"))

    def _exits(self) -> None:
        for state, places in self.reach.states.items():
            ours, theirs = self.ours.eligible_exits(state), self.theirs.eligible_exits(state)
            names = {way.name for way in ours} | {way.name for way in theirs}
            alike = {
                name for name in names if self._same_exit(_named(ours, name), _named(theirs, name))
            }
            first = [way for way in ours if way.name in alike]
            second = [way for way in theirs if way.name in alike]
            self._order(first, second, places)

    def _same_exit(self, ours: Exit | None, theirs: Exit | None) -> bool:
        """False where neither is ever taken and so does not count; otherwise they must agree."""
        way = ours or theirs
        name = way.name if way is not None else ""
        answer: Answer = Undecided(f"nothing shows that '{name}' is never taken")
        if ours is not None and theirs is not None and _same_but_condition(ours, theirs):
            places = (place for state in ours.sources for place in self.reach.states.get(state, ()))
            answer = self._everywhere(Differ(ours.condition, theirs.condition), places)
            if isinstance(answer, Proved) or self._masked(ours, theirs):
                return True
        if self._never_taken(ours, theirs):
            return False
        raise _Different(answer)

    def _masked(self, ours: Exit, theirs: Exit) -> bool:
        """Whether conditions of an exit differ only on ticks on which an earlier one is taken.

        The state is left then, and what an exit of its own has counted is forgotten.
        """
        if ours.common:
            return False
        state = ours.sources[0]
        pairs = list(
            zip(self.ours.eligible_exits(state), self.theirs.eligible_exits(state), strict=False)
        )
        index = next((i for i, (way, _) in enumerate(pairs) if way.name == ours.name), 0)
        if any(way.name != other.name for way, other in pairs[: index + 1]):
            return False
        earlier = [
            way.condition
            for way, other in pairs[:index]
            if (way.hold_ticks, way.fresh) == (other.hold_ticks, other.fresh) == (1, None)
            and self._untouched(way.condition, other.condition)
        ]
        differ = Differ(ours.condition, theirs.condition)
        claims: list[Question] = [differ, *(Is(condition, no=True) for condition in earlier)]
        for place in self.reach.states.get(state, ()) if earlier else ():
            moment = self._moment(differ, place, earlier)
            if not isinstance(self.solver.find(claims, moment), Proved):
                return False
        if earlier:
            self._because(f"an earlier exit is taken wherever '{ours.name}' would differ")
        return bool(earlier)

    def _never_taken(self, ours: Exit | None, theirs: Exit | None) -> bool:
        """Whether an exit is taken in neither of the two; None: it is not there."""
        found = (ours is None or never_fires(self.reach, self.reach.solver, ours)) and (
            theirs is None or never_fires(self.reach, self.solver, theirs, other=True)
        )
        way = ours or theirs
        if found and way is not None:
            self._because(f"'{way.name}' is never taken")
        return found

    def _order(
        self, ours: list[Exit], theirs: list[Exit], places: tuple[Configuration, ...]
    ) -> None:
        rank = {way.name: index for index, way in enumerate(theirs)}
        for index, first in enumerate(ours):
            for second in ours[index + 1 :]:
                if rank[first.name] < rank[second.name] or any(
                    self._never_taken(way, theirs[rank[way.name]]) for way in (first, second)
                ):
                    continue
                for place in places:
                    nodes = [first.condition, second.condition]
                    flags = place.flags(self.ours)
                    moment = self.reach.solver.moment(nodes, place.state, flags)
                    both = self.reach.solver.never_both(first.condition, second.condition, moment)
                    self._demand(both)
                self._because(f"'{first.name}' and '{second.name}' are never true together")

    def _commands(self) -> None:
        """Every step brings about the same in both."""
        for step in self.reach.steps:
            on: frozenset[str] = frozenset()
            if step.source is not None:
                on = self.original.on[Configuration(step.source, step.before)]
            way = None
            if step.way is not None:
                ways = self.theirs.eligible_exits(step.source or "")
                way = _named(ways, step.way.name) or step.way
            given = [
                list(steps_commands(sequence, step.source, one, step.after.state))
                for sequence, one in ((self.ours, step.way), (self.theirs, way))
            ]
            if given[0] == given[1]:
                continue
            if effect(self.ours, step, on) == effect(self.theirs, replace(step, way=way), on):
                self._because("the changed commands never make a difference")
            elif step.way is None or not self._never_taken(step.way, way):
                raise _Different(Undecided("the commands differ where they count"))

    def _functions(self) -> None:
        """Pulses are as long, positions the same, and inhibits block the same."""
        for name, function in self.ours.functions.items():
            other = self.theirs.functions[name]
            plain = replace(other, inhibits=function.inhibits)
            if plain != function and (
                replace(plain, pulse_ticks=function.pulse_ticks) != function
                or self._is_commanded(name)
            ):
                raise _Different(Undecided(f"'{name}' is commanded, as far as is known"))
            self._blocking(function, other)

    def _is_commanded(self, name: str) -> bool:
        return any(self._tells(step, name) for step in self.reach.steps)

    def _blocking(self, ours: Function, theirs: Function) -> None:
        mine = tuple(self.ours.inhibits[name].condition for name in ours.inhibits)
        other = tuple(self.theirs.inhibits[name].condition for name in theirs.inhibits)
        if mine == other and all(self._untouched(node, node) for node in mine):
            return
        claim = _BlockedDifferently(mine, other, ours.kind == "parachute")
        for claims, moment in self._judgements(ours, claim):
            self._demand(self.solver.find(claims, moment))
        self._because(f"'{ours.name}' is blocked no more and no less")

    def _judgements(
        self, function: Function, claim: _BlockedDifferently
    ) -> Iterator[tuple[list[Question], Moment]]:
        """Every moment at which it matters whether the function is blocked."""
        servo = function.kind == "servo"
        name = function.name
        # what boot commands is carried out on tick 0, after the exits of that tick
        told = {
            step.after for step in self.reach.steps if step.way is None and self._tells(step, name)
        }
        for place in self.reach.configurations:
            if servo or place in told or name in self.original.on[place]:
                yield [claim], self._judged(place, place, [claim])
        for step in self.reach.steps:
            if step.way is None or step.source is None:
                continue
            before = Configuration(step.source, step.before)
            on = before in told or name in self.original.on[before]
            if servo or on or self._tells(step, name):
                claims: list[Question] = [claim, Is(step.way.condition)]
                yield claims, self._judged(before, step.after, claims)

    def _tells(self, step: Step, function: str) -> bool:
        """Whether a step fires or moves a function, be it only to cut it again."""
        commands = steps_commands(self.ours, step.source, step.way, step.after.state)
        return any(function == one.name and one.verb != "cut" for one in commands)

    def _judged(
        self, before: Configuration, after: Configuration, claims: list[Question]
    ) -> Moment:
        nodes = [node for claim in claims for _, node in claim.nodes()]
        names = frozenset().union(
            *(touches(side, node) for side in (self.ours, self.theirs) for node in nodes)
        )
        first = {name: v for name, v in before.flags(self.ours).items() if name in names}
        second = {name: v for name, v in after.flags(self.ours).items() if name in names}
        return Moment(before.state, first, after.state, second)


def _named(ways: tuple[Exit, ...], name: str) -> Exit | None:
    return next((way for way in ways if way.name == name), None)


def _same_but_condition(ours: Exit, theirs: Exit) -> bool:
    return (
        replace(
            theirs,
            condition=ours.condition,
            actions=ours.actions,  # compared by what they bring about
            line=ours.line,
            text=ours.text,
        )
        == ours
    )


def _same_limit(theirs: Sequence, limit: Limit) -> bool:
    other = theirs.limits.get(limit.name)
    return other is not None and other.value == limit.value and other.cosine == limit.cosine
