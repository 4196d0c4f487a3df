"""The signals of a flight, made of what was kept of OUT on every tick when they are asked for."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from sequencer.record import SIGNALS, Event, Signal
from sequencer.scenario import Recording, Scenario
from sequencer.units import unit
from sequencer.world.layout import OUT

__all__ = ["Kept", "Recipe", "Samples", "Selection", "recipes_of"]

Floats = NDArray[np.float64]

_DEG = 180.0 / np.pi


@dataclass(frozen=True, slots=True)
class Recipe:
    """How a signal is made.

    words   of OUT (each has eight bytes) that it is made of
    make    of one array of shape (ticks,) for each word; None for what is found at touchdown and
            holds from then on
    """

    unit: str
    words: tuple[int, ...]
    make: Callable[..., Floats] | None


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """What a flight left behind.

    ticks      that were flown
    down_tick  of the touchdown, if there was one
    column     word of OUT -> its value on every tick, shape (ticks,)
    """

    events: tuple[Event, ...]
    ticks: int
    down_tick: int | None
    column: Callable[[int], Floats]


@dataclass(frozen=True, slots=True, eq=False)
class Selection:
    """Some signals, and what has to be kept for them.

    words   of OUT, ascending, shape (words,)
    rows    word -> its index in `words`
    """

    recipes: Mapping[str, Recipe]
    words: NDArray[np.int64]
    rows: Mapping[int, int]

    @classmethod
    def of(cls, recipes: Mapping[str, Recipe], names: Collection[str] | None = None) -> Selection:
        """Those of `names` that there are recipes for; by default all."""
        chosen = {
            name: recipe for name, recipe in recipes.items() if names is None or name in names
        }
        words = sorted({word for recipe in chosen.values() for word in recipe.words})
        rows = {word: row for row, word in enumerate(words)}
        return cls(chosen, np.array(words, dtype=np.int64), rows)


class Samples(Mapping[str, Signal]):
    """Signal by name, each made once, when it is first looked up.

    touchdown   what was found there, by the name of its signal

    What is kept must stay as it is as long as signals are asked for. A copy, and what travels to
    another process, is a dictionary of all signals.
    """

    def __init__(
        self, recipes: Mapping[str, Recipe], kept: Kept, touchdown: Mapping[str, float]
    ) -> None:
        self._recipes = recipes
        self._kept = kept
        self._touchdown = touchdown
        self._made: dict[str, Signal] = {}

    def __getitem__(self, name: str) -> Signal:
        """The signal. Raises KeyError for a name that it does not have."""
        found = self._made.get(name)
        if found is None:
            recipe = self._recipes[name]
            found = self._made[name] = Signal(name, recipe.unit, self._values(name, recipe))
        return found

    def __contains__(self, name: object) -> bool:
        return name in self._recipes

    def __iter__(self) -> Iterator[str]:
        return iter(self._recipes)

    def __len__(self) -> int:
        return len(self._recipes)

    def __reduce__(self) -> tuple[type[dict[str, Signal]], tuple[dict[str, Signal]]]:
        return dict, (dict(self),)

    def _values(self, name: str, recipe: Recipe) -> Floats:
        kept = self._kept
        if recipe.make is not None:
            return recipe.make(*map(kept.column, recipe.words))
        values = np.full(kept.ticks, np.nan)
        if kept.down_tick is not None:
            values[kept.down_tick :] = self._touchdown.get(name, np.nan)
        return values


def recipes_of(scenario: Scenario) -> dict[str, Recipe]:
    """Of all signals of its flights: the world's, unless a log stands for it, and the inputs."""
    found: dict[str, Recipe] = {}
    if not isinstance(scenario.source, Recording):
        found |= _TRUTH
        places = scenario.places
        for i, motor in enumerate(places.motors):
            found[f"thrust_{motor}_n"] = _plain("N", "thrust", i)
        for i, computer in enumerate(places.computers):
            found[f"battery_{computer}_v"] = _plain("V", "battery_least", i)
            found[f"battery_{computer}_a"] = _plain("A", "battery_current", i)
        for i, load in enumerate(places.loads):
            found[f"current_{load}_a"] = _plain("A", "load_current", i)
        found |= _CONTACT
    for name, symbol, sensor in scenario.input_signals:
        scale = unit(symbol)
        make = partial(_in_unit, float(scale.offset), float(scale.factor))
        found[name] = Recipe(symbol, (_word("value", sensor),), make)
    return found


def _word(field: str, index: int = 0) -> int:
    at: int = OUT.fields[field][1]  # type: ignore[index]
    return at // 8 + index


def _plain(symbol: str, field: str, index: int = 0) -> Recipe:
    return Recipe(symbol, (_word(field, index),), _as_it_is)


def _as_it_is(values: Floats) -> Floats:
    return values


def _in_unit(offset: float, factor: float, values: Floats) -> Floats:
    return (values - offset) / factor


def _length(*sides: Floats) -> Floats:
    total = sides[0] * sides[0]
    for side in sides[1:]:
        total += side * side
    return np.sqrt(total, out=total)


def _degrees(values: Floats) -> Floats:
    return values * _DEG


def _degrees_of_cosine(values: Floats) -> Floats:
    found: Floats = np.arccos(np.clip(values, -1.0, 1.0)) * _DEG
    return found


def _made(
    name: str, make: Callable[..., Floats], field: str, indices: tuple[int, ...] = (0,)
) -> tuple[str, Recipe]:
    return name, Recipe(SIGNALS[name].unit, tuple(_word(field, i) for i in indices), make)


#: signals that every vehicle has
_TRUTH: Mapping[str, Recipe] = dict(
    (
        _made("height_m", _as_it_is, "height"),
        _made("east_m", _as_it_is, "position", (0,)),
        _made("north_m", _as_it_is, "position", (1,)),
        _made("up_m", _as_it_is, "position", (2,)),
        _made("speed_m_s", _length, "velocity", (0, 1, 2)),
        _made("sideways_speed_m_s", _length, "velocity", (0, 1)),
        _made("vertical_speed_m_s", _as_it_is, "velocity", (2,)),
        _made("airspeed_m_s", _as_it_is, "airspeed"),
        _made("tilt_deg", _degrees_of_cosine, "tilt_cosine"),
        _made("rate_x_deg_s", _degrees, "rates", (0,)),
        _made("rate_y_deg_s", _degrees, "rates", (1,)),
        _made("rate_z_deg_s", _degrees, "rates", (2,)),
        _made("acceleration_m_s2", _length, "specific_force", (0, 1, 2)),
        _made("axial_m_s2", _as_it_is, "specific_force", (0,)),
        _made("thrust_n", _as_it_is, "thrust_total"),
        _made("hold_down_n", _as_it_is, "hold_down_force"),
        _made("dynamic_pressure_pa", _as_it_is, "dynamic_pressure"),
        _made("angle_of_attack_deg", _degrees, "angle_of_attack"),
        _made("mass_kg", _as_it_is, "mass"),
        _made("wind_m_s", _length, "wind", (0, 1)),
        _made("mast_wind_m_s", _as_it_is, "wind_mast"),
        _made("distance_m", _as_it_is, "distance"),
    )
)
_CONTACT: Mapping[str, Recipe] = {
    name: Recipe(SIGNALS[name].unit, (), None)
    for name in ("touchdown_speed_m_s", "touchdown_sideways_m_s", "touchdown_tilt_deg")
}
