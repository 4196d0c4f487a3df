"""Pressure, density and mean wind at a height, and what a barometer makes of them.

U.S. Standard Atmosphere, 1976 (NOAA-S/T 76-1562), lowest layer and the isothermal one above it,
with the constants printed there. Altitude is geopotential; heights above the pad are added to the
pad's geopotential altitude as they are (over 1 km the two differ by 0.2 m). Where temperatures have
been measured above the pad the pressure there is the standard's at the pad, and on from it that of
the hydrostatic column with straight lines between the measured temperatures.
"""

from __future__ import annotations

import math
from typing import Final

from sequencer.world.jit import Record, compiled

__all__ = ["air", "celsius", "pressure_height", "wind"]

_GRAVITY: Final = 9.80665  # m/s2, of the standard
_GAS: Final = 8314.32 / 28.9644  # J/(kg K)
_SEA_TEMPERATURE: Final = 288.15  # K
_ICE: Final = 273.15  # K
_SEA_PRESSURE: Final = 101325.0  # Pa
_LAPSE: Final = 0.0065  # K/m
_TROPOPAUSE: Final = 11000.0  # m
_EXPONENT: Final = _GRAVITY / (_GAS * _LAPSE)


@compiled()
def _column(warm: float, above: float, rise: float) -> float:
    """Pressure `rise` m higher over pressure here; temperature goes straight from warm to above.

    The integral of dp/p = -g/(R T) dH over a straight line of T.
    """
    change = (above - warm) / warm
    inverse = 1.0 / warm  # the mean of 1/T
    if change != 0.0:
        inverse *= math.log1p(change) / change
    return math.exp(-_GRAVITY / _GAS * inverse * rise)


@compiled()
def _measured(params: Record, height: float) -> tuple[float, float]:
    """Temperature (K) and pressure over that at the pad, where temperatures were measured."""
    low = 0.0
    warm = float(params.temperature_kelvin[0])
    ratio = 1.0
    for i in range(params.temperature_levels):
        top = params.temperature_height[i]
        above = params.temperature_kelvin[i]
        if top > low:
            if height <= top:
                here = warm + (above - warm) * (height - low) / (top - low)
                return here, ratio * _column(warm, here, height - low)
            ratio *= _column(warm, above, top - low)
        low = top
        warm = above
    return warm, ratio * _column(warm, warm, height - low)


@compiled()
def air(params: Record, height: float) -> tuple[float, float]:
    """Static pressure (Pa) and density (kg/m3) at `height` m above the pad.

    On a day that is warmer by `temperature_offset` at every height the pressure is that of the
    same hydrostatic column, dp/dH = -g p / (R T), from the sea-level pressure up.
    """
    altitude = params.pad_altitude + height
    if params.temperature_levels > 0:
        altitude = params.pad_altitude
    layer = min(altitude, _TROPOPAUSE)
    sea = _SEA_TEMPERATURE + params.temperature_offset
    temperature = sea - _LAPSE * layer
    pressure = (_SEA_PRESSURE + params.pressure_offset) * (temperature / sea) ** _EXPONENT
    if altitude > layer:
        pressure *= math.exp(-_GRAVITY * (altitude - layer) / (_GAS * temperature))
    if params.temperature_levels > 0:
        temperature, ratio = _measured(params, height)
        pressure *= ratio
    return pressure, pressure / (_GAS * temperature)


@compiled()
def celsius(params: Record, height: float) -> float:
    """Temperature of the air (C) at `height` m above the pad."""
    pressure, density = air(params, height)
    return pressure / (density * _GAS) - _ICE


@compiled()
def pressure_height(pressure: float) -> float:
    """Altitude (m) at which the standard atmosphere has this pressure (Pa), below 11 km."""
    ratio: float = (pressure / _SEA_PRESSURE) ** (1.0 / _EXPONENT)
    return _SEA_TEMPERATURE / _LAPSE * (1.0 - ratio)


@compiled()
def wind(params: Record, height: float, time: float) -> tuple[float, float, float]:
    """East, north and up components (m/s) of mean wind and gusts, without turbulence.

    The profile is linear between its levels and constant beyond them. A gust is (1 - cos)/2 of its
    length in time.
    """
    east = 0.0
    north = 0.0
    up = 0.0
    levels = params.wind_levels
    if levels > 0:
        i = 0
        while i < levels and params.wind_height[i] < height:
            i += 1
        if i in (0, levels):
            i = min(i, levels - 1)
            east = params.wind_east[i]
            north = params.wind_north[i]
        else:
            low = params.wind_height[i - 1]
            part = (height - low) / (params.wind_height[i] - low)
            east = params.wind_east[i - 1] + part * (params.wind_east[i] - params.wind_east[i - 1])
            north = params.wind_north[i - 1] + part * (
                params.wind_north[i] - params.wind_north[i - 1]
            )
    for i in range(params.gusts):
        since = time - params.gust_start[i]
        if 0.0 < since < params.gust_length[i]:
            part = 0.5 * (1.0 - math.cos(2.0 * math.pi * since / params.gust_length[i]))
            east += part * params.gust_east[i]
            north += part * params.gust_north[i]
            up += part * params.gust_up[i]
    return east, north, up
