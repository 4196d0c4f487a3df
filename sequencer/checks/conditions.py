"""Conditions over the signals of a flight record: "tilt_deg < 20", and how far from failing.

Evaluated with the quantitative semantics of signal temporal logic (Donzé, Maler, FORMATS 2010):
a comparison is worth the distance between its sides, positive when it holds; `and` takes the
least, `or` the greatest, `not` turns the sign. A truth (a flag, an input that is a key) is worth
plus or minus infinity: nothing lies between.

A sample without a value (NaN) makes a comparison *unknown*: worth anything. So every condition is
worth an interval [low, high], equal where all is known; Kleene's logic falls out of it: a
conjunction with one side at -2 is at most -2 whatever the unknown side is. (The interval
semantics of partial signals: Deshmukh and others, "Robust online monitoring of signal temporal
logic", 2017.)
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import InputError, InternalError
from sequencer.expressions import (
    And,
    Arithmetic,
    Comparison,
    Function,
    Negate,
    Node,
    Not,
    Number,
    Or,
    Truth,
    Variable,
    unparse,
    variables,
    walk,
)
from sequencer.parsing import Names, Symbol, parse, parse_condition
from sequencer.units import COMMON, Dimension, unit

__all__ = ["Condition", "Trace", "evaluate", "read_condition"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Condition:
    """A condition, understood.

    text     as the user wrote it
    units    the different units of its comparisons, in order; () if it only asks for truths
    signals  name -> unit of everything that it reads
    """

    text: str
    node: Node
    units: tuple[str, ...]
    signals: tuple[tuple[str, str], ...]

    @property
    def unit(self) -> str:
        """Unit of its margin; "bool" where nothing is measured. Needs `len(units) <= 1`."""
        if len(self.units) > 1:
            raise InternalError(f"'{self.text}' has no one unit")
        return self.units[0] if self.units else "bool"


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """A condition over the ticks of a record; all arrays have shape (ticks,).

    low, high  what it is worth lies between these (the same array where all is known)
    true       it is known to hold
    false      it is known not to hold
    """

    low: Floats
    high: Floats
    true: NDArray[np.bool_]
    false: NDArray[np.bool_]

    def negated(self) -> Trace:
        """The trace of "not condition"."""
        if self.low is self.high:
            turned = -self.low
            return Trace(turned, turned, self.false, self.true)
        return Trace(-self.high, -self.low, self.false, self.true)


def read_condition(text: str, signals: Mapping[str, str]) -> Condition:
    """Understands a condition over signals, given as name -> unit symbol.

    Numbers take the unit of what they are compared with. Raises InputError (without a place) for
    whatever the expression language does not allow, unknown signals and mixed units.
    """
    names = Names({name: _symbol(text) for name, text in signals.items()}, literals=True)
    node = parse_condition(text, names)
    read = tuple((name, signals[name]) for name in variables(node))
    units: list[str] = []
    for part in walk(node):
        if isinstance(part, Comparison):
            if part.operator == "!=":
                raise InputError(f"'{unparse(part)}': '!=' has no margin; write < or >")
            found = _unit_of(part, names, read)
            if found not in units:
                units.append(found)
    return Condition(" ".join(text.split()), node, tuple(units), read)


def _symbol(text: str) -> Symbol:
    known = unit(text)
    return Symbol(known.dimension, Fraction(1) if known.dimension.truth else known.factor)


def _unit_of(part: Comparison, names: Names, read: tuple[tuple[str, str], ...]) -> str:
    sides = [parse(unparse(side), names) for side in (part.left, part.right)]
    side = sides[1] if sides[0].constant else sides[0]
    for symbol in (*(symbol for _, symbol in read), "1", *COMMON):
        if _fits(symbol, side.dimension, side.scale):
            return symbol
    if side.scale == 1:
        return str(side.dimension)
    raise InputError(f"'{unparse(part)}' compares quantities whose unit has no name")


def _fits(symbol: str, dimension: Dimension, scale: Fraction) -> bool:
    known = unit(symbol)
    return known.dimension == dimension and (known.factor == scale or dimension.truth)


# --- over a whole record at once ------------------------------------------------------------------


def evaluate(condition: Condition, values: Mapping[str, Floats], ticks: int) -> Trace:
    """The condition on every tick; `values` holds an array of shape (ticks,) for each signal."""
    with np.errstate(all="ignore"):  # whatever is not finite becomes unknown right after
        return _truth(condition.node, values, ticks)


def _truth(node: Node, values: Mapping[str, Floats], ticks: int) -> Trace:
    match node:
        case Truth(value):
            return _known(np.full(ticks, value, dtype=np.bool_), np.zeros(ticks, dtype=np.bool_))
        case Variable(name):
            given = values[name]
            return _known(given != 0.0, ~np.isfinite(given))
        case Not(operand):
            return _truth(operand, values, ticks).negated()
        case And(operands):
            return _all([_truth(operand, values, ticks) for operand in operands])
        case Or(operands):
            turned = [_truth(operand, values, ticks).negated() for operand in operands]
            return _all(turned).negated()
        case Comparison():
            return _comparison(node, values, ticks)
    raise InternalError(f"no condition: {node!r}")


def _known(true: NDArray[np.bool_], unknown: NDArray[np.bool_]) -> Trace:
    """A truth that nothing lies near to."""
    if not unknown.any():
        worth = np.where(true, math.inf, -math.inf)
        return Trace(worth, worth, true, ~true)
    low = np.where(true & ~unknown, math.inf, -math.inf)
    high = np.where(true | unknown, math.inf, -math.inf)
    return Trace(low, high, true & ~unknown, ~true & ~unknown)


def _all(traces: list[Trace]) -> Trace:
    # two at a time: numpy's reduce would put them into one array first
    low = reduce(np.minimum, [trace.low for trace in traces])
    if all(trace.low is trace.high for trace in traces):
        high = low
    else:
        high = reduce(np.minimum, [trace.high for trace in traces])
    true = reduce(np.logical_and, [trace.true for trace in traces])
    false = reduce(np.logical_or, [trace.false for trace in traces])
    return Trace(low, high, true, false)


_TRUE = {
    "<": np.less,
    "<=": np.less_equal,
    ">": np.greater,
    ">=": np.greater_equal,
    "==": np.equal,
}


def _comparison(node: Comparison, values: Mapping[str, Floats], ticks: int) -> Trace:
    left, right = _number(node.left, values), _number(node.right, values)
    if node.operator in ("<", "<="):
        worth = right - left
    elif node.operator in (">", ">="):
        worth = left - right
    else:
        worth = -np.abs(left - right)
    holds = _TRUE[node.operator](left, right)
    if worth.ndim == 0:  # a comparison of constants
        worth, holds = np.full(ticks, worth), np.full(ticks, holds)
    known = np.isfinite(worth)
    if known.all():
        return Trace(worth, worth, holds, ~holds)
    unknown = ~known
    low, high = worth.copy(), worth.copy()
    low[unknown], high[unknown] = -math.inf, math.inf
    return Trace(low, high, holds & ~unknown, ~holds & ~unknown)


def _number(node: Node, values: Mapping[str, Floats]) -> Floats:
    """The value on every tick, NaN where there is none; a constant has shape ()."""
    match node:
        case Number(value):
            return np.asarray(value)
        case Variable(name):
            return _finite(values[name])
        case Negate(operand):
            return -_number(operand, values)
        case Arithmetic(operator, left, right):
            first, second = _number(left, values), _number(right, values)
            return _finite(_ARITHMETIC[operator](first, second))
        case Function(name, arguments):
            return _finite(_FUNCTIONS[name](*(_number(item, values) for item in arguments)))
    raise InternalError(f"no quantity: {node!r}")


def _finite(values: Floats) -> Floats:
    known = np.isfinite(values)
    return values if known.all() else np.where(known, values, math.nan)


_ARITHMETIC = {"+": np.add, "-": np.subtract, "*": np.multiply, "/": np.divide}
_FUNCTIONS = {"abs": np.abs, "sqrt": np.sqrt, "min": np.minimum, "max": np.maximum}
