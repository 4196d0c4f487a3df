"""Numbers of a sequence as terms of z3: rounded as doubles are, bad where they would be.

Reals are not doubles, and what is done about it is this:

- A comparison of a measured value with a limit needs nothing: every double is a real, so what
  holds for all reals holds for all doubles.
- ``+ - * /`` and `sqrt` round. The result of each is a real of its own that lies within one
  rounding of the exact one (relative 2**-53, absolute 2**-1075 below the normal numbers; IEEE
  754-2019, section 4.3.1, round to nearest), and it is bad exactly where a double overflows. The
  same operation on the same operands is one and the same result. What is proved of all such reals
  holds for doubles; what is found need not, so witnesses are checked by evaluation. With
  ``rounded=False`` results are the exact ones: that is only good for finding witnesses.
- Time in state, ages and timers are whole ticks divided by the rate: compared with a constant, or
  with each other, they are whole numbers, and the edge between two ticks is found in doubles.
"""

from __future__ import annotations

import math
from fractions import Fraction

from sequencer.lint.solving.symbols import MOST_TICKS, Formula, Kleene, Quantity, Symbols

__all__ = ["Numbers"]

_UNIT = Fraction(1, 2**53)
_TINY = Fraction(1, 2**1075)
#: from here on a result rounds to infinity
_OVERFLOW = Fraction(2**1024 - 2**970)
_TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<=", "==": "==", "!=": "!="}


class Numbers:
    """Makes quantities over the symbols of one question.

    rate_hz   clock ticks a second
    rounded   results are rounded as doubles are
    """

    def __init__(self, symbols: Symbols, rate_hz: int, *, rounded: bool) -> None:
        self._symbols = symbols
        self._z3 = symbols.z3
        self._rate_hz = rate_hz
        self._rounded = rounded
        self._no = symbols.constant(False)
        self._yes = symbols.constant(True)

    def constant(self, value: float | None) -> Quantity:
        """A number that never changes; None: it is bad."""
        if value is None:
            return Quantity(self._symbols.fraction(0), self._yes)
        return Quantity(self._symbols.fraction(value), self._no, constant=float(value))

    def ticked(self, name: str) -> Quantity:
        """A number of clock ticks divided by the rate."""
        symbols = self._symbols
        ticks = symbols.tick(name)
        key = ("seconds", name)
        if key not in symbols.results:
            value = self._z3.Real(f"{name} seconds", symbols.context)
            exact = self._z3.ToReal(ticks) / self._rate_hz
            symbols.facts += self._near(value, exact, Fraction(0))
            symbols.results[key] = Quantity(value, self._no, ticks)
        return symbols.results[key]

    def compare(self, operator: str, left: Quantity, right: Quantity) -> Kleene:
        """A comparison: unknown where a side is bad."""
        z3 = self._z3
        if left.ticks is not None and right.constant is not None:
            holds = self._ticks_against(operator, left.ticks, right.constant)
        elif right.ticks is not None and left.constant is not None:
            holds = self._ticks_against(_TURNED[operator], right.ticks, left.constant)
        elif left.ticks is not None and right.ticks is not None:
            holds = _compared(operator, left.ticks, right.ticks)
        else:
            holds = _compared(operator, left.value, right.value)
        good = z3.Not(z3.Or(left.bad, right.bad))
        return Kleene(z3.And(holds, good), z3.And(z3.Not(holds), good))

    def _ticks_against(self, operator: str, ticks: Formula, constant: float) -> Formula:
        """Which numbers of ticks, divided by the rate in doubles, compare so with a constant."""
        reached = _first_tick(constant, self._rate_hz)
        passed = _first_tick(constant, self._rate_hz, beyond=True)
        exact = ticks == reached if reached < passed else self._no
        return {
            "<": ticks < reached,
            "<=": ticks < passed,
            ">": ticks >= passed,
            ">=": ticks >= reached,
            "==": exact,
            "!=": self._z3.Not(exact),
        }[operator]

    def arithmetic(self, operator: str, left: Quantity, right: Quantity) -> Quantity:
        """`left operator right` with one of ``+ - * /``."""
        z3 = self._z3
        bad = z3.Or(left.bad, right.bad)
        match operator, left.constant, right.constant:
            case ("+" | "-", _, 0.0) | ("*" | "/", _, 1.0):
                return Quantity(left.value, bad)
            case ("+", 0.0, _) | ("*", 1.0, _):
                return Quantity(right.value, bad)
            case ("*", 0.0, _) | ("*", _, 0.0):
                return Quantity(self._symbols.fraction(0), bad)
            case ("/", _, 0.0):
                return self.constant(None)
        a, b = left.value, right.value
        if operator in "+*":  # the order does not matter to the result
            a, b = sorted((a, b), key=lambda term: int(term.get_id()))
        if operator == "/":
            bad = z3.Or(bad, b == 0)
        found = self._result(operator, a, b, right.constant)
        return Quantity(found.value, z3.Or(bad, found.bad))

    def function(self, name: str, arguments: list[Quantity]) -> Quantity:
        """`abs`, `sqrt`, `min` or `max`."""
        z3 = self._z3
        first = arguments[0]
        if name == "abs":
            return Quantity(z3.If(first.value < 0, -first.value, first.value), first.bad)
        if name == "sqrt":
            return self._root(first)
        second = arguments[1]
        chosen = second.value < first.value if name == "min" else first.value < second.value
        value = z3.If(chosen, second.value, first.value)
        return Quantity(value, z3.Or(first.bad, second.bad))

    def _result(self, operator: str, a: Formula, b: Formula, divisor: float | None) -> Quantity:
        """What an operation on two good values gives, once for the same operands.

        It is bad where it is too large.
        """
        symbols, z3 = self._symbols, self._z3
        key = (operator, a.get_id(), b.get_id())
        if key in symbols.results:
            return symbols.results[key]
        number = len(symbols.results)
        match operator:
            case "+":
                exact = a + b
            case "-":
                exact = a - b
            case "*":
                exact = a * b
            case _ if divisor is not None:
                exact = a * symbols.fraction(1 / Fraction(divisor))
            case _:
                exact = z3.Real(f"quotient {number}", symbols.context)
                symbols.facts.append(z3.Implies(b != 0, exact * b == a))
        value = z3.Real(f"result {number}", symbols.context)
        limit = symbols.fraction(_OVERFLOW)
        symbols.facts += self._near(value, exact, _TINY if operator in "*/" else Fraction(0))
        symbols.kept += [a, b]
        symbols.results[key] = Quantity(value, z3.Or(exact >= limit, exact <= -limit))
        return symbols.results[key]

    def _root(self, argument: Quantity) -> Quantity:
        symbols, z3 = self._symbols, self._z3
        a = argument.value
        key = ("sqrt", a.get_id())
        if key not in symbols.results:
            value = z3.Real(f"result {len(symbols.results)}", symbols.context)
            # four roundings of the square bound one of the root
            slack = 4 * _UNIT if self._rounded else Fraction(0)
            low, high = symbols.fraction(1 - slack), symbols.fraction(1 + slack)
            close = z3.And(value * value >= a * low, value * value <= a * high)
            symbols.facts += [value >= 0, z3.Implies(a >= 0, close)]
            symbols.kept.append(a)
            symbols.results[key] = Quantity(value, self._no)
        return Quantity(symbols.results[key].value, z3.Or(argument.bad, a < 0))

    def _near(self, value: Formula, exact: Formula, tiny: Fraction) -> list[Formula]:
        """`value` is `exact`, rounded once."""
        if not self._rounded:
            return [value == exact]
        z3, number = self._z3, self._symbols.fraction
        less, more = number(1 - _UNIT), number(1 + _UNIT)
        low = z3.If(exact >= 0, exact * less, exact * more)
        high = z3.If(exact >= 0, exact * more, exact * less)
        if not tiny:
            return [value >= low, value <= high]
        # below the normal numbers it can round to nothing, and never past it
        signs = [z3.Implies(exact >= 0, value >= 0), z3.Implies(exact <= 0, value <= 0)]
        return [value >= low - number(tiny), value <= high + number(tiny), *signs]


def _compared(operator: str, left: Formula, right: Formula) -> Formula:
    match operator:
        case "<":
            return left < right
        case "<=":
            return left <= right
        case ">":
            return left > right
        case ">=":
            return left >= right
        case "==":
            return left == right
    return left != right


def _first_tick(seconds: float, rate_hz: int, *, beyond: bool = False) -> int:
    """First number of ticks that, divided by the rate in doubles, reaches (or passes) a time."""
    if seconds * rate_hz > MOST_TICKS:
        return MOST_TICKS + 1
    tick = max(0, math.floor(seconds * rate_hz) - 2)
    while tick / rate_hz < seconds or (beyond and tick / rate_hz == seconds):
        tick += 1
    return tick
