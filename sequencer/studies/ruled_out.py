"""What a solver knows cannot come about.

Every state is asked with all flags that it can have there (`sequencer.lint.reaching`), every leaf
with what it should be. Undecided is possible. Needs the extra `solve`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sequencer.expressions import And, Comparison, Node, Variable
from sequencer.lint.reaching import Configuration, Reach, Step, steps_commands
from sequencer.lint.solving import Is, Moment, Proved, Solver, has_solver, moment_for
from sequencer.sequence.decisions import TRUE, UNKNOWN, Decision
from sequencer.sequence.model import Exit, Function
from sequencer.sequence.model import Sequence as FlightLogic
from sequencer.sequence.phrases import asked_of
from sequencer.sequence.ticks import ticks
from sequencer.studies.possible import Rule

__all__ = ["best_rule"]


def best_rule() -> Rule:
    """The rule that proves most of what is installed."""
    return _Solved() if has_solver() else Rule()


class _Solved(Rule):
    """Asks the solver for what the plain rule lets pass; remembers each sequence."""

    def __init__(self) -> None:
        self._known: dict[str, _OfSequence] = {}

    def can_be(self, sequence: FlightLogic, decision: Decision, leaves: bytes) -> bool:
        if not super().can_be(sequence, decision, leaves):
            return False
        return self._of(sequence).can_be(decision, leaves)

    def can_hold_back(self, sequence: FlightLogic, inhibit: str) -> bool:
        if not super().can_hold_back(sequence, inhibit):
            return False
        return self._of(sequence).can_hold_back(inhibit)

    def _of(self, sequence: FlightLogic) -> _OfSequence:
        if sequence.digest not in self._known:
            self._known[sequence.digest] = _OfSequence(sequence)
        return self._known[sequence.digest]


class _OfSequence:
    def __init__(self, sequence: FlightLogic) -> None:
        self._sequence = sequence
        self._solver = Solver(sequence)
        self._reach = Reach(self._solver)
        self._onward: dict[Configuration, list[Step]] = {}
        for step in self._reach.steps:
            if step.source is not None:
                here = Configuration(step.source, step.before)
                self._onward.setdefault(here, []).append(step)

    def can_be(self, decision: Decision, leaves: bytes) -> bool:
        claims = [
            Is(leaf, None if value == UNKNOWN else value == TRUE)
            for leaf, value in zip(decision.leaves, leaves, strict=True)
        ]
        moments: Iterable[Moment] = [Moment()]
        if self._reach.complete and isinstance(decision.of, Exit):
            sources = decision.of.sources
            places = (place for place in self._reach.configurations if place.state in sources)
            moments = self._moments(decision.leaves, places)
        return self._can(claims, moments)

    def can_hold_back(self, inhibit: str) -> bool:
        """Whether it can be in place, and all before it removed, where a function is, or comes, on.

        Inhibits are judged after a change of state: with the state and flags that are then.
        """
        if not self._reach.complete:
            return True
        for function in self._sequence.functions.values():
            if inhibit not in function.inhibits:
                continue
            before = function.inhibits[: function.inhibits.index(inhibit)]
            conditions = [self._sequence.inhibits[name].condition for name in (inhibit, *before)]
            # unknown counts as removed for a parachute, and as in place for all others
            holds = function.kind == "parachute"
            claims = [Is(conditions[0], wanted=holds, no=not holds)]
            claims += [Is(one, wanted=holds, no=holds) for one in conditions[1:]]
            if self._can(claims, self._moments(conditions, self._where_on(function))):
                return True
        return False

    def _where_on(self, function: Function) -> Iterator[Configuration]:
        """Where a function is commanded, and where its pulse can still be on."""
        left = {
            step.after: function.pulse_ticks
            for step in self._reach.steps
            if asked_of(
                steps_commands(self._sequence, step.source, step.way, step.after.state),
                function.name,
            )
        }
        waiting = list(left)
        while waiting:
            here = waiting.pop()
            for step in self._onward.get(here, ()):
                rest = left[here] - _shortest(self._sequence, step.way)
                if rest > left.get(step.after, 0):
                    left[step.after] = rest
                    waiting.append(step.after)
        yield from left

    def _can(self, claims: list[Is], moments: Iterable[Moment]) -> bool:
        return any(not isinstance(self._solver.find(claims, moment), Proved) for moment in moments)

    def _moments(self, nodes: Iterable[Node], places: Iterable[Configuration]) -> Iterator[Moment]:
        """Those places as far as the conditions go by them; each once."""
        nodes = list(nodes)
        seen = set()
        for place in places:
            moment = moment_for(self._sequence, nodes, place.state, place.flags(self._sequence))
            key = (moment.state, *sorted(moment.flags.items()))
            if key not in seen:
                seen.add(key)
                yield moment


def _shortest(sequence: FlightLogic, way: Exit | None) -> int:
    """Ticks at least from entering a state to leaving it that way.

    The counter of a common exit may have begun in another state; a lower bound of time in state
    holds for all.
    """
    if way is None:
        return 1
    least = 1 if way.common else way.hold_ticks
    terms = way.condition.operands if isinstance(way.condition, And) else (way.condition,)
    for term in terms:
        if (
            isinstance(term, Comparison)
            and term.operator in (">", ">=")
            and term.left == Variable("time_in_state")
            and isinstance(term.right, Variable)
            and term.right.name in sequence.limits
        ):
            least = max(least, ticks(sequence.limits[term.right.name].value, sequence.rate_hz))
    return least
