"""Thrust tables: straight lines between points, scaled to a motor's burn time and total impulse."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

__all__ = ["area", "thrust_table"]


def area(points: Sequence[tuple[float, float]]) -> float:
    """Integral of the straight lines through `points` (x ascending), exact up to rounding."""
    return math.fsum(
        (right[0] - left[0]) * (left[1] + right[1]) / 2.0 for left, right in pairwise(points)
    )


def thrust_table(
    points_percent: Sequence[tuple[float, float]], burn_time: float, impulse: float
) -> tuple[tuple[float, float], ...]:
    """Times in s since thrust onset and thrusts in N of a motor.

    `points_percent` are (% of burn time, % of mean thrust). The second column is scaled as a whole,
    so that the table's own integral is `impulse` in N s however the curve was drawn.
    """
    scale = impulse / area([(x * burn_time / 100.0, y) for x, y in points_percent])
    return tuple((x * burn_time / 100.0, y * scale) for x, y in points_percent)
