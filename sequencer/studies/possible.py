"""What cannot come about, whatever is measured, and so cannot be shown by any flight.

`Rule` knows only what needs no search: comparisons of the same quantity with constants leave room
for a number or do not; they are all unknown or none is; flags, states and time in state are never
unknown; an exit is looked at in its own states. What is not ruled out may still be impossible.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import product
from typing import Final

from sequencer.expressions import (
    TURNED,
    Comparison,
    InState,
    LimitCosine,
    Node,
    Number,
    Variable,
)
from sequencer.sequence.decisions import FALSE, OPPOSITE, TRUE, UNKNOWN, Decision
from sequencer.sequence.model import Exit
from sequencer.sequence.model import Sequence as FlightLogic
from sequencer.studies.independence import Question

__all__ = ["Rule", "cannot_be_shown"]

#: with more leaves nothing is ruled out: there would be too many sights to try
MOST_LEAVES: Final = 7


class Rule:
    """What can come about; who can prove more makes a subclass. True where nothing is proved."""

    def can_be(self, sequence: FlightLogic, decision: Decision, leaves: bytes) -> bool:
        """Whether a decision could ever be seen with these leaves."""
        if not _in_some_state(sequence, decision, leaves):
            return False
        spans: dict[Node, list[tuple[str, float] | None]] = {}
        for leaf, value in zip(decision.leaves, leaves, strict=True):
            if isinstance(leaf, Variable) and leaf.name in sequence.flags and value == UNKNOWN:
                return False
            bound = _bounded(sequence, leaf)
            if bound is not None:
                quantity, operator, limit = bound
                said = None if value == UNKNOWN else (_said(operator, value), limit)
                spans.setdefault(quantity, []).append(said)
        return all(_leave_room(quantity, said) for quantity, said in spans.items())

    def can_hold_back(self, sequence: FlightLogic, inhibit: str) -> bool:
        """Whether an inhibit could ever be the one that blocks a command or cuts a pulse."""
        return any(inhibit in function.inhibits for function in sequence.functions.values())


def cannot_be_shown(
    sequence: FlightLogic,
    decision: Decision,
    question: Question,
    leaves: Iterable[int],
    rule: Rule,
) -> frozenset[int]:
    """Those of the leaves that cannot be shown to decide: no pair of sights can come about."""
    size = len(decision.leaves)
    if size > MOST_LEAVES:
        return frozenset()
    every = [bytes(values) for values in product((FALSE, TRUE, UNKNOWN), repeat=size)]

    def comes(leaf: int, value: int, *, says: bool) -> bool:
        return any(
            sight[leaf] == value
            and question.says(sight) is says
            and question.hangs_on(leaf, sight)
            and rule.can_be(sequence, decision, sight)
            for sight in every
        )

    def comes_in_pairs(leaf: int) -> bool:
        return any(
            comes(leaf, value, says=True) and comes(leaf, 1 - value, says=False)
            for value in (TRUE, FALSE)
        )

    return frozenset(leaf for leaf in leaves if not comes_in_pairs(leaf))


def _in_some_state(sequence: FlightLogic, decision: Decision, leaves: bytes) -> bool:
    asked = [
        (set(leaf.states), value)
        for leaf, value in zip(decision.leaves, leaves, strict=True)
        if isinstance(leaf, InState)
    ]
    states = decision.of.sources if isinstance(decision.of, Exit) else tuple(sequence.states)
    return any(all(value == int(state in some) for some, value in asked) for state in states)


def _bounded(sequence: FlightLogic, leaf: Node) -> tuple[Node, str, float] | None:
    """Quantity, operator and constant of a comparison with a constant."""
    if not isinstance(leaf, Comparison):
        return None
    left, right = _constant(sequence, leaf.left), _constant(sequence, leaf.right)
    if right is not None and left is None:
        return leaf.left, leaf.operator, right
    if left is not None and right is None:
        return leaf.right, TURNED[leaf.operator], left
    return None


def _constant(sequence: FlightLogic, node: Node) -> float | None:
    if isinstance(node, Number):
        return node.value
    if isinstance(node, LimitCosine):
        return sequence.limits[node.name].cosine
    if isinstance(node, Variable) and node.name in sequence.limits:
        return sequence.limits[node.name].value
    return None


def _said(operator: str, value: int) -> str:
    return operator if value == TRUE else OPPOSITE[operator]


def _leave_room(quantity: Node, said: Iterable[tuple[str, float] | None]) -> bool:
    """Whether some number, or none at all where all are unknown, is as it is said to be."""
    every = list(said)
    if None in every:
        is_time = isinstance(quantity, Variable) and quantity.name == "time_in_state"
        return not is_time and all(one is None for one in every)
    low, high = -math.inf, math.inf
    open_low = open_high = False
    without = set()
    if isinstance(quantity, Variable) and quantity.name == "time_in_state":
        low = 0.0
    for operator, limit in filter(None, every):
        if operator in (">", ">=", "==") and (limit, operator == ">") > (low, open_low):
            low, open_low = limit, operator == ">"
        if operator in ("<", "<=", "==") and (-limit, operator == "<") > (-high, open_high):
            high, open_high = limit, operator == "<"
        if operator == "!=":
            without.add(limit)
    if low == high:
        return not open_low and not open_high and low not in without
    return low < high
