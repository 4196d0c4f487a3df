"""Numbers and names of a vehicle file, and how large each may be.

The upper bounds are no rules of the trade: they lie well beyond any vehicle of this kind, and keep
out slips of the pen and numbers that no arithmetic survives. So does the least of what is positive.
"""

from __future__ import annotations

from typing import Annotated, Final

from pydantic import AfterValidator, Field

__all__ = [
    "MEANT",
    "Amperes",
    "Area",
    "Damping",
    "Inertia",
    "Length",
    "Mass",
    "Name",
    "Offset",
    "Ohms",
    "Seconds",
    "Speed",
    "Station",
    "Text",
    "Volts",
    "Word",
]

_LEAST: Final = 1e-12


def _meant(value: float) -> float:
    if 0.0 < value < _LEAST:
        raise ValueError(f"is too small to be meant ({value:g})")
    return value


#: of a positive number: one that divides something must not be next to nothing
MEANT: Final = AfterValidator(_meant)

Mass = Annotated[float, Field(gt=0, le=1000), MEANT]
Length = Annotated[float, Field(gt=0, le=100), MEANT]
Station = Annotated[float, Field(ge=0, le=100)]
Offset = Annotated[float, Field(ge=-10, le=10)]
Inertia = Annotated[float, Field(gt=0, le=100_000), MEANT]
Area = Annotated[float, Field(ge=0, le=1000)]  # also slopes of force, in m2 per rad
Damping = Annotated[float, Field(ge=0, le=100_000)]
Speed = Annotated[float, Field(gt=0, le=1000), MEANT]
Seconds = Annotated[float, Field(ge=0, le=600)]
Volts = Annotated[float, Field(gt=0, le=100), MEANT]
Ohms = Annotated[float, Field(ge=0, le=1000)]
Amperes = Annotated[float, Field(ge=0, le=100)]
Word = Annotated[str, Field(min_length=1, max_length=100)]
Text = Annotated[str, Field(min_length=1, max_length=2000)]
#: Names are joined with a dot ("flight.baro") and stand in conditions.
Name = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_]*$", max_length=60)]
