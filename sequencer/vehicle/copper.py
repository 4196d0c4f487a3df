"""Copper wire by its gauge.

American Wire Gauge: the diameters of two gauges stand 39 steps and a factor of 92 apart, from
0.005 inch at AWG 36 (ASTM B258). Resistivity: International Annealed Copper Standard,
1.7241e-8 ohm m at 20 C; temperature coefficient 0.00393 per K at 20 C.
"""

from __future__ import annotations

import math
from typing import Final

__all__ = ["COEFFICIENT_PER_K", "diameter_m", "ohm_per_m", "temperature_factor"]

COEFFICIENT_PER_K: Final = 0.00393
_RESISTIVITY_OHM_M: Final = 1.7241e-8
_REFERENCE_C: Final = 20.0


def diameter_m(awg: int) -> float:
    """Diameter of a solid conductor of this gauge, m: 0.127 mm * 92^((36 - awg) / 39)."""
    return 0.127e-3 * math.pow(92.0, (36 - awg) / 39.0)


def ohm_per_m(awg: int) -> float:
    """Resistance of one metre of copper of this gauge at 20 C, ohm."""
    return _RESISTIVITY_OHM_M / (math.pi * diameter_m(awg) ** 2 / 4.0)


def temperature_factor(celsius: float) -> float:
    """Resistance of copper at this temperature over that at 20 C; a straight line."""
    return 1.0 + COEFFICIENT_PER_K * (celsius - _REFERENCE_C)
