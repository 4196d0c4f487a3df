"""Turning between body and earth axes with a scalar-first quaternion, body to earth."""

from __future__ import annotations

import math

from sequencer.world.jit import compiled

__all__ = ["pad_attitude", "to_body", "to_earth"]


@compiled()
def to_earth(
    a: float, b: float, c: float, d: float, x: float, y: float, z: float
) -> tuple[float, float, float]:
    """The vector (x, y, z) of body axes in earth axes, for the unit quaternion (a, b, c, d)."""
    return (
        (1.0 - 2.0 * (c * c + d * d)) * x + 2.0 * (b * c - a * d) * y + 2.0 * (b * d + a * c) * z,
        2.0 * (b * c + a * d) * x + (1.0 - 2.0 * (b * b + d * d)) * y + 2.0 * (c * d - a * b) * z,
        2.0 * (b * d - a * c) * x + 2.0 * (c * d + a * b) * y + (1.0 - 2.0 * (b * b + c * c)) * z,
    )


@compiled()
def to_body(
    a: float, b: float, c: float, d: float, x: float, y: float, z: float
) -> tuple[float, float, float]:
    """The vector (x, y, z) of earth axes in body axes, for the unit quaternion (a, b, c, d)."""
    return to_earth(a, -b, -c, -d, x, y, z)


@compiled()
def pad_attitude(tilt: float, azimuth: float) -> tuple[float, float, float, float]:
    """Quaternion of a vehicle on its rail: nose up, then tilted by `tilt` towards `azimuth`.

    Both in rad, azimuth clockwise from north. Upright, body y is north and body z is west.
    """
    half = 0.5 * tilt
    a = math.cos(half)
    # the horizontal axis that turns up towards the azimuth, east and north components
    b = -math.sin(half) * math.cos(azimuth)
    c = math.sin(half) * math.sin(azimuth)
    s = math.sqrt(0.5)
    # (a, b, c, 0) after (s, 0, -s, 0), which lifts the nose from east to up
    return s * (a + c), s * b, s * (c - a), -s * b
