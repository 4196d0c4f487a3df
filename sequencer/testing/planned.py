"""Strategies for what a scenario plans: faults, and what the crew does.

They draw tables as a scenario file has them, for one vehicle and its sequences, and only such as
make sense there. What is drawn first is the simplest, so failing examples shrink to it: the first
kind, the least size, from the beginning, to the end.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import Any

import numpy as np
from hypothesis import strategies as st

from sequencer.errors import InputError, UsageError, nearest
from sequencer.scenario.computer_faults import COMPUTER_FAULTS, UMBILICAL, resolve_computer_fault
from sequencer.testing.rehearsal import Rehearsal
from sequencer.world.faults import FAULTS, Reach, reach_of, resolve_fault
from sequencer.world.layout import REMEMBERED

__all__ = ["crew", "faults"]


#: kind of fault -> least and greatest size, in the unit of its row
_SIZES: Mapping[str, tuple[float, float]] = {
    "igniter_late": (0.0, 3.0),
    "motor_thrust": (1.0, 0.0),
    "motor_chuff": (0.05, 0.5),
    "ejection_early": (0.0, 3.0),
    "ejection_late": (0.0, 5.0),
    "channel_intermittent": (0.1, 1.0),
    "channel_resistance": (0.0, 10.0),
    "sensor_blocked": (0.1, 5.0),
    "separation_late": (0.0, 3.0),
    "parachute_late": (0.0, 5.0),
    "battery_low": (9.0, 3.0),
    "battery_cold": (0.0, 50.0),
    "battery_resistance": (1.0, 10.0),
    "battery_sensed": (1.0, 1.5),
    "clock_drift": (0.0, 20_000.0),
    "logger_stall": (1.0, 0.05),
    "link_repeated": (0.0, 0.5),
    "link_delayed": (0.01, 0.5),
    "umbilical_bounces": (0.05, 1.0),
}
#: unit of a sensor -> about the largest number that it gives
_SPREAD: Mapping[str, float] = {
    "m/s2": 50.0,
    "deg/s": 300.0,
    "m": 100.0,
    "Pa": 2000.0,
    "N": 100.0,
    "ohm": 10.0,
    "V": 10.0,
    "m/s": 20.0,
    "deg": 20.0,
}
#: what kind of sizes of these faults are those of the sensor -> whether they may be negative
_OF_SENSOR = {"sensor_bias": True, "sensor_spike": True, "sensor_clipped": False}
#: kinds of event that something may begin with
_BEGINNINGS = frozenset(
    {"liftoff", "released", "lit", "burnout", "separated", "apogee", "deployed", "opened"}
    | {"touchdown", "entered", "fired"}
)
#: steps between the least and the greatest size: shrunk sizes stay readable
_STEPS = 100


def faults(
    rehearsal: Rehearsal, *, kinds: Collection[str] = (), places: Collection[str] = ()
) -> st.SearchStrategy[dict[str, Any]]:
    """Strategy for one fault: a [[faults]] table that fits the scenario.

    kinds, places   only these (words of docs/faults.md, names of the vehicle); default: all

    Raises UsageError for kinds or places that there are none of, and for a scenario that takes its
    inputs from a log.
    """
    _check(rehearsal, "kind of fault", kinds, [*FAULTS, *COMPUTER_FAULTS])
    possible = _possible(rehearsal, kinds)
    known = dict.fromkeys(place for found in possible.values() for place, _ in found)
    if not kinds:
        _check(rehearsal, "place", places, known)
    left = {
        kind: [each for each in found if not places or each[0] in places]
        for kind, found in possible.items()
    }
    left = {kind: found for kind, found in left.items() if found}
    if not left:
        raise UsageError(f"{rehearsal.path}: none of these kinds of fault hits any of these places")
    return _fault(rehearsal, left)


def _check(rehearsal: Rehearsal, what: str, asked: Collection[str], known: Collection[str]) -> None:
    for word in asked:
        if word not in known:
            guess = nearest(word, known)
            hint = f"; did you mean '{guess}'?" if guess else ""
            raise UsageError(f"{rehearsal.path}: there is no {what} '{word}' here{hint}")


@st.composite
def crew(draw: st.DrawFn, rehearsal: Rehearsal) -> dict[str, Any]:
    """Strategy for one thing that the crew does: a [[crew]] table that fits the scenario."""
    switch = draw(st.sampled_from(list(rehearsal.scenario.places.switches)))
    return {"switch": switch, "on": draw(st.booleans()), **draw(_moments(rehearsal))}


@st.composite
def _fault(
    draw: st.DrawFn, rehearsal: Rehearsal, possible: Mapping[str, list[tuple[str, str | None]]]
) -> dict[str, Any]:
    kind = draw(st.sampled_from(list(possible)))
    place, other = draw(st.sampled_from(possible[kind]))
    table: dict[str, Any] = {"name": f"{kind} of {place}", "kind": kind, "place": place}
    if other is not None:
        table["other"] = other
    sizes = _sizes(rehearsal, kind, place)
    if sizes is not None:
        table["size"] = draw(sizes)
    table.update(draw(_moments(rehearsal)))
    table.update(draw(_endings("state" in table)))
    return table


@st.composite
def _moments(draw: st.DrawFn, rehearsal: Rehearsal) -> dict[str, Any]:
    """When something begins: at a time, an event, in a state, at a height."""
    how = draw(st.sampled_from(["at_s", "state", "event", "above_m", "below_m"]))
    if how == "at_s":
        return {how: draw(_hundredths(0.0, rehearsal.seconds))}
    if how in ("above_m", "below_m"):
        highest = float(np.nanmax(rehearsal.plain["height_m"]))
        return {how: draw(_hundredths(0.0, max(highest, 1.0)))}
    words = _states(rehearsal) if how == "state" else _labels(rehearsal)
    later = draw(st.one_of(st.just({}), _hundredths(0.01, 5.0).map(lambda s: {"after_s": s})))
    return {how: draw(st.sampled_from(words)), **later}


def _endings(in_state: bool) -> st.SearchStrategy[dict[str, Any]]:  # noqa: FBT001 - of one call
    """When it ends: never, after a time, or with the state that it began in."""
    found: list[st.SearchStrategy[dict[str, Any]]] = [
        st.just({}),
        _hundredths(0.01, 5.0).map(lambda s: {"for_s": s}),
    ]
    if in_state:
        found.append(st.just({"while_in": True}))
    return st.one_of(found)


def _hundredths(low: float, high: float) -> st.SearchStrategy[float]:
    """Numbers of two decimals, the least first."""
    return st.integers(round(100 * low), round(100 * high)).map(lambda n: n / 100)


def _states(rehearsal: Rehearsal) -> list[str]:
    return [
        f"{computer}.{state}"
        for computer, logic in rehearsal.scenario.sequences.items()
        for state in logic.states
    ]


def _labels(rehearsal: Rehearsal) -> list[str]:
    """Events of the flight with nothing changed that something may begin with."""
    events = rehearsal.plain.events
    return list(dict.fromkeys(each.label for each in events if each.kind in _BEGINNINGS))


def _sizes(rehearsal: Rehearsal, kind: str, place: str) -> st.SearchStrategy[float] | None:
    """Sizes of a fault, or None where it has none."""
    if kind in _OF_SENSOR:
        symbol = rehearsal.scenario.vehicle.sensors[place].unit
        if symbol is None:
            return st.sampled_from([0.0, 1.0])
        spread = _SPREAD.get(symbol, 1.0)
        return _between(-spread if _OF_SENSOR[kind] else 0.0, spread)
    if kind == "sensor_stale":
        rate = rehearsal.scenario.vehicle.sensors[place].rate_hz or rehearsal.scenario.rate_hz
        return _between(0.0, (REMEMBERED - 1) / rate)
    if kind not in _SIZES:
        return None
    least, greatest = _SIZES[kind]
    return _between(least, greatest)


def _between(least: float, greatest: float) -> st.SearchStrategy[float]:
    """Numbers on even steps; the simplest is 0 where that lies between, else the least."""
    if least < 0.0 < greatest:
        return st.integers(-_STEPS, _STEPS).map(lambda n: round(greatest * n / _STEPS, 6))
    step = (greatest - least) / _STEPS
    return st.integers(0, _STEPS).map(lambda n: round(least + n * step, 6))


def _possible(
    rehearsal: Rehearsal, kinds: Collection[str]
) -> dict[str, list[tuple[str, str | None]]]:
    """Kind of fault -> (place, other) where it would do something, in the order of the vehicle.

    kinds   only these; none: all
    """
    scenario = rehearsal.scenario
    reach = reach_of(scenario.vehicle)
    found: dict[str, list[tuple[str, str | None]]] = {}
    for kind, row in FAULTS.items():
        if kinds and kind not in kinds:
            continue
        places = reach.places[row.place]
        pairs = [
            (place, other)
            for place in places
            for other in (places if row.other else (None,))
            if _would_do(rehearsal, kind, place, other, reach)
        ]
        if pairs:
            found[kind] = pairs
    for kind, entry in COMPUTER_FAULTS.items():
        if kinds and kind not in kinds:
            continue
        places = (UMBILICAL,) if entry.place == UMBILICAL else tuple(scenario.sequences)
        size = None if entry.unit is None else _SIZES[kind][0]
        pairs = [
            (place, None)
            for place in places
            if _allowed(lambda: resolve_computer_fault(kind, place, size, scenario.sequences))  # noqa: B023 - called at once
        ]
        if pairs:
            found[kind] = pairs
    return found


def _would_do(rehearsal: Rehearsal, kind: str, place: str, other: str | None, reach: Reach) -> bool:
    size = None
    if kind in _SIZES:
        size = _SIZES[kind][0]
    elif kind in (*_OF_SENSOR, "sensor_stale"):
        size = 0.0
    rate = rehearsal.scenario.rate_hz
    return _allowed(lambda: resolve_fault(kind, place, size, reach, other, world_hz=rate))


def _allowed(resolve: Callable[[], object]) -> bool:
    try:
        resolve()
    except InputError:
        return False
    return True
