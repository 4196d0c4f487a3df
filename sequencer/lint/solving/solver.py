"""Questions about the conditions of a sequence, answered for every assignment by z3 or not at all.

An answer is the same on every machine: effort is counted in z3's own steps, never in time. What
cannot be settled within it is `Undecided`. Every witness has been tried out with the evaluator that
the reference executor uses; one that does not hold there is not reported.

Needs the extra `solve`; without it every question is `Undecided`.
"""

from __future__ import annotations

import typing
from collections.abc import Iterable, Mapping

from sequencer.expressions import Node
from sequencer.lint.solving.answers import Answer, Moment, Undecided, Witness
from sequencer.lint.solving.assignments import Evaluator
from sequencer.lint.solving.claims import Differ, Is, Question
from sequencer.lint.solving.reading import moment_of, touched
from sequencer.lint.solving.search import Search, Setting
from sequencer.lint.solving.symbols import has_solver, load_solver
from sequencer.sequence.model import Sequence

__all__ = ["ANY", "NOT_INSTALLED", "Solver"]

#: A moment of which nothing is known.
ANY = Moment()

NOT_INSTALLED = "z3 is not installed (the extra 'solve' has it)"

#: Steps of z3 for one question: a fraction of a second.
_EFFORT = 1_000_000


class Solver:
    """Answers questions about one sequence, or about one and its changed copy.

    sequence, other   the other one has the same inputs, flags and states; its limits, estimates and
                      conditions may differ
    apart             estimates with a memory that are not the same in both
    ranges            input -> lowest and highest value, SI, where that is known
    effort            steps of z3 for one question
    """

    def __init__(
        self,
        sequence: Sequence,
        other: Sequence | None = None,
        *,
        apart: frozenset[str] = frozenset(),
        ranges: Mapping[str, tuple[float, float]] | None = None,
        effort: int = _EFFORT,
    ) -> None:
        self.sequence = sequence
        self.other = other or sequence
        named = {name: f"{name}'" for name in sorted(apart)}
        self._setting: Setting | None = None
        if has_solver():
            z3 = load_solver()
            evaluators = Evaluator(sequence), Evaluator(self.other, named)
            self._setting = Setting(
                z3,
                z3.Context(),
                (sequence, self.other),
                evaluators,
                named,
                ranges or {},
                effort,
            )
        self._known: dict[object, Answer] = {}
        self._touched: dict[tuple[bool, Node], tuple[frozenset[str], bool]] = {}

    # moments

    def moment(
        self, nodes: Iterable[Node], state: str, flags: Mapping[str, bool], *, other: bool = False
    ) -> Moment:
        """What of a state and its flags conditions go by, so that equal questions look equal.

        other   they are conditions of the other sequence
        """
        return moment_of([self._touches(node, other=other) for node in nodes], state, flags)

    def related(self, first: Node, second: Node, *, other: bool = False) -> bool:
        """Whether two conditions go by a name in common that is no limit and no flag."""
        sequence = self.other if other else self.sequence
        names = self._touches(first, other=other)[0] & self._touches(second, other=other)[0]
        return any(name not in sequence.limits and name not in sequence.flags for name in names)

    def _touches(self, node: Node, *, other: bool) -> tuple[frozenset[str], bool]:
        if (other, node) not in self._touched:
            sequence = self.other if other else self.sequence
            self._touched[other, node] = touched(sequence, node)
        return self._touched[other, node]

    # what is asked most

    def always_true(self, condition: Node, moment: Moment = ANY) -> Answer:
        """Proved, or a witness for which the condition is false or unknown."""
        return self.find([Is(condition, no=True)], moment)

    def always_false(self, condition: Node, moment: Moment = ANY) -> Answer:
        """Proved never true, or a witness for which it is true."""
        return self.find([Is(condition)], moment)

    def never_both(self, first: Node, second: Node, moment: Moment = ANY) -> Answer:
        """Proved never true together, or a witness for which both are."""
        return self.find([Is(first), Is(second)], moment)

    def implies(self, first: Node, second: Node, moment: Moment = ANY) -> Answer:
        """Proved, or a witness for which the first is true and the second is not."""
        return self.find([Is(first), Is(second, no=True)], moment)

    def equivalent(self, first: Node, second: Node, moment: Moment = ANY) -> Answer:
        """Proved true for the same assignments, or a witness for which only one of them is.

        `second` is a condition of the other sequence, where there is one.
        """
        return self.find([Differ(first, second)], moment)

    def find(self, claims: typing.Sequence[Question], moment: Moment = ANY) -> Answer:
        """A witness for which all claims hold, or Proved that there is none."""
        key = (
            *claims,
            moment.state,
            moment.after_state,
            moment.good,
            *sorted(moment.flags.items()),
            None,
            *sorted(moment.after_flags.items()),
        )
        if key not in self._known:
            self._known[key] = self._found(claims, moment)
        return self._known[key]

    def _found(self, claims: typing.Sequence[Question], moment: Moment) -> Answer:
        if self._setting is None:
            return Undecided(NOT_INSTALLED)
        question = Search(self._setting, claims, moment, rounded=True)
        answer = question.answer()
        if isinstance(answer, Undecided) and question.has_arithmetic:
            exact = Search(self._setting, claims, moment, rounded=False).answer()
            if isinstance(exact, Witness):
                return exact
        return answer
