"""What can be asked: that conditions are true, or that two of them come out differently."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

from sequencer.expressions import Node
from sequencer.lint.solving.symbols import Formula, Kleene
from sequencer.lint.solving.terms import Terms

__all__ = ["Differ", "Evaluate", "Is", "Question"]

#: `evaluate(node, after=, other=)` gives what an expression comes to.
Evaluate = Callable[..., float | bool | None]


class Question(Protocol):
    """Something that holds for some assignments; hashable."""

    def holds(self, evaluate: Evaluate) -> bool:
        """Whether it holds."""

    def nodes(self) -> Iterator[tuple[bool, Node]]:
        """What it goes by; True before those of the other sequence."""

    def formula(self, terms: Callable[[bool, bool], Terms], z3: Formula) -> Formula:
        """The same for the solver; `terms(after, other)` turn expressions into formulas."""


@dataclass(frozen=True, slots=True)
class Is:
    """A condition is true (`wanted` True), false (False) or unknown (None); with `no`, it is not.

    after    read after a change of state
    other    a condition of the other sequence
    """

    node: Node
    wanted: bool | None = True
    no: bool = False
    after: bool = False
    other: bool = False

    def holds(self, evaluate: Evaluate) -> bool:
        """Whether it holds, going by an evaluator."""
        found = evaluate(self.node, after=self.after, other=self.other)
        return (found is self.wanted) is not self.no

    def nodes(self) -> Iterator[tuple[bool, Node]]:
        """What it goes by; True before those of the other sequence."""
        yield self.other, self.node

    def formula(self, terms: Callable[[bool, bool], Terms], z3: Formula) -> Formula:
        """The same for the solver."""
        truth = terms(self.after, self.other).truth(self.node)
        formula = _is(truth, self.wanted, z3)
        return z3.Not(formula) if self.no else formula


@dataclass(frozen=True, slots=True)
class Differ:
    """An expression of the sequence and one of the other come out differently.

    how    "truth": one is true where the other is not; "kleene": in any of the three values;
           "blocking": one is false where the other is not; "number": in value or in being bad
    """

    node: Node
    other: Node
    how: str = "truth"
    after: bool = False

    def holds(self, evaluate: Evaluate) -> bool:
        """Whether it holds, going by an evaluator."""
        ours = evaluate(self.node, after=self.after, other=False)
        theirs = evaluate(self.other, after=self.after, other=True)
        if self.how == "truth":
            return (ours is True) is not (theirs is True)
        if self.how == "blocking":
            return (ours is False) is not (theirs is False)
        return ours != theirs

    def nodes(self) -> Iterator[tuple[bool, Node]]:
        """What it goes by; True before those of the other sequence."""
        yield False, self.node
        yield True, self.other

    def formula(self, terms: Callable[[bool, bool], Terms], z3: Formula) -> Formula:
        """The same for the solver."""
        ours, theirs = terms(self.after, False), terms(self.after, True)
        if self.how == "number":
            a, b = ours.number(self.node), theirs.number(self.other)
            # values are reals: -0.0 and 0.0 are one, and no operation tells them apart
            same = z3.And(a.bad == b.bad, z3.Or(a.bad, a.value == b.value))
            return z3.Not(same)
        first, second = ours.truth(self.node), theirs.truth(self.other)
        parts = []
        if self.how in ("truth", "kleene"):
            parts.append(first.true != second.true)
        if self.how in ("blocking", "kleene"):
            parts.append(first.false != second.false)
        return z3.Or(*parts)


def _is(truth: Kleene, wanted: bool | None, z3: Formula) -> Formula:  # noqa: FBT001 - three values
    if wanted is None:
        return z3.And(z3.Not(truth.true), z3.Not(truth.false))
    return truth.true if wanted else truth.false
