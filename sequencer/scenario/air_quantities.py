"""The quantities of the weather and of the link that may differ from flight to flight, by name:
`weather.wind.speed_m_s`, `link.delay_s`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np

from sequencer.scenario.model import Draft, Quantity
from sequencer.scenario.quantities import (
    ANY,
    NOT_NEGATIVE,
    POSITIVE,
    SHARE,
    Bounds,
    Rows,
    quantity,
    symbol_of,
)
from sequencer.units import exact, unit
from sequencer.world.assemble import fill_air
from sequencer.world.weather import Weather

__all__ = ["link_quantities", "weather_quantities"]

#: digits of a delay: times are compared as fractions, which more would only make unwieldy
_NANOSECOND: Final = 9
_CELSIUS: Final[Bounds] = (-90.0, 60.0, False)
_AIR: Rows = {
    "weather.temperature_offset_k": ("temperature_offset", (-80.0, 60.0, False)),
    "weather.pressure_offset_pa": ("pressure_offset", (-10_000.0, 10_000.0, False)),
    "weather.turbulence_w20_m_s": ("turbulence_w20", (0.0, 30.0, False)),
}


def weather_quantities(weather: Weather, params: np.void) -> Iterator[Quantity]:
    """Everything of the weather."""
    for name, (field, bounds) in _AIR.items():
        if not (weather.temperatures and field == "temperature_offset"):
            yield quantity(params, name, symbol_of(name), field, None, bounds)
    wind = weather.wind
    for key, bounds in (("speed_m_s", (0.0, 60.0, False)), ("from_deg", ANY)):
        nominal = getattr(wind, key)
        if nominal is not None:
            rule = partial(_wind, key)
            yield Quantity(f"weather.wind.{key}", symbol_of(key), nominal, *bounds, rule)
        for index, level in enumerate(wind.levels):
            name = f"weather.wind.levels.{index + 1}.{key}"
            rule = partial(_level, index, key)
            yield Quantity(name, symbol_of(key), getattr(level, key), *bounds, rule)
    for index, measured in enumerate(weather.temperatures):
        name = f"weather.temperatures.{index + 1}.celsius"
        yield Quantity(name, "degC", measured.celsius, *_CELSIUS, partial(_temperature, index))
    for index, gust in enumerate(weather.gusts):
        for key, bounds in (
            ("start_s", NOT_NEGATIVE),
            ("length_s", POSITIVE),
            ("speed_m_s", (0.0, 60.0, False)),
            ("from_deg", ANY),
            ("up_m_s", (-30.0, 30.0, False)),
        ):
            name = f"weather.gusts.{index + 1}.{key}"
            rule = partial(_gust, index, key)
            yield Quantity(name, symbol_of(key), getattr(gust, key), *bounds, rule)


def _wind(key: str, draft: Draft, value: float) -> None:
    draft.wind = draft.wind.model_copy(update={key: value})
    fill_air(draft.params, draft.wind, draft.gusts)


def _level(index: int, key: str, draft: Draft, value: float) -> None:
    levels = list(draft.wind.levels)
    levels[index] = levels[index].model_copy(update={key: value})
    draft.wind = draft.wind.model_copy(update={"levels": tuple(levels)})
    fill_air(draft.params, draft.wind, draft.gusts)


def _temperature(index: int, draft: Draft, value: float) -> None:
    draft.params["temperature_kelvin"][index] = unit("degC").to_si(value)


def _gust(index: int, key: str, draft: Draft, value: float) -> None:
    draft.gusts[index] = draft.gusts[index].model_copy(update={key: value})
    fill_air(draft.params, draft.wind, draft.gusts)


def link_quantities(delay_s: float, loses: float, repeats: float) -> Iterator[Quantity]:
    """What the [link] between the computers may be."""

    def delay(draft: Draft, value: float) -> None:
        draft.link = replace(draft.link, delay=exact(round(value, _NANOSECOND)))

    def lose(draft: Draft, value: float) -> None:
        draft.link = replace(draft.link, loses=value)

    def repeat(draft: Draft, value: float) -> None:
        draft.link = replace(draft.link, repeats=value)

    yield Quantity("link.delay_s", "s", delay_s, 0.0, 10.0, above_low=False, write=delay)
    yield Quantity("link.loses", "1", loses, *SHARE, lose)
    yield Quantity("link.repeats", "1", repeats, *SHARE, repeat)
