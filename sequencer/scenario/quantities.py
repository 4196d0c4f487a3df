"""The quantities of a vehicle that may differ from flight to flight, by name.

Names are paths through the file: `motors.A1.total_impulse_n_s`, `sensors.flight.baro.bias_m`.
Nearly all are one number of the world's PARAMS; what is not has a small rule of its own here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from functools import partial
from typing import Final

import numpy as np

from sequencer.scenario.model import Draft, Quantity
from sequencer.units import exact, suffix_unit, unit
from sequencer.vehicle import Vehicle
from sequencer.vehicle.model import CONFIGURATIONS, Aero, Load
from sequencer.vehicle.sensors import number_key
from sequencer.world.assemble_circuits import heat_loss
from sequencer.world.places import Places

__all__ = [
    "ANY",
    "NOT_NEGATIVE",
    "POSITIVE",
    "SHARE",
    "Bounds",
    "Rows",
    "quantity",
    "symbol_of",
    "vehicle_quantities",
]

_INF: Final = math.inf
#: what bounds a number: least, greatest, and whether the least itself is out
Bounds = tuple[float, float, bool]
POSITIVE: Final[Bounds] = (0.0, _INF, True)
NOT_NEGATIVE: Final[Bounds] = (0.0, _INF, False)
SHARE: Final[Bounds] = (0.0, 1.0, False)
ANY: Final[Bounds] = (-_INF, _INF, False)
_LEAN: Final[Bounds] = (-30.0, 30.0, False)

#: key of the vehicle file -> field of PARAMS, bounds in the unit of the key
Rows = Mapping[str, tuple[str, Bounds]]

_PARTS: Rows = {
    "mass_kg": ("part_mass", POSITIVE),
    "centre_station_m": ("part_station", NOT_NEGATIVE),
    "axial_kg_m2": ("part_axial", POSITIVE),
    "transverse_kg_m2": ("part_transverse", POSITIVE),
    "tail_station_m": ("part_tail", POSITIVE),
}
_MOTORS: Rows = {
    "propellant_kg": ("motor_propellant", POSITIVE),
    "ignition_delay_s": ("motor_delay", NOT_NEGATIVE),
    "eject_delay_s": ("motor_eject_delay", NOT_NEGATIVE),
    "nozzle_station_m": ("motor_station", POSITIVE),
    "grain_station_m": ("motor_grain_station", POSITIVE),
    "offset_y_m": ("motor_y", ANY),
    "offset_z_m": ("motor_z", ANY),
    "cant_y_deg": ("motor_cant_y", _LEAN),
    "cant_z_deg": ("motor_cant_z", _LEAN),
}
_PARACHUTES: Rows = {
    "drag_area_m2": ("parachute_area", POSITIVE),
    "inflation_s": ("parachute_inflation", POSITIVE),
    "attach_station_m": ("parachute_station", NOT_NEGATIVE),
    "self_deploy_delay_s": ("parachute_self_delay", NOT_NEGATIVE),
}
_AERO: Rows = {
    "drag_area_nose_m2": ("aero_axial_nose", POSITIVE),
    "drag_area_tail_m2": ("aero_axial_tail", POSITIVE),
    "side_area_m2": ("aero_side", POSITIVE),
    "slope_nose_m2": ("aero_slope_nose", NOT_NEGATIVE),
    "slope_tail_m2": ("aero_slope_tail", NOT_NEGATIVE),
    "centre_nose_m": ("aero_centre_nose", NOT_NEGATIVE),
    "centre_tail_m": ("aero_centre_tail", NOT_NEGATIVE),
    "centre_side_m": ("aero_centre_side", NOT_NEGATIVE),
    "damping_pitch_m4": ("aero_damping_pitch", NOT_NEGATIVE),
    "damping_roll_m4": ("aero_damping_roll", NOT_NEGATIVE),
}
_BATTERIES: Rows = {
    "charge": ("battery_charge", SHARE),
    "capacity_a_h": ("battery_capacity", POSITIVE),
    "resistance_ohm": ("battery_resistance", NOT_NEGATIVE),
    "sense_factor": ("battery_sense", POSITIVE),
    "draw_a": ("battery_draw", NOT_NEGATIVE),
    "brown_out_v": ("battery_brown_out", NOT_NEGATIVE),
}
_GIMBALS: Rows = {
    "rate_deg_s": ("servo_rate", POSITIVE),
    "lag_s": ("servo_lag", NOT_NEGATIVE),
    "dead_band_deg": ("servo_dead_band", NOT_NEGATIVE),
    "bias_deg": ("servo_bias", (-45.0, 45.0, False)),
    "moving_a": ("servo_moving", NOT_NEGATIVE),
    "stall_a": ("servo_stall", NOT_NEGATIVE),
}
_MECHANISMS: Rows = {
    "rate_per_s": ("servo_rate", POSITIVE),
    "lag_s": ("servo_lag", NOT_NEGATIVE),
    "dead_band": ("servo_dead_band", SHARE),
    "bias": ("servo_bias", (-1.0, 1.0, False)),
    "moving_a": ("servo_moving", NOT_NEGATIVE),
    "stall_a": ("servo_stall", NOT_NEGATIVE),
}
_ONE_OF_A_KIND: Rows = {
    "separation.push_m_s": ("separation_push", NOT_NEGATIVE),
    "separation.sideways_m_s": ("separation_sideways", NOT_NEGATIVE),
    "ground.rail_length_m": ("rail_length", NOT_NEGATIVE),
    "ground.rail_tilt_deg": ("rail_tilt", (0.0, 30.0, False)),
    "ground.rail_azimuth_deg": ("rail_azimuth", ANY),
    "ground.leg_length_m": ("leg_length", NOT_NEGATIVE),
    "ground.leg_radius_m": ("leg_radius", NOT_NEGATIVE),
    "ground.pad_altitude_m": ("pad_altitude", (-400.0, 5000.0, False)),
}
#: numbers of a sensor in its own unit
_SENSOR: Rows = {
    "noise": ("sensor_noise", NOT_NEGATIVE),
    "bias": ("sensor_bias", ANY),
    "low": ("sensor_low", ANY),
    "high": ("sensor_high", ANY),
}


def symbol_of(key: str) -> str:
    """The unit that a key carries."""
    if key.endswith("_a_h"):
        return "A h"
    found = suffix_unit(key)
    return "1" if found is None else found.symbol


def quantity(
    params: np.void,
    name: str,
    symbol: str,
    field: str,
    index: int | None,
    bounds: Bounds,
    *,
    meant: str | None = None,
) -> Quantity:
    """The quantity that is one number of `params`.

    index    in the field, None for one that is no array
    meant    the unit to show, where `symbol` only says how it is converted
    """
    scale = unit(symbol)

    def write(draft: Draft, value: float) -> None:
        if index is None:
            draft.params[field] = scale.span_to_si(value)
        else:
            draft.params[field][index] = scale.span_to_si(value)

    number = float(params[field] if index is None else params[field][index])
    if math.isfinite(number):
        number = float(exact(number) / scale.factor)
    low, high, above = bounds
    place = (field, index, float(scale.factor))
    return Quantity(name, meant or symbol, number, low, high, above, write, place)


def vehicle_quantities(vehicle: Vehicle, places: Places, params: np.void) -> Iterator[Quantity]:
    """Everything of a vehicle. What its file leaves out (an infinite number here) has no name."""
    for found in _vehicle_numbers(vehicle, places, params):
        if math.isfinite(found.nominal):
            yield found
    for index, motor in enumerate(vehicle.motors.values()):
        head = f"motors.{motor.name}"
        for key, nominal, write in (
            ("total_impulse_n_s", motor.total_impulse_n_s, _impulse),
            ("burn_time_s", motor.burn_time_s, _burn_time),
        ):
            rule = partial(write, index, nominal)
            yield Quantity(f"{head}.{key}", symbol_of(key), nominal, *POSITIVE, rule)
    for index, channel in enumerate(vehicle.channels.values()):
        for key in ("resistance_ohm", "connector_ohm"):
            nominal = float(getattr(channel, key))
            rule = partial(_in_series, index, nominal)
            yield Quantity(f"channels.{channel.name}.{key}", "ohm", nominal, *NOT_NEGATIVE, rule)
        if channel.wire_m > 0.0:
            rule = partial(_wire, index, channel.wire_ohm / channel.wire_m)
            wire = f"channels.{channel.name}.wire_m"
            yield Quantity(wire, "m", channel.wire_m, *NOT_NEGATIVE, rule)
    for index, load in enumerate(vehicle.loads.values()):
        yield from _load(load, index, params)


def _vehicle_numbers(vehicle: Vehicle, places: Places, params: np.void) -> Iterator[Quantity]:
    for name, (field, bounds) in _ONE_OF_A_KIND.items():
        yield quantity(params, name, symbol_of(name), field, None, bounds)
    gimbals = [name for name, each in vehicle.servos.items() if each.gimbal is not None]
    groups: list[tuple[str, list[tuple[int, str]], Rows]] = [
        ("parts", list(enumerate(part.name for part in vehicle.parts)), _PARTS),
        ("motors", list(enumerate(places.motors)), _MOTORS),
        ("parachutes", list(enumerate(places.parachutes)), _PARACHUTES),
        ("aero", _configurations(vehicle.aero), _AERO),
        ("batteries", list(enumerate(places.computers)), _BATTERIES),
        ("servos", [(i, n) for n, i in places.servos.items() if n in gimbals], _GIMBALS),
        ("servos", [(i, n) for n, i in places.servos.items() if n not in gimbals], _MECHANISMS),
    ]
    for head, things, rows in groups:
        for index, thing in things:
            for key, (field, bounds) in rows.items():
                name = f"{head}.{thing}.{key}"
                yield quantity(params, name, symbol_of(key), field, index, bounds)
    for thing, index in places.sensors.items():
        sensor = vehicle.sensors[thing]
        if sensor.unit is None:
            continue
        for number, (field, bounds) in _SENSOR.items():
            name = f"sensors.{thing}.{number_key(number, sensor.unit)}"
            yield quantity(params, name, sensor.unit, field, index, bounds)
        lag = f"sensors.{thing}.lag_s"
        yield quantity(params, lag, "s", "sensor_lag", index, NOT_NEGATIVE)


def _configurations(aero: tuple[Aero, ...]) -> list[tuple[int, str]]:
    """Those that the file gives: the others are copies of one before them."""
    return [(i, word) for i, word in enumerate(CONFIGURATIONS) if aero[i] not in aero[:i]]


def _load(load: Load, index: int, params: np.void) -> Iterator[Quantity]:
    head = f"loads.{load.name}"
    if load.hot_wire is not None:
        # in degC, but as plain numbers: the record keeps them so
        burns = f"{head}.hot_wire.burns_at_c"
        bounds = (60.0, 2000.0, False)
        yield quantity(params, burns, "1", "load_burns_at", index, bounds, meant="degC")
        hold = f"{head}.hot_wire.burn_s"
        yield quantity(params, hold, "s", "load_hold", index, NOT_NEGATIVE)
    energy = ("fire_energy_j", "load_energy", load.fire_energy_j)
    resistance = ("resistance_ohm", "load_resistance", load.resistance_ohm)
    for key, field, nominal in (energy, resistance):
        if nominal > 0.0:
            rule = partial(_bridge, load, index, field)
            yield Quantity(f"{head}.{key}", symbol_of(key), nominal, *POSITIVE, rule)


def _bridge(load: Load, index: int, field: str, draft: Draft, value: float) -> None:
    """An igniter's energy and resistance also say how fast it loses its heat."""
    draft.params[field][index] = value
    if load.hot_wire is None:
        energy = float(draft.params["load_energy"][index])
        resistance = float(draft.params["load_resistance"][index])
        draft.params["load_loss"][index] = heat_loss(load.no_fire_a, resistance, energy)


def _impulse(motor: int, nominal: float, draft: Draft, value: float) -> None:
    """More or less impulse in the same time: the thrust grows with it."""
    draft.params["motor_impulse"][motor] = value
    draft.params["motor_thrust"][motor] *= value / nominal


def _burn_time(motor: int, nominal: float, draft: Draft, value: float) -> None:
    """The same impulse in more or less time."""
    draft.params["motor_time"][motor] *= value / nominal
    draft.params["motor_thrust"][motor] *= nominal / value


def _in_series(channel: int, nominal: float, draft: Draft, value: float) -> None:
    """Switch and connector are one resistance to the world."""
    draft.params["channel_resistance"][channel] += value - nominal


def _wire(channel: int, ohm_per_m: float, draft: Draft, value: float) -> None:
    """More or less wire of the same gauge."""
    draft.params["channel_wire"][channel] = value * ohm_per_m
