"""Collects the events and the truth of one flight while it is flown."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from sequencer.flight.ending import touchdown_facts
from sequencer.record import SIGNALS, Event, Signal
from sequencer.scenario import Recording, Scenario
from sequencer.units import unit
from sequencer.vehicle.capacity import SENSORS
from sequencer.world.layout import OUT, empty
from sequencer.world.memory import Memory

__all__ = ["FACTS", "Recorder", "names_of_facts"]

#: fields of OUT whose change from 0 to 1 is an event -> its kind; causes before their effects
FACTS: Mapping[str, str] = {
    "spent": "acted",
    "released": "released",
    "lifted": "liftoff",
    "burning": "lit",
    "burst": "burst",
    "burnt": "burnout",
    "ejected": "ejected",
    "separated": "separated",
    "apogee": "apogee",
    "deployed": "deployed",
    "opened": "opened",
    "hit_obstacle": "obstacle",
    "part1_down": "booster_down",
    "down": "touchdown",
}
_DEG = 180.0 / np.pi
#: the beginning of OUT: all that there is to keep where nothing flies
_ANSWERS = np.dtype([("value", "f8", (SENSORS,))])


class Recorder:
    """Keeps one record of OUT per world tick, and events as they come.

    kept   records of OUT to write to, at least `stop_ticks` of them; default: its own
    """

    def __init__(
        self, scenario: Scenario, world: Memory, kept: NDArray[np.void] | None = None
    ) -> None:
        self._scenario = scenario
        self._world = world
        self._out = world.out
        self._flies = not isinstance(scenario.source, Recording)
        layout = OUT if self._flies else _ANSWERS
        self._kept = empty(layout, scenario.stop_ticks) if kept is None else kept
        self._kept_bytes = self._kept.view(np.uint8).reshape(-1, layout.itemsize)
        self._now = world.out_bytes[: layout.itemsize]
        self._events: list[Event] = []
        self._counts: dict[str, int] = {}
        self.down_tick: int | None = None
        self._tick = 0
        self._names = names_of_facts(scenario)
        # all facts lie side by side at the end of OUT: one look tells whether any changed
        start = OUT.fields["released"][1]  # type: ignore[index]
        self._facts = world.out_bytes[start:].view(np.int64)
        self._facts_were = self._facts.tobytes()
        self._was = {field: np.array(world.out[field], ndmin=1) for field in FACTS}

    @property
    def events(self) -> tuple[Event, ...]:
        """All events so far."""
        return tuple(self._events)

    @property
    def height(self) -> float:
        """Height of the vehicle's lowest point above the ground now, m."""
        return float(self._out["height"])

    def count(self, label: str) -> int:
        """How many events with this label have come so far."""
        return self._counts.get(label, 0)

    def begin(self, tick: int) -> None:
        """Events noted from here on belong to this tick."""
        self._tick = tick

    def note(self, kind: str, name: str, detail: str = "") -> None:
        """Keep an event of the present tick."""
        event = Event(self._tick, kind, name, detail)
        self._events.append(event)
        self._counts[event.label] = self._counts.get(event.label, 0) + 1

    @property
    def kept_bytes(self) -> NDArray[np.uint8]:
        """Memory for one record of OUT per tick, shape (ticks, OUT.itemsize)."""
        return self._kept_bytes

    def take_over(self, events: Iterable[Event], down_tick: int | None) -> None:
        """These events came, and `kept_bytes` was filled, without this recorder."""
        self._events.extend(events)
        self.down_tick = down_tick

    def keep(self) -> None:
        """Keep the truth of the present tick."""
        # as bytes: a third of the time that numpy takes to copy a record field by field
        self._kept_bytes[self._tick] = self._now

    def after(self, tick: int) -> None:
        """Note what the world did in the step that ended at `tick`."""
        self._tick = tick
        facts = self._facts.tobytes()
        if facts == self._facts_were:
            return
        self._facts_were = facts
        for field, kind in FACTS.items():
            now = np.array(self._out[field], ndmin=1)
            was = self._was[field]
            for i in np.flatnonzero((now == 1) & (was == 0)).tolist():
                names = self._names.get(field)
                self.note(kind, names[i] if names is not None else "", "")
            self._was[field] = now
        if self.down_tick is None and self._out["down"]:
            self.down_tick = tick

    def signals(self, ticks: int) -> dict[str, Signal]:
        """The signals of the flight, arrays of shape (ticks,): the world's, and the inputs."""
        found = self._truth(ticks) if self._flies else {}
        for name, symbol, sensor in self._scenario.input_signals:
            scale = unit(symbol)
            values = self._kept["value"][:ticks, sensor]
            found[name] = _signal(
                name, symbol, (values - float(scale.offset)) / float(scale.factor)
            )
        return found

    def _truth(self, ticks: int) -> dict[str, Signal]:
        """The signals of the world."""
        kept = self._kept[:ticks]
        found: dict[str, Signal] = {}

        def add(name: str, unit: str, values: NDArray[np.float64]) -> None:
            found[name] = _signal(name, unit, values)

        position, velocity = kept["position"], kept["velocity"]
        add("height_m", "m", kept["height"])
        add("east_m", "m", position[:, 0])
        add("north_m", "m", position[:, 1])
        add("up_m", "m", position[:, 2])
        add("speed_m_s", "m/s", np.sqrt((velocity**2).sum(axis=1)))
        add("sideways_speed_m_s", "m/s", np.sqrt((velocity[:, :2] ** 2).sum(axis=1)))
        add("vertical_speed_m_s", "m/s", velocity[:, 2])
        add("airspeed_m_s", "m/s", kept["airspeed"])
        add("tilt_deg", "deg", np.arccos(np.clip(kept["tilt_cosine"], -1.0, 1.0)) * _DEG)
        for i, axis in enumerate("xyz"):
            add(f"rate_{axis}_deg_s", "deg/s", kept["rates"][:, i] * _DEG)
        force = kept["specific_force"]
        add("acceleration_m_s2", "m/s2", np.sqrt((force**2).sum(axis=1)))
        add("axial_m_s2", "m/s2", force[:, 0])
        add("thrust_n", "N", kept["thrust_total"])
        add("hold_down_n", "N", kept["hold_down_force"])
        add("dynamic_pressure_pa", "Pa", kept["dynamic_pressure"])
        add("angle_of_attack_deg", "deg", kept["angle_of_attack"] * _DEG)
        add("mass_kg", "kg", kept["mass"])
        add("wind_m_s", "m/s", np.sqrt((kept["wind"][:, :2] ** 2).sum(axis=1)))
        add("mast_wind_m_s", "m/s", kept["wind_mast"])
        add("distance_m", "m", kept["distance"])
        for i, motor in enumerate(self._scenario.places.motors):
            add(f"thrust_{motor}_n", "N", kept["thrust"][:, i])
        for i, computer in enumerate(self._scenario.places.computers):
            add(f"battery_{computer}_v", "V", kept["battery_least"][:, i])
            add(f"battery_{computer}_a", "A", kept["battery_current"][:, i])
        for i, load in enumerate(self._scenario.places.loads):
            add(f"current_{load}_a", "A", kept["load_current"][:, i])
        down = np.zeros(ticks, dtype=bool)
        if self.down_tick is not None:
            down[self.down_tick :] = True
        at_contact = touchdown_facts(self._world)
        for name in ("touchdown_speed_m_s", "touchdown_sideways_m_s", "touchdown_tilt_deg"):
            add(name, SIGNALS[name].unit, np.where(down, at_contact.get(name, np.nan), np.nan))
        return found


def names_of_facts(scenario: Scenario) -> dict[str, tuple[str, ...]]:
    """Field of OUT -> names by index, for the facts that come more than once."""
    places = scenario.places
    found = dict.fromkeys(("burning", "burst", "burnt", "ejected"), places.motors)
    found.update(dict.fromkeys(("deployed", "opened"), places.parachutes))
    return found | {"spent": places.loads}


def _signal(name: str, symbol: str, values: NDArray[np.float64]) -> Signal:
    return Signal(name, symbol, np.ascontiguousarray(values, dtype=np.float64))
