"""Resolves batteries, channels and what is plugged into them, and checks how they go together."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from typing import Final

from sequencer.documents import Document, Loc
from sequencer.vehicle import capacity, copper
from sequencer.vehicle.circuit_model import Battery, Channel, HotWire, Load
from sequencer.vehicle.circuit_schema import BatteryTable, ChannelTable, LoadTable
from sequencer.vehicle.lookup import at_most, known, si
from sequencer.vehicle.schema import VehicleFile

__all__ = [
    "LARGEST_TEST_CURRENT_A",
    "NO_FIRE_SHARE",
    "battery",
    "channel",
    "check_tests",
    "loads",
    "unsafe_test",
]

#: NASA-STD-8719.24 Annex 13.8.1.1.1: a meter in an ordnance circuit passes no more than this, or
#: than a tenth of the no-fire energy, whichever is less
LARGEST_TEST_CURRENT_A: Final = 0.05
#: a tenth of the no-fire *current*, as is commonly asked for: stricter than a tenth of the energy,
#: which at equal time is 1 / sqrt(10), 32 %, of the current
NO_FIRE_SHARE: Final = 0.1

_DOES = ("lights", "separates", "deploys", "releases", "signals")
_SECONDS_PER_HOUR = 3600.0
_STILL_AIR_C = 20.0


def battery(document: Document, at: Loc, table: BatteryTable) -> Battery:
    """The battery of a computer; `at` is the place of its table."""
    _voltages(document, at, table)
    factors = table.resistance_factor_at or ()
    _ascending(document, (*at, "resistance_factor_at"), factors, "temperature")
    points = table.open_circuit_v_at or ((1.0, float(table.open_circuit_v or 0.0)),)
    if table.brown_out_s is not None and table.brown_out_v is None:
        raise document.error((*at, "brown_out_s"), "brown_out_s goes with a brown_out_v")
    made = Battery(
        open_circuit=points,
        charge=1.0 if table.charge is None else table.charge,
        capacity_a_s=math.inf
        if table.capacity_a_h is None
        else table.capacity_a_h * _SECONDS_PER_HOUR,
        resistance_ohm=table.resistance_ohm,
        resistance_at=factors,
        sense_factor=table.sense_factor,
        draw_a=table.draw_a,
        brown_out_v=table.brown_out_v or 0.0,
        brown_out_s=table.brown_out_s or 0.0,
    )
    volts = made.open_circuit_v(made.charge) - made.resistance_ohm * made.draw_a
    if made.brown_out_v >= volts:
        raise document.error(
            (*at, "brown_out_v"),
            f"brown_out_v {made.brown_out_v:g} is not below the {volts:g} V that this battery has "
            "with its computer alone",
        )
    return made


def _voltages(document: Document, at: Loc, table: BatteryTable) -> None:
    points = table.open_circuit_v_at
    if points is None:
        if table.open_circuit_v is None:
            raise document.error(at, "a battery needs open_circuit_v, or open_circuit_v_at")
        for key in ("charge", "capacity_a_h"):
            if getattr(table, key) is not None:
                raise document.error(
                    (*at, key), f"'{key}' needs a table open_circuit_v_at over the charge"
                )
        return
    if table.open_circuit_v is not None:
        raise document.error(
            (*at, "open_circuit_v"), "give either open_circuit_v or open_circuit_v_at"
        )
    place: Loc = (*at, "open_circuit_v_at")
    _ascending(document, place, points, "charge")
    for index in range(1, len(points)):
        before, here = points[index - 1][1], points[index][1]
        if here < before:
            raise document.error(
                (*place, index),
                f"a battery's voltage does not fall as it fills, but {here:g} V follows "
                f"{before:g} V",
            )


def _ascending(
    document: Document, at: Loc, points: tuple[tuple[float, float], ...], what: str
) -> None:
    for index in range(1, len(points)):
        before, here = points[index - 1][0], points[index][0]
        if here <= before:
            raise document.error(
                (*at, index),
                f"points of '{at[-1]}' ascend in {what}, but {here:g} follows {before:g}",
            )


def channel(
    document: Document, at: Loc, computer: str, table: ChannelTable, switches: Collection[str]
) -> Channel:
    """The channel whose table is at `at`; `switches` are those of the crew, of all computers."""
    for given, missing in (("wire_m", "wire_awg"), ("wire_awg", "wire_m")):
        if getattr(table, given) is not None and getattr(table, missing) is None:
            raise document.error((*at, given), f"'{given}' without '{missing}'")
    seen: dict[str, str] = {}
    for key in ("closed_by", "opened_by"):
        for index, switch in enumerate(getattr(table, key)):
            known(document, (*at, key, index), "switch", switch, switches)
            if switch in seen:
                raise document.error(
                    (*at, key, index), f"switch '{switch}' stands in '{seen[switch]}' already"
                )
            seen[switch] = key
    wire = 0.0
    if table.wire_m is not None and table.wire_awg is not None:
        wire = table.wire_m * copper.ohm_per_m(table.wire_awg)
    return Channel(
        name=f"{computer}.{at[-1]}",
        computer=computer,
        wire_ohm=wire,
        wire_m=0.0 if table.wire_m is None else table.wire_m,
        **si(table, without=["wire_m", "wire_awg"]),
    )


def loads(
    document: Document, file: VehicleFile, channels: Collection[str], bodies: int
) -> dict[str, Load]:
    """What is plugged into the channels, by name."""
    at_most(document, ("loads",), file.loads, capacity.LOADS, "loads")
    found: dict[str, Load] = {}
    for name, table in file.loads.items():
        at: Loc = ("loads", name)
        known(document, (*at, "plug"), "channel", table.plug, channels)
        does, target = _action(document, at, table, file)
        if does == "separates" and bodies < capacity.PARTS:
            raise document.error((*at, does), "a vehicle of one part has no separation")
        if does == "releases" and not file.ground.hold_down:
            raise document.error((*at, does), "there is no hold-down to release ([ground])")
        _check_firing(document, at, does, table)
        wire = None if table.hot_wire is None else HotWire(**si(table.hot_wire))
        made = Load(
            name=name,
            channel=table.plug,
            does=does,
            target=target,
            resistance_ohm=table.resistance_ohm,
            fire_energy_j=table.fire_energy_j or 0.0,
            fire_energy_sd=table.fire_energy_sd or 0.0,
            no_fire_a=_too_cold(wire, table.resistance_ohm) if wire else table.no_fire_a,
            all_fire_a=table.all_fire_a,
            after_firing=table.after_firing or "open",
            hot_wire=wire,
        )
        if made.no_fire_a and made.all_fire_a and made.all_fire_a <= made.no_fire_a:
            raise document.error(
                (*at, "all_fire_a"),
                f"load '{name}' always fires at {made.all_fire_a:g} A, yet never at "
                f"{made.no_fire_a:.3g} A: all_fire_a is above no_fire_a",
            )
        found[name] = made
    return found


def _too_cold(wire: HotWire, ohm: float) -> float:
    """Current (A) that heats a wire in still air of 20 C just to where its thread would burn."""
    return math.sqrt(wire.loss_w_k * (wire.burns_at_c - _STILL_AIR_C) / ohm)


def _check_firing(document: Document, at: Loc, does: str, table: LoadTable) -> None:
    """Raises InputError for keys that do not go together."""
    keys = ("fire_energy_j", "fire_energy_sd", "no_fire_a", "all_fire_a", "after_firing")
    given = [key for key in (*keys, "hot_wire") if getattr(table, key) is not None]
    if does == "signals" and given:
        raise document.error(
            (*at, given[0]), f"a load that signals only conducts: it has no '{given[0]}'"
        )
    if table.hot_wire is not None:
        for key in ("fire_energy_j", "fire_energy_sd", "no_fire_a"):
            if key in given:
                raise document.error(
                    (*at, key), f"'{key}' beside hot_wire: a hot wire's heat decides when it acts"
                )
    elif table.fire_energy_j is None:
        for key in ("fire_energy_sd", "no_fire_a"):
            if key in given:
                raise document.error((*at, key), f"'{key}' needs fire_energy_j")


def _action(
    document: Document, at: Loc, table: LoadTable, file: VehicleFile
) -> tuple[str, str | None]:
    given = [word for word in _DOES if getattr(table, word) is not None]
    if len(given) != 1:
        place = (*at, given[1]) if given else at
        listed = ", ".join(given) if given else "none"
        raise document.error(place, f"a load has exactly one of {', '.join(_DOES)} (got {listed})")
    does = given[0]
    if does == "lights":
        return does, known(document, (*at, does), "motor", str(table.lights), file.motors)
    if does == "deploys":
        return does, known(document, (*at, does), "parachute", str(table.deploys), file.parachutes)
    return does, None


def check_tests(
    document: Document, channels: Mapping[str, Channel], plugged: Mapping[str, Load]
) -> None:
    """Raises InputError for a test current that could set off what is plugged into its channel."""
    for load in plugged.values():
        what = unsafe_test(channels[load.channel], load)
        if what is None:
            continue
        if load.no_fire_a is None:
            raise document.error(("loads", load.name), what)
        raise document.error(_place_of_test(channels[load.channel]), what)
    for each in channels.values():  # with nothing plugged in, too
        if each.test_current_a > LARGEST_TEST_CURRENT_A:
            raise document.error(
                _place_of_test(each), _too_much(each, "50 mA", LARGEST_TEST_CURRENT_A)
            )


def _place_of_test(channel: Channel) -> Loc:
    computer, name = channel.name.split(".")
    return ("computers", computer, "channels", name, "test_current_a")


def _too_much(channel: Channel, rule: str, most: float) -> str:
    return (
        f"the test current of channel '{channel.name}', {channel.test_current_a:g} A, is above "
        f"{rule}; at most {most:.3g} A"
    )


def unsafe_test(channel: Channel, load: Load) -> str | None:
    """What is wrong with testing this load through this channel, or None where nothing is.

    Loads in parallel share the test current; since one of them may hang there alone, each is held
    against all of it.
    """
    if channel.test_current_a == 0.0 or load.does == "signals":
        return None
    if load.no_fire_a is None:
        return f"load '{load.name}' needs no_fire_a: channel '{channel.name}' has a test current"
    most = min(NO_FIRE_SHARE * load.no_fire_a, LARGEST_TEST_CURRENT_A)
    if channel.test_current_a <= most:
        return None
    if most < LARGEST_TEST_CURRENT_A:
        rule = f"a tenth of the no-fire current of '{load.name}' ({load.no_fire_a:.3g} A)"
        return _too_much(channel, rule, most)
    return _too_much(channel, "50 mA", LARGEST_TEST_CURRENT_A)
