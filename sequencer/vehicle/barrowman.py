"""Centre of pressure and normal-force slope of a slender finned vehicle at small angles.

Source: J. S. and J. A. Barrowman, "The Theoretical Prediction of the Center of Pressure", R&D
report, 18 August 1966; J. S. Barrowman, "The Practical Calculation of the Aerodynamic
Characteristics of Slender Finned Vehicles", thesis, Catholic University of America, March 1967.
Valid for subsonic flow, small angles of attack, thin flat fins and no gap between fin and body.
Lengths in m, stations in m from the nose tip; slopes are per rad, referred to the base area of the
nose.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["Component", "Fins", "Nose", "Transition", "total"]


@dataclass(frozen=True, slots=True)
class Component:
    """What one piece contributes: slope per rad (dimensionless) at a station (m)."""

    slope: float
    station: float


@dataclass(frozen=True, slots=True)
class Nose:
    """A nose cone: `shape` "cone" or "ogive" (tangent), `length` and base `diameter` in m."""

    shape: str
    length: float
    diameter: float

    @property
    def reference_area(self) -> float:
        """Area of the base, m2: what all slopes are referred to."""
        return math.pi * self.diameter**2 / 4.0

    def component(self) -> Component:
        """Slope 2; at two thirds of a cone, at L - V/S of a body of volume V and base area S.

        The volume of the tangent ogive is exact, with rho = (R^2 + L^2)/(2R):
        V = pi (L rho^2 - L^3/3 - (rho - R) rho^2 asin(L/rho)). The often quoted 0.466 L is its
        limit for long noses. No tangent ogive is shorter than its radius.
        """
        if self.shape == "cone":
            return Component(2.0, 2.0 / 3.0 * self.length)
        length, radius = self.length, self.diameter / 2.0
        rho = (radius**2 + length**2) / (2.0 * radius)
        arc = math.asin(min(1.0, length / rho))
        volume = math.pi * (length * rho**2 - length**3 / 3.0 - (rho - radius) * rho**2 * arc)
        return Component(2.0, length - volume / (math.pi * radius**2))


@dataclass(frozen=True, slots=True)
class Transition:
    """A conical shoulder (wider to the rear) or boat tail; `station` of its front end, in m."""

    station: float
    length: float
    front_diameter: float
    rear_diameter: float

    def component(self, reference_diameter: float) -> Component:
        """Slope 2 ((d2/d)^2 - (d1/d)^2), negative for a boat tail; centre by the report's eq 34."""
        front, rear = self.front_diameter, self.rear_diameter
        slope = 2.0 * (rear**2 - front**2) / reference_diameter**2
        ratio = front / rear
        # (1 - r)/(1 - r^2) written as 1/(1 + r), which also holds for a plain tube
        return Component(slope, self.station + self.length / 3.0 * (1.0 + 1.0 / (1.0 + ratio)))


@dataclass(frozen=True, slots=True)
class Fins:
    """A set of 3 or 4 equal trapezoidal fins.

    station     of the leading edge at the root, m
    root, tip   chords, m
    span        of one fin from the body's surface, m
    sweep       how far the leading edge at the tip lies behind the one at the root, m
    """

    count: int
    station: float
    root: float
    tip: float
    span: float
    sweep: float
    body_diameter: float

    def component(self, reference_diameter: float) -> Component:
        """Slope by eq 48/59 with the interference factor of eq 77, centre by eq 76a."""
        chords = self.root + self.tip
        middle = math.hypot(self.span, self.sweep + (self.tip - self.root) / 2.0)
        alone = (
            4.0
            * self.count
            * (self.span / reference_diameter) ** 2
            / (1.0 + math.sqrt(1.0 + (2.0 * middle / chords) ** 2))
        )
        radius = self.body_diameter / 2.0
        interference = 1.0 + radius / (self.span + radius)
        behind = self.sweep / 3.0 * (self.root + 2.0 * self.tip) / chords
        behind += (chords - self.root * self.tip / chords) / 6.0
        return Component(interference * alone, self.station + behind)


def total(components: Iterable[Component]) -> Component:
    """Sum of slopes, acting at the mean of the stations weighted with them."""
    parts = list(components)
    slope = math.fsum(part.slope for part in parts)
    return Component(slope, math.fsum(part.slope * part.station for part in parts) / slope)
