"""Run-time values and what expressions come to.

A number is a finite float, or BAD: "no value". A truth is True, False or unknown. Both BAD and
unknown are None, so that one `is None` asks for either; a comparison that reads a bad value is
unknown, and `and`, `or`, `not` follow Kleene's strong logic of three values (S. C. Kleene,
Introduction to Metamathematics, 1952, section 64).

Arithmetic is what CPython, numba and C99 do alike in IEEE 754 double precision: + - * /, abs, a
correctly rounded sqrt, min and max as two-way choices; nothing calls a maths library. Whatever is
not finite is bad.

A tree is turned once into nested Python functions of one argument, the *memory*: a flat list with
one cell per declared name. A tick then costs one call per node and no look-up by name.
"""

from __future__ import annotations

import math
import operator
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from sequencer.errors import InternalError
from sequencer.expressions import (
    And,
    Arithmetic,
    Comparison,
    Function,
    InState,
    LimitCosine,
    Negate,
    Node,
    Not,
    Number,
    Or,
    Truth,
    Variable,
)
from sequencer.sequence.model import Sequence

__all__ = [
    "BAD",
    "CLOCK",
    "STATE",
    "TIME_IN_STATE",
    "Compiled",
    "Memory",
    "Names",
    "compile_expression",
    "finite",
    "larger",
    "names_of",
    "smaller",
]

BAD = None

#: One cell per name; the first three belong to the executor.
Memory = list[Any]
STATE = 0  # index of the present state
TIME_IN_STATE = 1  # s
CLOCK = 2  # clock ticks since boot
_FIRST_FREE = 3

#: What a tree turns into. The result is float, bool or None.
Compiled = Callable[[Memory], Any]

_LARGEST = sys.float_info.max


@dataclass(frozen=True, slots=True)
class Names:
    """Where the declared names live.

    cells      name -> cell of the memory (inputs, estimates, flags, `time_in_state`)
    heard      input -> cell with the clock of its last finite refresh, 0 before there was one
    constants  limit -> its value, SI
    cosines    limit that is an angle -> its cosine
    states     state -> its index
    """

    cells: Mapping[str, int]
    heard: Mapping[str, int] = field(default_factory=dict)
    constants: Mapping[str, float] = field(default_factory=dict)
    cosines: Mapping[str, float] = field(default_factory=dict)
    states: Mapping[str, int] = field(default_factory=dict)

    @property
    def size(self) -> int:
        """Number of cells that a memory needs."""
        return 1 + max([CLOCK, *self.cells.values(), *self.heard.values()])


def names_of(sequence: Sequence) -> Names:
    """Lay out the memory of a sequence."""
    cells = {"time_in_state": TIME_IN_STATE}
    for name in (*sequence.inputs, *sequence.estimates, *sequence.flags):
        cells[name] = _FIRST_FREE + len(cells) - 1
    after = _FIRST_FREE + len(cells) - 1
    limits = sequence.limits.values()
    return Names(
        cells=cells,
        heard={name: after + index for index, name in enumerate(sequence.inputs)},
        constants={limit.name: limit.value for limit in limits},
        cosines={limit.name: limit.cosine for limit in limits if limit.cosine is not None},
        states={name: index for index, name in enumerate(sequence.states)},
    )


def finite(value: float) -> float | None:
    """The value itself, or BAD where it is infinite or not a number."""
    return value if -_LARGEST <= value <= _LARGEST else BAD


def smaller(a: float, b: float) -> float:
    """`min(a, b)`; of two equal ones (0.0 and -0.0) the first."""
    return b if b < a else a  # noqa: FURB136 - the rule itself, as numba and C spell it


def larger(a: float, b: float) -> float:
    """`max(a, b)`; of two equal ones (0.0 and -0.0) the first."""
    return b if a < b else a  # noqa: FURB136 - as in smaller


def _quotient(a: float, b: float) -> float:
    return a / b if b != 0.0 else math.inf


_ARITHMETIC: Mapping[str, Callable[[float, float], float]] = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "/": _quotient,
}

_COMPARISONS: Mapping[str, Callable[[float, float], bool]] = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
    "==": operator.eq,
    "!=": operator.ne,
}


def compile_expression(node: Node, names: Names) -> Compiled:
    """Turn a tree into a function of the memory that gives its value, None where it has none.

    Raises InternalError for a node type or a name that the loader should not have let through.
    """
    maker = _MAKERS.get(type(node))
    if maker is None:
        raise InternalError(f"expression node {type(node).__name__} has no run-time meaning")
    return maker(node, names)


def _constant(node: Node, names: Names) -> float | None:
    """The value of a node that never changes, else None."""
    if isinstance(node, Number):
        return node.value
    if isinstance(node, LimitCosine):
        return names.cosines[node.name]
    if isinstance(node, Variable):
        return names.constants.get(node.name)
    return None


def _fixed(node: Number | LimitCosine | Truth, names: Names) -> Compiled:
    value = node.value if isinstance(node, Truth) else _constant(node, names)
    return lambda _: value


def _variable(node: Variable, names: Names) -> Compiled:
    if node.name in names.constants:
        value = names.constants[node.name]
        return lambda _: value
    if node.name not in names.cells:
        raise InternalError(f"expression reads '{node.name}', which has no cell")
    return operator.itemgetter(names.cells[node.name])


def _in_state(node: InState, names: Names) -> Compiled:
    indices = frozenset(names.states[state] for state in node.states)
    return lambda memory: memory[STATE] in indices


def _negate(node: Negate, names: Names) -> Compiled:
    operand = compile_expression(node.operand, names)

    def run(memory: Memory) -> float | None:
        value = operand(memory)
        return None if value is None else -value

    return run


def _arithmetic(node: Arithmetic, names: Names) -> Compiled:
    left = compile_expression(node.left, names)
    right = compile_expression(node.right, names)
    return _checked(_ARITHMETIC[node.operator], left, right)


def _checked(work: Callable[[float, float], float], left: Compiled, right: Compiled) -> Compiled:
    """Both sides good and the result finite, or bad."""

    def run(memory: Memory) -> float | None:
        a = left(memory)
        b = right(memory)
        if a is None or b is None:
            return None
        value = work(a, b)
        return value if -_LARGEST <= value <= _LARGEST else None

    return run


def _function(node: Function, names: Names) -> Compiled:
    first = compile_expression(node.arguments[0], names)
    if node.name in ("min", "max"):
        second = compile_expression(node.arguments[1], names)
        return _checked(smaller if node.name == "min" else larger, first, second)
    if node.name == "abs":
        return lambda memory: None if (value := first(memory)) is None else abs(value)
    if node.name == "sqrt":

        def root(memory: Memory) -> float | None:
            value = first(memory)
            # math.sqrt is IEEE 754's correctly rounded square root
            return None if value is None or value < 0.0 else math.sqrt(value)

        return root
    raise InternalError(f"function '{node.name}' has no run-time meaning")


def _comparison(node: Comparison, names: Names) -> Compiled:
    compare = _COMPARISONS[node.operator]
    limit = _constant(node.right, names)
    if limit is not None and isinstance(node.left, Variable) and node.left.name in names.cells:
        # the everyday "quantity against limit", without a call per side
        cell = names.cells[node.left.name]
        return lambda memory: None if (a := memory[cell]) is None else compare(a, limit)
    left = compile_expression(node.left, names)
    right = compile_expression(node.right, names)

    def run(memory: Memory) -> bool | None:
        a = left(memory)
        b = right(memory)
        return None if a is None or b is None else compare(a, b)

    return run


def _and(node: And, names: Names) -> Compiled:
    """False where one is False, else unknown where one is unknown, else True."""
    operands = tuple(compile_expression(operand, names) for operand in node.operands)

    def run(memory: Memory) -> bool | None:
        result: bool | None = True
        for operand in operands:
            value = operand(memory)
            if value is False:
                return False
            if value is None:
                result = None
        return result

    return run


def _or(node: Or, names: Names) -> Compiled:
    """True where one is True, else unknown where one is unknown, else False."""
    operands = tuple(compile_expression(operand, names) for operand in node.operands)

    def run(memory: Memory) -> bool | None:
        result: bool | None = False
        for operand in operands:
            value = operand(memory)
            if value is True:
                return True
            if value is None:
                result = None
        return result

    return run


def _not(node: Not, names: Names) -> Compiled:
    operand = compile_expression(node.operand, names)
    return lambda memory: None if (value := operand(memory)) is None else not value


_MAKERS: Mapping[type[Node], Callable[[Any, Names], Compiled]] = {
    Number: _fixed,
    LimitCosine: _fixed,
    Truth: _fixed,
    Variable: _variable,
    InState: _in_state,
    Negate: _negate,
    Arithmetic: _arithmetic,
    Function: _function,
    Comparison: _comparison,
    And: _and,
    Or: _or,
    Not: _not,
}
