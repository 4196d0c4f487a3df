"""The unknowns of a question to z3, and what a truth and a number are made of there."""

from __future__ import annotations

import functools
import importlib
import importlib.util
import math
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

__all__ = ["MOST_TICKS", "Formula", "Kleene", "Quantity", "Symbols", "has_solver", "load_solver"]

#: A formula or a term of z3, or its module: it publishes no types.
Formula = Any

#: No count of ticks goes further: at a thousand a second that is thirty years.
MOST_TICKS = 2**40


@functools.cache
def has_solver() -> bool:
    """Whether z3 is installed, and can be loaded."""
    if importlib.util.find_spec("z3") is None:
        return False
    try:
        load_solver()
    except Exception:  # noqa: BLE001 - half an installation: z3 raises its own where its library is missing
        return False
    return True


def load_solver() -> Formula:
    """The module of z3. Raises ImportError where it is not installed."""
    return importlib.import_module("z3")


@dataclass(frozen=True, slots=True)
class Kleene:
    """A truth: two formulas that are never both true."""

    true: Formula
    false: Formula


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number: its value where it is not bad.

    ticks     where it is a number of ticks: that number
    constant  where it never changes: its value as a double (bad ones have none)
    """

    value: Formula
    bad: Formula
    ticks: Formula | None = None
    constant: float | None = None


@dataclass
class Symbols:
    """The unknowns of one question, shared by all that it is about.

    ranges    name -> lowest and highest value, where they are known
    numbers, ticks, truths, bads, states
              name -> symbol; `bads` of numbers and truths that can be bad
    facts     what holds for them
    results   operation and operands -> what it gives; value and whether that is too large
    kept      terms whose ids stand in `results`: an id is free again when its term is gone
    """

    z3: Formula
    context: Formula
    ranges: Mapping[str, tuple[float, float]]
    numbers: dict[str, Formula] = field(default_factory=dict)
    ticks: dict[str, Formula] = field(default_factory=dict)
    truths: dict[str, Formula] = field(default_factory=dict)
    bads: dict[str, Formula] = field(default_factory=dict)
    states: dict[str, Formula] = field(default_factory=dict)
    facts: list[Formula] = field(default_factory=list)
    results: dict[object, Quantity] = field(default_factory=dict)
    kept: list[Formula] = field(default_factory=list)

    def real(self, name: str) -> Formula:
        """The symbol of a number."""
        if name not in self.numbers:
            value = self.numbers[name] = self.z3.Real(name, self.context)
            if name in self.ranges:
                low, high = self.ranges[name]
                self.facts += [value >= self.fraction(low)] if math.isfinite(low) else []
                self.facts += [value <= self.fraction(high)] if math.isfinite(high) else []
        return self.numbers[name]

    def finite(self) -> list[Formula]:
        """That no number is larger than a double can be; only sums and the like ask for it."""
        limit = self.fraction(sys.float_info.max)
        free = [value for name, value in self.numbers.items() if name not in self.ranges]
        return [bound for value in free for bound in (value <= limit, value >= -limit)]

    def truth(self, name: str) -> Formula:
        """The symbol of a truth."""
        if name not in self.truths:
            self.truths[name] = self.z3.Bool(name, self.context)
        return self.truths[name]

    def bad(self, name: str) -> Formula:
        """The symbol that says that a value is bad."""
        if name not in self.bads:
            self.bads[name] = self.z3.Bool(f"{name} bad", self.context)
        return self.bads[name]

    def state(self, name: str, count: int) -> Formula:
        """The symbol of a state: its number."""
        if name not in self.states:
            number = self.states[name] = self.z3.Int(name, self.context)
            self.facts += [number >= 0, number < count]
        return self.states[name]

    def tick(self, name: str) -> Formula:
        """The symbol of a number of ticks."""
        if name not in self.ticks:
            count = self.ticks[name] = self.z3.Int(f"{name} ticks", self.context)
            self.facts += [count >= 0, count <= MOST_TICKS]
        return self.ticks[name]

    def fraction(self, value: float | Fraction) -> Formula:
        """A constant, exactly."""
        exact = Fraction(value)
        return self.z3.RatVal(exact.numerator, exact.denominator, self.context)

    def constant(self, value: bool) -> Formula:  # noqa: FBT001 - as z3.BoolVal
        """True or false."""
        return self.z3.BoolVal(value, self.context)
