"""Expressions in code, evaluated as `sequencer.execute.values` says they are.

A value is a float and a bad bit; a truth is 1.0 or 0.0, and an unknown one is bad. Arrays here and
in all that `sequencer.execute.interpret.tick` calls are pointers (`sequencer.execute.pointers`).
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sequencer.execute.jit import compiled, plain
from sequencer.execute.layout import NONE, STATE, Head, Op

__all__ = ["BAD", "evaluate", "holds", "is_finite", "larger", "smaller"]

Code = NDArray[np.int64]
Numbers = NDArray[np.float64]

#: what stands beside a bad value: never looked at
BAD: Final = 0.0
_LARGEST: Final = float(np.finfo(np.float64).max)
_NONE: Final = plain(NONE)
_SAVED: Final = plain(Head.M_SAVED)
_TAKE: Final = plain(Op.TAKE)
_SAVE_AND_TAKE: Final = plain(Op.SAVE_AND_TAKE)
_SAVE: Final = plain(Op.SAVE)
_IN_STATE: Final = plain(Op.IN_STATE)
_NEGATE: Final = plain(Op.NEGATE)
_ABS: Final = plain(Op.ABS)
_NOT: Final = plain(Op.NOT)
_ADD: Final = plain(Op.ADD)
_SUBTRACT: Final = plain(Op.SUBTRACT)
_MULTIPLY: Final = plain(Op.MULTIPLY)
_DIVIDE: Final = plain(Op.DIVIDE)
_MIN: Final = plain(Op.MIN)
_LESS: Final = plain(Op.LESS)
_LESS_EQUAL: Final = plain(Op.LESS_EQUAL)
_GREATER: Final = plain(Op.GREATER)
_GREATER_EQUAL: Final = plain(Op.GREATER_EQUAL)
_EQUAL: Final = plain(Op.EQUAL)
_AND: Final = plain(Op.AND)
_OR: Final = plain(Op.OR)
_AND_NOT: Final = plain(Op.AND_NOT)


@compiled(inline=True)
def is_finite(value: float) -> bool:
    """Neither infinite nor not a number."""
    return bool(-_LARGEST <= value <= _LARGEST)


@compiled(inline=True)
def smaller(a: float, b: float) -> float:
    """`min(a, b)`; of two equal ones the first."""
    return b if b < a else a  # noqa: FURB136 - the rule itself


@compiled(inline=True)
def larger(a: float, b: float) -> float:
    """`max(a, b)`; of two equal ones the first."""
    return b if a < b else a  # noqa: FURB136 - the rule itself


@compiled(inline=True)
def _arithmetic(op: int, a: float, b: float) -> float:
    """Two good values; what comes out may be infinite or no number."""
    if op == _ADD:
        return a + b
    if op == _SUBTRACT:
        return a - b
    if op == _MULTIPLY:
        return a * b
    if op == _DIVIDE:
        return a / b if b != 0.0 else math.inf
    return smaller(a, b) if op == _MIN else larger(a, b)


@compiled(inline=True)
def _compare(op: int, a: float, b: float) -> bool:
    if op == _LESS:
        return a < b
    if op == _LESS_EQUAL:
        return a <= b
    if op == _GREATER:
        return a > b
    if op == _GREATER_EQUAL:
        return a >= b
    return a == b if op == _EQUAL else a != b


@compiled(inline=True)
def _unary(op: int, value: float, bad: float) -> tuple[float, float]:
    if bad != 0.0:
        return BAD, 1.0
    if op == _NEGATE:
        return -value, 0.0
    if op == _NOT:
        return 1.0 - value, 0.0
    if op == _ABS:
        return abs(value), 0.0
    if value < 0.0:
        return BAD, 1.0
    return math.sqrt(value), 0.0


@compiled(inline=True)
def _binary(op: int, a: float, a_bad: float, b: float, b_bad: float) -> tuple[float, float]:
    """Kleene's `and` and `or`; for all others one bad side is enough to make the result bad."""
    if op >= _AND_NOT:
        # a truth, so that 1.0 - b is its contrary
        op, b = (_AND if op == _AND_NOT else _OR), 1.0 - b
    if op == _AND:
        if (a_bad == 0.0 and a == 0.0) or (b_bad == 0.0 and b == 0.0):
            return 0.0, 0.0
        return (1.0, 0.0) if a_bad == 0.0 and b_bad == 0.0 else (BAD, 1.0)
    if op == _OR:
        if (a_bad == 0.0 and a != 0.0) or (b_bad == 0.0 and b != 0.0):
            return 1.0, 0.0
        return (0.0, 0.0) if a_bad == 0.0 and b_bad == 0.0 else (BAD, 1.0)
    if a_bad != 0.0 or b_bad != 0.0:
        return BAD, 1.0
    if op >= _LESS:
        return (1.0 if _compare(op, a, b) else 0.0), 0.0
    value = _arithmetic(op, a, b)
    return (value, 0.0) if is_finite(value) else (BAD, 1.0)


@compiled()
def evaluate(code: Code, memory: Numbers, at: int) -> tuple[float, float]:
    """(value, bad bit) of the expression whose code begins at `at`."""
    saved = code[_SAVED]
    end = at + 1 + code[at]
    at += 1
    value, bad = BAD, 1.0
    while at < end:
        op = code[at]
        place = code[at + 1]
        at += 2
        if op >= _ADD:
            if place == _NONE:
                saved -= 2
                value, bad = _binary(op, memory[saved], memory[saved + 1], value, bad)
            else:
                value, bad = _binary(op, value, bad, memory[place], memory[place + 1])
            continue
        if op in (_SAVE_AND_TAKE, _SAVE):
            memory[saved] = value
            memory[saved + 1] = bad
            saved += 2
        if op <= _SAVE_AND_TAKE:
            value = memory[place]
            bad = memory[place + 1]
        elif op == _IN_STATE:
            value = float(code[at + int(memory[STATE])])
            bad = 0.0
            at += place
        elif op != _SAVE:
            value, bad = _unary(op, value, bad)
    return value, bad


@compiled(inline=True)
def holds(code: Code, memory: Numbers, at: int) -> bool:
    """Whether a condition is true; one that is left out, or unknown, is not."""
    if at == _NONE:
        return False
    value, bad = evaluate(code, memory, at)
    return bool(bad == 0.0 and value != 0.0)
