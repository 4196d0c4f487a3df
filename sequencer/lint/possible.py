"""Whether a condition can become true, or false, when the world does what it likes.

Three kinds of names are told apart: *known* ones (flags and the state, where a search has got to),
*free* ones (they may take any value, and we may hope for the one that is wanted), and *lost* ones
(an input that has failed: its value is whatever is worst). A condition *can be true* if some values
of the free names make it true whatever the lost ones are.

It is worked out term by term, so two terms that exclude each other both count as possible: what
depends on numbers is left to the rules that ask a solver.
"""

from __future__ import annotations

import operator as operators
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from sequencer.expressions import (
    And,
    Comparison,
    InState,
    Node,
    Not,
    Or,
    Truth,
    Variable,
    variables,
)
from sequencer.sequence import Block, Exit, Sequence

__all__ = ["FREE", "Can", "World"]


@dataclass(frozen=True, slots=True)
class Can:
    """Whether something can be made true, and whether it can be made false."""

    true: bool
    false: bool


FREE = Can(true=True, false=True)
LOST = Can(true=False, false=False)


@dataclass(frozen=True, slots=True)
class World:
    """What is known where a search has got to.

    flags    of some flags, their value; the others are free
    state    the state it is in; None: any
    lost     inputs that have failed
    ages     what the age of a lost input does: "grow" when it has fallen silent, "stay" when it
             goes on answering nonsense, "lost" when it may be either
    before   what was known when this tick's estimates were updated, where that was another state:
             inhibits see the state and flags that a step has led to, and estimates of before it
    """

    logic: Sequence
    flags: Mapping[str, bool] = field(default_factory=dict)
    state: str | None = None
    lost: frozenset[str] = frozenset()
    ages: str = "grow"
    before: World | None = None

    def takes(self, way: Exit) -> bool:
        """Whether an exit can be taken."""
        if way.fresh is not None and way.fresh in self.lost:
            return False
        return self.can(way.condition).true

    def can(self, node: Node) -> Can:  # noqa: PLR0911 - one branch a node type
        """Whether a condition can be true, and false."""
        match node:
            case Truth(value):
                return Can(true=value, false=not value)
            case InState(states):
                if self.state is None:
                    return FREE
                inside = self.state in states
                return Can(true=inside, false=not inside)
            case Not(operand):
                turned = self.can(operand)
                return Can(true=turned.false, false=turned.true)
            case And(operands):
                each = [self.can(operand) for operand in operands]
                return Can(all(one.true for one in each), any(one.false for one in each))
            case Or(operands):
                each = [self.can(operand) for operand in operands]
                return Can(any(one.true for one in each), all(one.false for one in each))
            case Variable(name):
                return self._truth(name)
            case Comparison(operator, left, right):
                return self.compare(operator, left, right)
        return FREE

    def _truth(self, name: str) -> Can:
        if name in self.flags:
            value = self.flags[name]
            return Can(true=value, false=not value)
        if name in self.lost:
            return LOST
        if name in self.logic.estimates:
            return (self.before or self).estimate(self.logic.estimates[name].block)
        return FREE

    def _earlier(self) -> World:
        """What may have been when a block took something down in its memory.

        In a state unknown; with the flags of now where something is lost, since then only what is
        sure may be hoped for.
        """
        flags = self.flags if self.lost else {}
        return World(self.logic, flags, None, self.lost, self.ages)

    def estimate(self, block: Block) -> Can:
        """Whether an estimate that is true or false can be either."""
        arguments = dict(block.arguments)
        if block.kind == "vote":
            return self._vote(block)
        if block.kind == "latch":
            now = self.can(arguments["set_when"])
            surely = now.true and not now.false  # setting wins over resetting
            earlier = self._earlier().can(arguments["set_when"])
            if not self.lost:
                return Can(earlier.true or surely, not surely)
            reset = "reset_when" in arguments and self.can(arguments["reset_when"]).true
            return Can(earlier.true or surely, not surely and (earlier.false or reset))
        (node,) = arguments.values()
        return self.can(node)

    def _vote(self, block: Block) -> Can:
        members = [self.can(node) for _, node in block.arguments]
        numbers = dict(block.coefficients)
        needed, quorum = int(numbers["needed"]), int(numbers["quorum"])
        heard = [one for one in members if one != LOST]
        if len(heard) < quorum:
            return LOST
        yes = sum(one.true for one in members)
        # the worst that lost members can do is to be true all together
        surely = sum(not one.false for one in members)
        return Can(yes >= needed, surely < needed)

    def compare(self, operator: str, left: Node, right: Node) -> Can:
        """Whether a comparison can be true, and false."""
        if self.before is not None:
            return self.before.compare(operator, left, right)
        age = self._age(left, right, operator) or self._age(right, left, _TURNED[operator])
        if age is not None:
            return age
        if self._reads_lost(left) or self._reads_lost(right):
            return LOST
        return self._started(operator, left, right)

    def _age(self, one: Node, other: Node, operator: str) -> Can | None:
        """A comparison of the age of a lost input with something that is not lost."""
        if not isinstance(one, Variable) or one.name not in self.logic.estimates:
            return None
        block = self.logic.estimates[one.name].block
        if block.kind != "age" or block.subject not in self.lost or self._reads_lost(other):
            return None
        if self.ages == "lost" or operator in ("==", "!="):
            return LOST
        older = operator in (">", ">=")
        grows = self.ages == "grow"
        return Can(true=older == grows, false=older != grows)

    def _started(self, operator: str, left: Node, right: Node) -> Can:
        """A comparison; a timer that cannot have started stands at 0."""
        for one, other, way in ((left, right, operator), (right, left, _TURNED[operator])):
            if self._stands_still(one) and isinstance(other, Variable):
                limit = self.logic.limits.get(other.name)
                if limit is not None:
                    holds = _HOLDS[way](0.0, limit.value)
                    return Can(true=holds, false=not holds)
        return FREE

    def _stands_still(self, node: Node) -> bool:
        """Whether this is a timer that cannot run."""
        if not isinstance(node, Variable) or node.name not in self.logic.estimates:
            return False
        block = self.logic.estimates[node.name].block
        if block.kind != "timer":
            return False
        arguments = dict(block.arguments)
        if not self._earlier().can(arguments["start_when"]).true:
            return True
        return "reset_when" in arguments and not self.can(arguments["reset_when"]).false

    def _reads_lost(self, node: Node) -> bool:
        return any(self._is_lost(name) for name in variables(node))

    def _is_lost(self, name: str) -> bool:
        if name in self.lost:
            return True
        if name not in self.logic.estimates:
            return False
        block = self.logic.estimates[name].block
        if block.kind == "age":
            return block.subject in self.lost
        if block.kind == "timer":
            return False  # its conditions are looked at where it is compared
        if block.gate is not None and block.gate in self.lost:
            return True
        return any(self._reads_lost(node) for _, node in block.arguments)


_TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<=", "==": "==", "!=": "!="}
_HOLDS: Mapping[str, Callable[[float, float], bool]] = {
    "<": operators.lt,
    "<=": operators.le,
    ">": operators.gt,
    ">=": operators.ge,
    "==": operators.eq,
    "!=": operators.ne,
}
