"""Units of measurement: symbols, exact conversion to SI, and dimensions.

A symbol is a product of unit names with whole powers and at most one stroke: ``m/s2``, ``kg m2``,
``deg/s``, ``N s``, ``1/s``. Conversions are worked out with rational numbers and rounded once, so
that 70 ms is the float nearest to 0.07. Angles have a dimension of their own (``rad``), so that an
angle never passes for a plain number. ``bool`` stands for a truth.

Factors: the International System of Units (SI Brochure, 9th edition, 2019) with its prefixes and
the units accepted for use with it; standard gravity 9.80665 m/s2 (3rd CGPM, 1901).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from sequencer.errors import InputError, nearest

__all__ = [
    "COMMON",
    "ONE",
    "SUFFIXES",
    "TRUTH",
    "Dimension",
    "Unit",
    "exact",
    "suffix_unit",
    "unit",
]

_BASES = ("m", "kg", "s", "A", "K", "rad")

#: pi to 50 decimals: far below half a unit in the last place of a double.
_PI = Fraction("3.14159265358979323846264338327950288419716939937510")

_MAX_SYMBOL = 40


@dataclass(frozen=True, slots=True)
class Dimension:
    """Powers of m, kg, s, A, K and rad; `truth` marks what is no quantity but true or false."""

    powers: tuple[Fraction, ...] = (Fraction(0),) * len(_BASES)
    truth: bool = False

    def __mul__(self, other: Dimension) -> Dimension:
        return Dimension(tuple(a + b for a, b in zip(self.powers, other.powers, strict=True)))

    def __truediv__(self, other: Dimension) -> Dimension:
        return Dimension(tuple(a - b for a, b in zip(self.powers, other.powers, strict=True)))

    def __pow__(self, power: int | Fraction) -> Dimension:
        return Dimension(tuple(a * power for a in self.powers))

    def __str__(self) -> str:
        """The SI symbol: ``m/s2``; "1" for a plain number, "bool" for a truth."""
        if self.truth:
            return "bool"
        powers = [(base, power) for base, power in zip(_BASES, self.powers, strict=True) if power]
        above = " ".join(_power(base, power) for base, power in powers if power > 0) or "1"
        below = " ".join(_power(base, -power) for base, power in powers if power < 0)
        return f"{above}/{below}" if below else above


#: The dimension of a plain number, and that of a truth.
ONE = Dimension()
TRUTH = Dimension(truth=True)


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: SI value = value * factor + offset (the offset is that of degC alone)."""

    symbol: str
    factor: Fraction
    offset: Fraction
    dimension: Dimension

    def to_si(self, value: float | Decimal) -> float:
        """A value in this unit -> SI, exact and then rounded once.

        A float counts as the decimal number that it prints as. Raises InputError if the result is
        beyond the range of a float.
        """
        return self._rounded(exact(value) * self.factor + self.offset, value)

    def span_to_si(self, value: float | Decimal) -> float:
        """A difference of two values in this unit (a tolerance, a noise) -> SI."""
        return self._rounded(exact(value) * self.factor, value)

    def from_si(self, value: float) -> float:
        """An SI value -> this unit; NaN and infinities stay what they are."""
        if not math.isfinite(value):
            return value
        return self._rounded((Fraction(value) - self.offset) / self.factor, value)

    def _rounded(self, value: Fraction, given: object) -> float:
        try:
            return float(value)
        except OverflowError:
            raise InputError(f"{given} {self.symbol} is too large") from None


def exact(value: float | Decimal) -> Fraction:
    """The decimal number that `value` prints as, exactly: 0.07 -> 7/100.

    Raises InputError unless it is finite.
    """
    if isinstance(value, int):
        return Fraction(value)
    number = Decimal(repr(value)) if isinstance(value, float) else value
    if not number.is_finite():
        raise InputError(f"{value} is not a finite number")
    return Fraction(number)


def _power(base: str, power: Fraction) -> str:
    if power == 1:
        return base
    return f"{base}{power}" if power.denominator == 1 else f"{base}^({power})"


def _dimension(**powers: int) -> Dimension:
    return Dimension(tuple(Fraction(powers.get(base, 0)) for base in _BASES))


_LENGTH, _MASS, _TIME, _CURRENT, _HEAT, _ANGLE = (_dimension(**{base: 1}) for base in _BASES)
_FORCE = _dimension(m=1, kg=1, s=-2)
_PRESSURE = _FORCE / _LENGTH**2
_ENERGY = _FORCE * _LENGTH
_POWER = _ENERGY / _TIME
_VOLTAGE = _POWER / _CURRENT

# name -> (factor, dimension)
_NAMES: Mapping[str, tuple[Fraction, Dimension]] = {
    name: (Fraction(factor), dimension)
    for name, factor, dimension in (
        ("1", 1, ONE),
        ("%", "0.01", ONE),
        ("m", 1, _LENGTH),
        ("km", 1000, _LENGTH),
        ("cm", "0.01", _LENGTH),
        ("mm", "0.001", _LENGTH),
        ("kg", 1, _MASS),
        ("g", "0.001", _MASS),
        ("mg", "0.000001", _MASS),
        ("s", 1, _TIME),
        ("ms", "0.001", _TIME),
        ("us", "0.000001", _TIME),
        ("min", 60, _TIME),
        ("h", 3600, _TIME),
        ("A", 1, _CURRENT),
        ("mA", "0.001", _CURRENT),
        ("K", 1, _HEAT),
        ("degC", 1, _HEAT),
        ("rad", 1, _ANGLE),
        ("deg", _PI / 180, _ANGLE),
        ("N", 1, _FORCE),
        ("kN", 1000, _FORCE),
        ("Pa", 1, _PRESSURE),
        ("hPa", 100, _PRESSURE),
        ("kPa", 1000, _PRESSURE),
        ("bar", 100_000, _PRESSURE),
        ("mbar", 100, _PRESSURE),
        ("J", 1, _ENERGY),
        ("kJ", 1000, _ENERGY),
        ("mJ", "0.001", _ENERGY),
        ("W", 1, _POWER),
        ("mW", "0.001", _POWER),
        ("V", 1, _VOLTAGE),
        ("mV", "0.001", _VOLTAGE),
        ("ohm", 1, _VOLTAGE / _CURRENT),
        ("mohm", "0.001", _VOLTAGE / _CURRENT),
        ("Hz", 1, ONE / _TIME),
        ("kHz", 1000, ONE / _TIME),
        ("g0", "9.80665", _LENGTH / _TIME**2),
    )
}

_OFFSETS: Mapping[str, Fraction] = {"degC": Fraction("273.15")}

#: Symbols to suggest and to list in the documentation; others may be composed freely.
COMMON: tuple[str, ...] = (
    "bool",
    *_NAMES,
    *("m/s", "m/s2", "km/h", "deg/s", "rad/s", "deg/s2", "rad/s2", "1/s", "N s", "N m"),
    *("m2", "mm2", "m3", "m4", "kg m2", "kg/m3", "kg/s", "Pa/s", "K/m", "A h", "mA h", "ohm m"),
)

#: Endings of keys and signal names that carry a unit: ``mass_kg``, ``climb_m_s``.
SUFFIXES: Mapping[str, str] = {
    "_m_s2": "m/s2",
    "_deg_s": "deg/s",
    "_kg_m2": "kg m2",
    "_per_s": "1/s",
    "_m_s": "m/s",
    "_n_s": "N s",
    "_ohm": "ohm",
    "_deg": "deg",
    "_rad": "rad",
    "_kg": "kg",
    "_pa": "Pa",
    "_hz": "Hz",
    "_m2": "m2",
    "_m4": "m4",
    "_m": "m",
    "_s": "s",
    "_n": "N",
    "_k": "K",
    "_v": "V",
    "_a": "A",
    "_j": "J",
    "_percent": "%",
}


@lru_cache(maxsize=512)
def unit(symbol: str) -> Unit:
    """The unit that `symbol` stands for.

    Raises InputError (without a place) for a symbol that means nothing.
    """
    if symbol == "bool":
        return Unit(symbol, Fraction(1), Fraction(0), TRUTH)
    if symbol in _OFFSETS:
        factor, dimension = _NAMES[symbol]
        return Unit(symbol, factor, _OFFSETS[symbol], dimension)
    if len(symbol) > _MAX_SYMBOL:
        raise InputError(f"unknown unit '{symbol[:_MAX_SYMBOL]}...'")
    above, stroke, below = symbol.partition("/")
    top, bottom = _product(above), _product(below) if stroke else (Fraction(1), ONE)
    if top is None or bottom is None:
        raise InputError(f"unknown unit '{symbol}'", nearest=nearest(symbol, COMMON))
    return Unit(symbol, top[0] / bottom[0], Fraction(0), top[1] / bottom[1])


def suffix_unit(name: str) -> Unit | None:
    """The unit that the ending of a key or signal name carries, or None if it carries none."""
    for suffix, symbol in SUFFIXES.items():
        if name.endswith(suffix):
            return unit(symbol)
    return None


def _product(text: str) -> tuple[Fraction, Dimension] | None:
    """Factor and dimension of ``kg m2``, or None if a part of it is no unit."""
    factor, dimension = Fraction(1), ONE
    for part in text.split(" "):
        name, power = part, 1
        if part not in _NAMES:  # names win over powers: g0, and the number 1
            found = re.fullmatch(r"([A-Za-z]+)([2-9])", part)
            if found is None or found[1] not in _NAMES:
                return None
            name, power = found[1], int(found[2])
        if name in _OFFSETS:  # degC cannot be multiplied; a slope is per K
            return None
        factor *= _NAMES[name][0] ** power
        dimension *= _NAMES[name][1] ** power
    return factor, dimension
