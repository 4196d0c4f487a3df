"""Conditions that can plainly be true and false: no solver need be asked about them."""

from __future__ import annotations

import math
from collections.abc import Iterator

from sequencer.execute.values import compile_expression, names_of
from sequencer.expressions import And, Comparison, LimitCosine, Node, Not, Number, Or, Variable
from sequencer.lint.solving import is_seen_through, touches
from sequencer.sequence import Sequence

__all__ = ["is_open"]

_TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<="}


def is_open(logic: Sequence, node: Node) -> bool:
    """Whether its terms each go by a name of their own and each can be true and false.

    False means only that it takes more to find out.
    """
    seen: set[str] = set()
    for term in _terms(logic, node):
        names = touches(logic, term) - set(logic.limits)
        if names & seen or not _is_open_term(logic, term):
            return False
        seen |= names
    return True


def _terms(logic: Sequence, node: Node) -> Iterator[Node]:
    """Comparisons, named truths, and whatever else is no `and`, `or` or `not`."""
    match node:
        case And(operands) | Or(operands):
            for operand in operands:
                yield from _terms(logic, operand)
        case Not(operand):
            yield from _terms(logic, operand)
        case Variable(name) if name in logic.estimates and is_seen_through(logic.estimates[name]):
            for _, inner in logic.estimates[name].block.arguments:
                yield from _terms(logic, inner)
        case _:
            yield node


def _is_open_term(logic: Sequence, term: Node) -> bool:
    if isinstance(term, Variable):
        return term.name in logic.inputs or term.name in logic.flags
    if not isinstance(term, Comparison) or term.operator in ("==", "!="):
        return False
    for one, other, operator in (
        (term.left, term.right, term.operator),
        (term.right, term.left, _TURNED[term.operator]),
    ):
        limit = _constant(logic, other)
        if isinstance(one, Variable) and one.name not in logic.limits and limit is not None:
            return _is_open_comparison(logic, one.name, operator, limit)
    return False


def _constant(logic: Sequence, node: Node) -> float | None:
    if isinstance(node, Number | LimitCosine) or (
        isinstance(node, Variable) and node.name in logic.limits
    ):
        names = names_of(logic)
        value = compile_expression(node, names)([None] * names.size)
        return float(value)
    return None


def _is_open_comparison(logic: Sequence, name: str, operator: str, limit: float) -> bool:
    if name in logic.inputs:
        return True
    kind = "timer" if name == "time_in_state" else logic.estimates[name].block.kind
    if kind in ("age", "timer"):
        return limit > 0.0 if operator in ("<", ">=") else limit >= 0.0
    if kind == "attitude":
        return abs(limit) < 1.0
    return kind not in ("expression", "vote") and math.isfinite(limit)
