"""The electrics of a vehicle as the world's numbers: batteries, channels and loads."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from sequencer.vehicle import Vehicle
from sequencer.vehicle.model import Load
from sequencer.world.fill import fill
from sequencer.world.layout import LoadKind
from sequencer.world.places import Places

__all__ = ["fill_circuits", "heat_loss"]

_LOAD_KINDS: Mapping[str, LoadKind] = {
    "lights": LoadKind.MOTOR,
    "separates": LoadKind.SEPARATION,
    "deploys": LoadKind.PARACHUTE,
    "releases": LoadKind.HOLD_DOWN,
    "signals": LoadKind.SIGNAL,
}


def fill_circuits(params: np.void, vehicle: Vehicle, places: Places) -> None:
    """Set all that the circuits need in a record of PARAMS."""
    _batteries(params, vehicle)
    channels = list(vehicle.channels.values())
    loads = list(vehicle.loads.values())
    fill(
        params,
        channels=len(channels),
        channel_resistance=[each.resistance_ohm + each.connector_ohm for each in channels],
        channel_wire=[each.wire_ohm for each in channels],
        channel_battery=[places.computers.index(each.computer) for each in channels],
        channel_closed_by=[_bits(each.closed_by, places) for each in channels],
        channel_opened_by=[_bits(each.opened_by, places) for each in channels],
        loads=len(loads),
        load_channel=[places.channels[each.channel] for each in loads],
        load_kind=[_LOAD_KINDS[each.does] for each in loads],
        load_target=[_target(each, places) for each in loads],
        load_resistance=[each.resistance_ohm for each in loads],
        load_energy=[each.fire_energy_j for each in loads],
        load_spread=[each.fire_energy_sd for each in loads],
        load_loss=[_loss(each) for each in loads],
        load_shorts=[int(each.after_firing == "short") for each in loads],
    )
    for index, load in enumerate(loads):
        wire = load.hot_wire
        if wire is not None:
            params["load_capacity"][index] = wire.heat_capacity_j_k
            params["load_loss_wind"][index] = wire.loss_wind_w_s_k_m / wire.heat_capacity_j_k
            params["load_burns_at"][index] = wire.burns_at_c
            params["load_hold"][index] = wire.burn_s


def _loss(load: Load) -> float:
    """Share of its heat that a load loses per s in still air."""
    if load.hot_wire is not None:
        return load.hot_wire.loss_w_k / load.hot_wire.heat_capacity_j_k
    return heat_loss(load.no_fire_a, load.resistance_ohm, load.fire_energy_j)


def heat_loss(no_fire_a: float | None, resistance_ohm: float, fire_energy_j: float) -> float:
    """Share of its heat that an igniter loses per s.

    So much that its no-fire current just keeps it at what it needs:
    loss * energy = no_fire^2 * resistance.
    """
    if no_fire_a is None or fire_energy_j <= 0.0:
        return 0.0
    return no_fire_a**2 * resistance_ohm / fire_energy_j


def _bits(switches: Iterable[str], places: Places) -> int:
    return sum(1 << places.switches[name] for name in switches)


def _batteries(params: np.void, vehicle: Vehicle) -> None:
    batteries = [each.battery for each in vehicle.computers.values()]
    fill(
        params,
        batteries=len(batteries),
        battery_points=[len(each.open_circuit) for each in batteries],
        battery_charge=[each.charge for each in batteries],
        battery_capacity=[each.capacity_a_s for each in batteries],
        battery_resistance=[each.resistance_ohm for each in batteries],
        battery_factor_points=[len(each.resistance_at) for each in batteries],
        battery_sense=[each.sense_factor for each in batteries],
        battery_draw=[each.draw_a for each in batteries],
        battery_brown_out=[each.brown_out_v for each in batteries],
        battery_brown_out_time=[each.brown_out_s for each in batteries],
    )
    for index, battery in enumerate(batteries):
        _table(params, index, "charge", "volts", battery.open_circuit)
        _table(params, index, "celsius", "factor", battery.resistance_at)


def _table(
    params: np.void, battery: int, x: str, y: str, points: Sequence[tuple[float, float]]
) -> None:
    for index, (at, value) in enumerate(points):
        params[f"battery_{x}_at"][battery, index] = at
        params[f"battery_{y}_at"][battery, index] = value


def _target(load: Load, places: Places) -> int:
    if load.target is None:
        return 0
    names = places.motors if load.does == "lights" else places.parachutes
    return names.index(load.target)
