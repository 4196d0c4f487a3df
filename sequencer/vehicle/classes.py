"""Motor classes, and what the model-rocket rules say about a vehicle of this size.

These are figures of published rules, kept to warn early. They are no permission to fly: local law,
the site's range safety officer and certified practice come first, and may be stricter.
"""

from __future__ import annotations

import string
from collections.abc import Iterable
from dataclasses import dataclass

from sequencer.errors import UsageError

__all__ = [
    "LAUNCHER_TILT_MAX_DEG",
    "MISFIRE_WAIT_S",
    "MODEL_ROCKET_LIMITS",
    "SITE_TABLE",
    "WIND_MAX_M_S",
    "Excess",
    "SiteRow",
    "SizeLimit",
    "excesses",
    "installed_impulse",
    "motor_class",
    "personnel_distance_m",
    "site_row",
]

#: Largest wind of item 9 of the national Model Rocket Safety Code (August 2012): 20 mph.
WIND_MAX_M_S = 8.9408
#: Item 6 of the same code: the launcher points within 30 degrees of the vertical.
LAUNCHER_TILT_MAX_DEG = 30.0
#: Item 4 of the same code: wait after the last launch attempt before anyone approaches.
MISFIRE_WAIT_S = 60.0

_FOOT_M = 0.3048
_FIRST_BOUND = 2.5  # N s, upper bound of class A; every further class doubles it


@dataclass(frozen=True, slots=True)
class SiteRow:
    """One row of the launch-site table: least dimension of a site up to `impulse_n_s`."""

    impulse_n_s: float
    motors: str
    dimension_ft: int
    dimension_m: int


#: Launch-site table of the national Model Rocket Safety Code, effective August 2012 (feet;
#: metres as an older copy of the code rounds them, the last one from memory).
SITE_TABLE: tuple[SiteRow, ...] = (
    SiteRow(1.25, "1/4A, 1/2A", 50, 15),
    SiteRow(2.5, "A", 100, 30),
    SiteRow(5.0, "B", 200, 60),
    SiteRow(10.0, "C", 400, 120),
    SiteRow(20.0, "D", 500, 150),
    SiteRow(40.0, "E", 1000, 300),
    SiteRow(80.0, "F", 1000, 300),
    SiteRow(160.0, "G", 1000, 300),
    SiteRow(320.0, "two G", 1500, 450),
)


@dataclass(frozen=True, slots=True)
class SizeLimit:
    """A size that a model rocket keeps. `source` names the rule."""

    quantity: str
    most: float
    unit: str
    source: str


#: 14 CFR 101.22(a) and NFPA 1122-2018 sections 4.4.1, 4.4.2, 4.5; item 7 of the safety code.
MODEL_ROCKET_LIMITS: tuple[SizeLimit, ...] = (
    SizeLimit("mass", 1.5, "kg", "14 CFR 101.22(a); NFPA 1122 4.4.1"),
    SizeLimit("propellant", 0.125, "kg", "14 CFR 101.22(a); NFPA 1122 4.4.2"),
    SizeLimit("total impulse", 320.0, "N s", "NFPA 1122 4.5"),
)


@dataclass(frozen=True, slots=True)
class Excess:
    """A limit that a vehicle does not keep, and its own figure."""

    limit: SizeLimit
    value: float

    def __str__(self) -> str:
        limit = self.limit
        return (
            f"{limit.quantity} {self.value:g} {limit.unit} is above the {limit.most:g} "
            f"{limit.unit} of a model rocket ({limit.source})"
        )


def motor_class(impulse_n_s: float) -> str:
    """Letter of one motor by its total impulse in N s: "1/4A", "1/2A", "A", "B", ... "Z".

    A class goes up to and including 2.5 * 2^k N s, k = 0 for A; the fractions of A halve it.
    Raises UsageError for an impulse that is not positive, or beyond Z.
    """
    if not impulse_n_s > 0.0:
        raise UsageError(f"a motor's total impulse is positive (got {impulse_n_s:g} N s)")
    bound = _FIRST_BOUND / 4.0
    letters: tuple[str, ...] = ("1/4A", "1/2A", *string.ascii_uppercase)
    for letter in letters:
        if impulse_n_s <= bound:
            return letter
        bound *= 2.0
    raise UsageError(f"{impulse_n_s:g} N s is beyond class Z")


def installed_impulse(impulses_n_s: Iterable[float]) -> float:
    """Total impulse of everything installed, N s: a cluster counts as the sum of its motors."""
    return sum(impulses_n_s)


def site_row(installed_n_s: float) -> SiteRow:
    """Row of the site table for an installed total impulse in N s.

    The installed total decides, not the letter of one motor. Raises UsageError above 320 N s,
    where the model-rocket code ends.
    """
    for row in SITE_TABLE:
        if installed_n_s <= row.impulse_n_s:
            return row
    raise UsageError(f"{installed_n_s:g} N s is more than the 320 N s of the model-rocket code")


def personnel_distance_m(installed_n_s: float) -> float:
    """Least distance of people from the pad, m: 15 ft up to class D, 30 ft above.

    Item 5 of the national Model Rocket Safety Code (August 2012), read with the installed total.
    """
    return (15 if installed_n_s <= SITE_TABLE[4].impulse_n_s else 30) * _FOOT_M


def excesses(mass_kg: float, propellant_kg: float, impulse_n_s: float) -> tuple[Excess, ...]:
    """The model-rocket size limits that a vehicle with these totals does not keep."""
    values = (mass_kg, propellant_kg, impulse_n_s)
    return tuple(
        Excess(limit, value)
        for limit, value in zip(MODEL_ROCKET_LIMITS, values, strict=True)
        if value > limit.most
    )
