"""Small changes of a condition."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from sequencer.expressions import And, Comparison, InState, Node, Not, Or, Truth, Variable, unparse
from sequencer.sequence import Sequence
from sequencer.studies.mutants.model import Kind

__all__ = ["Altered", "alterations", "is_condition"]

#: a comparison says the opposite with this operator
_OPPOSITE = {"<": ">=", "<=": ">", ">": "<=", ">=": "<", "==": "!=", "!=": "=="}


@dataclass(frozen=True, slots=True)
class Altered:
    """A condition with one change.

    was   the term that is changed, as text
    now   what stands in its place, or None where it is dropped
    """

    kind: Kind
    was: str
    now: str | None
    node: Node


def is_condition(node: Node, sequence: Sequence) -> bool:
    """Whether an expression of this sequence is a truth, not a number."""
    if isinstance(node, Variable):
        name = node.name
        if name in sequence.flags:
            return True
        declared = sequence.inputs.get(name) or sequence.estimates.get(name)
        return declared is not None and declared.unit == "bool"
    return isinstance(node, And | Or | Not | Comparison | InState | Truth)


def alterations(node: Node) -> Iterator[Altered]:
    """A condition with each of its terms dropped, negated or turned round, one at a time.

    A comparison is turned into its opposite (`<` into `>=`), which is its negation. To make it
    strict or not (`<` into `<=`) is left alone: of two measured numbers nobody sees it, and of
    times it is one tick, as is a hold that is removed.
    """
    match node:
        case And(operands) | Or(operands):
            join: Callable[[tuple[Node, ...]], Node] = And if isinstance(node, And) else Or
            for i, operand in enumerate(operands):
                rest = operands[:i] + operands[i + 1 :]
                left = rest[0] if len(rest) == 1 else join(rest)
                yield Altered(Kind.TERM_DROPPED, unparse(operand), None, left)
                for inner in alterations(operand):
                    others = (*operands[:i], inner.node, *operands[i + 1 :])
                    yield Altered(inner.kind, inner.was, inner.now, join(others))
        case Comparison(operator, left, right):
            turned = Comparison(_OPPOSITE[operator], left, right)
            yield Altered(Kind.COMPARISON_FLIPPED, unparse(node), unparse(turned), turned)
        case Not(operand):
            yield Altered(Kind.TERM_NEGATED, unparse(node), unparse(operand), operand)
            if isinstance(operand, And | Or):
                for inner in alterations(operand):
                    yield Altered(inner.kind, inner.was, inner.now, Not(inner.node))
        case _:
            negated = Not(node)
            yield Altered(Kind.TERM_NEGATED, unparse(node), unparse(negated), negated)
