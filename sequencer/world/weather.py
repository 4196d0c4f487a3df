"""The weather of a scenario: its [weather] table, and the wind profile that follows from it."""

from __future__ import annotations

import itertools
import math
from typing import Annotated, Literal

from pydantic import Field, model_validator

from sequencer.documents import Strict
from sequencer.world.layout import GUSTS, LEVELS

__all__ = [
    "REFERENCE_HEIGHT_M",
    "Gust",
    "Level",
    "Temperature",
    "Weather",
    "Wind",
    "beaufort",
    "log_law",
    "power_law",
    "wind_from",
]

#: Height at which a wind speed is given unless something else is said (WMO-No. 8, part I ch. 5).
REFERENCE_HEIGHT_M = 10.0

Direction = Annotated[float, Field(ge=0, lt=360)]
Speed = Annotated[float, Field(ge=0, le=60)]

# Heights at which a law is sampled; the world draws straight lines between them. Doubling keeps
# the power law within 1 % everywhere above the first metre.
_HEIGHTS_M = (0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0, 512.0)

# WMO lower limits of Beaufort forces 1 to 12, m/s: 0.836 (B - 1/2)^1.5 rounded up to 0.1.
_BEAUFORT_M_S = (0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9, 17.2, 20.8, 24.5, 28.5, 32.7)


def power_law(height_m: float, exponent: float) -> float:
    """Wind speed at a height over that at 10 m: (z/10)^p, zero on the ground.

    Common exponents: 1/7 over open land in neutral air, 0.11 over water, 0.2 in IEC 61400-1.
    """
    return math.pow(max(0.0, height_m) / REFERENCE_HEIGHT_M, exponent)


def log_law(height_m: float, roughness_m: float) -> float:
    """Wind speed at a height over that at 10 m: ln(z/z0)/ln(10/z0), zero below the roughness z0."""
    if height_m <= roughness_m:
        return 0.0
    return math.log(height_m / roughness_m) / math.log(REFERENCE_HEIGHT_M / roughness_m)


def wind_from(speed_m_s: float, from_deg: float) -> tuple[float, float]:
    """East and north components, m/s, of a wind that blows *from* `from_deg` (clockwise from N)."""
    angle = math.radians(from_deg)
    return -speed_m_s * math.sin(angle), -speed_m_s * math.cos(angle)


def beaufort(speed_m_s: float) -> int:
    """Beaufort force 0..12 of a 10-minute mean wind speed in m/s (WMO limits)."""
    return sum(speed_m_s >= limit for limit in _BEAUFORT_M_S)


class Level(Strict):
    """[[weather.wind.levels]]: wind measured at one height above the ground."""

    height_m: Annotated[float, Field(ge=0, le=10000)]
    speed_m_s: Speed
    from_deg: Direction


class Wind(Strict):
    """[weather.wind]: the mean wind.

    law            "constant"; "power" or "log" from the wind at 10 m; or "levels" as measured
    exponent       of the power law
    roughness_m    of the log law
    """

    law: Literal["constant", "power", "log", "levels"] = "constant"
    speed_m_s: Speed | None = None
    from_deg: Direction | None = None
    exponent: Annotated[float, Field(gt=0, le=1)] | None = None
    roughness_m: Annotated[float, Field(gt=0, lt=5)] | None = None
    levels: Annotated[tuple[Level, ...], Field(max_length=LEVELS)] = ()

    @model_validator(mode="after")
    def _keys_of_the_law(self) -> Wind:
        needed = {
            "constant": {"speed_m_s", "from_deg"},
            "power": {"speed_m_s", "from_deg", "exponent"},
            "log": {"speed_m_s", "from_deg", "roughness_m"},
            "levels": {"levels"},
        }[self.law]
        given = {
            key
            for key in type(self).model_fields
            if key != "law" and getattr(self, key) not in (None, ())
        }
        if self.law == "constant" and not given:
            return self  # calm
        for key in sorted(needed - given):
            raise ValueError(f"of law '{self.law}' needs '{key}'")
        for key in sorted(given - needed):
            raise ValueError(f"of law '{self.law}' has no use for '{key}'")
        for below, above in zip(self.levels, self.levels[1:], strict=False):
            if above.height_m <= below.height_m:
                raise ValueError(
                    f"has levels that do not ascend ({above.height_m:g} m after "
                    f"{below.height_m:g} m)"
                )
        return self

    def profile(self) -> tuple[tuple[float, float, float], ...]:
        """(height m, east m/s, north m/s), at most LEVELS of them; none when it is calm."""
        if self.law == "levels":
            return tuple(
                (each.height_m, *wind_from(each.speed_m_s, each.from_deg)) for each in self.levels
            )
        if self.speed_m_s is None or self.from_deg is None:
            return ()
        east, north = wind_from(self.speed_m_s, self.from_deg)
        if self.law == "constant":
            return ((0.0, east, north),)
        factors = [(height, self._factor(height)) for height in _HEIGHTS_M]
        return tuple((height, part * east, part * north) for height, part in factors)

    def _factor(self, height_m: float) -> float:
        if self.exponent is not None:
            return power_law(height_m, self.exponent)
        return log_law(height_m, self.roughness_m or 0.0)


class Gust(Strict):
    """[[weather.gusts]]: one gust that rises and falls as (1 - cos)/2 over its length in time."""

    start_s: Annotated[float, Field(ge=0, le=3600)]
    length_s: Annotated[float, Field(gt=0, le=600)]
    speed_m_s: Speed
    from_deg: Direction
    up_m_s: Annotated[float, Field(ge=-30, le=30)] = 0.0


class Temperature(Strict):
    """[[weather.temperatures]]: temperature measured at one height above the ground."""

    height_m: Annotated[float, Field(ge=0, le=10000)]
    celsius: Annotated[float, Field(ge=-90, le=60)]


class Weather(Strict):
    """[weather]: how the air differs from the standard atmosphere, and how it moves.

    temperature_offset_k   warmer (+) or colder (-) than the standard atmosphere at every height
    pressure_offset_pa     above or below standard pressure at sea level
    temperatures           as measured, ascending; straight lines between, held beyond the ends
    turbulence_w20_m_s     wind speed at 20 ft that sets the Dryden turbulence; 0 for none
    """

    temperature_offset_k: Annotated[float, Field(ge=-80, le=60)] = 0.0
    pressure_offset_pa: Annotated[float, Field(ge=-10000, le=10000)] = 0.0
    turbulence_w20_m_s: Annotated[float, Field(ge=0, le=30)] = 0.0
    wind: Wind = Wind()
    temperatures: Annotated[tuple[Temperature, ...], Field(max_length=LEVELS)] = ()
    gusts: Annotated[tuple[Gust, ...], Field(max_length=GUSTS)] = ()

    @model_validator(mode="after")
    def _ascending(self) -> Weather:
        for below, above in itertools.pairwise(self.temperatures):
            if above.height_m <= below.height_m:
                raise ValueError(
                    f"has temperatures that do not ascend ({above.height_m:g} m after "
                    f"{below.height_m:g} m)"
                )
        if self.temperatures and self.temperature_offset_k != 0.0:
            raise ValueError("with temperatures has no use for 'temperature_offset_k'")
        return self
