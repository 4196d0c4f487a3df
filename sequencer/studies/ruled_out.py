"""What a solver knows cannot be seen of a decision: a `sequencer.studies.possible.Possible`.

Every state is asked with all flags that it can have there (`sequencer.lint.reaching`), every leaf
with what it should be. Undecided is possible. Needs the extra `solve`; without it `solved` is
`possible`.
"""

from __future__ import annotations

from collections.abc import Iterable

from sequencer.expressions import Node
from sequencer.lint.reaching import Configuration, Reach
from sequencer.lint.solving import Is, Moment, Proved, Solver, has_solver, moment_for
from sequencer.sequence.decisions import TRUE, UNKNOWN, Decision
from sequencer.sequence.model import Exit
from sequencer.sequence.model import Sequence as FlightLogic
from sequencer.studies.possible import Possible, possible

__all__ = ["solved"]


def solved() -> Possible:
    """A rule that asks the solver for what `possible` lets pass; it remembers each sequence."""
    if not has_solver():
        return possible
    known: dict[str, _Ruled] = {}

    def rule(sequence: FlightLogic, decision: Decision, leaves: bytes) -> bool:
        if not possible(sequence, decision, leaves):
            return False
        if sequence.digest not in known:
            known[sequence.digest] = _Ruled(sequence)
        return known[sequence.digest].can_be(decision, leaves)

    return rule


class _Ruled:
    def __init__(self, sequence: FlightLogic) -> None:
        self._sequence = sequence
        self._solver = Solver(sequence)
        self._reach = Reach(self._solver)

    def can_be(self, decision: Decision, leaves: bytes) -> bool:
        claims = [
            Is(leaf, None if value == UNKNOWN else value == TRUE)
            for leaf, value in zip(decision.leaves, leaves, strict=True)
        ]
        for moment in self._moments(decision):
            if not isinstance(self._solver.find(claims, moment), Proved):
                return True
        return False

    def _moments(self, decision: Decision) -> Iterable[Moment]:
        """Where it is looked at, as far as its leaves go by that; each once."""
        if not self._reach.complete or not isinstance(decision.of, Exit):
            return [Moment()]
        sources = decision.of.sources
        places = [place for place in self._reach.configurations if place.state in sources]
        return self._distinct(decision.leaves, places)

    def _distinct(self, leaves: Iterable[Node], places: Iterable[Configuration]) -> list[Moment]:
        nodes = list(leaves)
        found: dict[object, Moment] = {}
        for place in places:
            flags = place.flags(self._sequence)
            moment = moment_for(self._sequence, nodes, place.state, flags)
            found.setdefault((moment.state, *sorted(moment.flags.items())), moment)
        return list(found.values())
