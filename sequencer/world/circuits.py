"""Firing circuits, one step at a time: what draws current, what acts, who loses power.

Within a step currents stay as they are until a load acts or a computer loses its power; those
moments are worked out in closed form and the network is solved anew after each. So an igniter that
opens after 0.2 ms loads its battery for 0.2 ms, whatever the step.
"""

from __future__ import annotations

import math
from typing import Final

from sequencer.vehicle.capacity import LOADS
from sequencer.world.battery import inner_resistance, open_voltage
from sequencer.world.chance import SOURCE_LOAD, normal_pair
from sequencer.world.heating import is_warm, set_heating, time_left, warm
from sequencer.world.jit import Record, compiled, plain
from sequencer.world.layout import FaultKind, LoadKind
from sequencer.world.mechanisms import deploy, order_separation
from sequencer.world.motors import TINY, light
from sequencer.world.network import settle, switch_channels
from sequencer.world.taps import fault_at

__all__ = ["begin_circuits", "run_circuits", "start_circuits"]

_SOURCE: Final = plain(SOURCE_LOAD)
_MOTOR: Final = plain(LoadKind.MOTOR)
_SEPARATION: Final = plain(LoadKind.SEPARATION)
_PARACHUTE: Final = plain(LoadKind.PARACHUTE)
_HOLD_DOWN: Final = plain(LoadKind.HOLD_DOWN)
_IGNITER_BESIDE: Final = plain(FaultKind.IGNITER_BESIDE)
#: moments of one step: each load gets hot enough and acts, each computer loses its power, the end
_MOST_MOMENTS: Final = 2 * LOADS + 4
#: scatter leaves at least this share of the energy that a load needs
_LEAST_FACTOR: Final = 0.1


@compiled()
def start_circuits(state: Record, params: Record) -> None:
    """Charge of the batteries and scatter of the loads, at tick 0."""
    for b in range(params.batteries):
        state.battery_charge[b] = params.battery_charge[b]
    for i in range(params.loads):
        state.load_factor[i] = 1.0
        if params.load_spread[i] > 0.0:
            chance, _ = normal_pair(params.seed, params.flight, _SOURCE, i)
            state.load_factor[i] = max(1.0 + params.load_spread[i] * chance, _LEAST_FACTOR)


@compiled()
def begin_circuits(state: Record, params: Record, commands: Record) -> None:
    """Switch channels and batteries for this tick; give power back where the voltage allows."""
    dark = False
    for b in range(params.batteries):
        state.battery_open[b] = open_voltage(state, params, commands, b)
        state.battery_inner[b] = inner_resistance(params, commands, b)
        dark = dark or state.powerless[b] != 0
    on = switch_channels(state, params, commands)
    state.circuit_busy = 1 if on or is_warm(state, params) else 0
    if state.circuit_busy != 0:
        set_heating(state, params)
    for i in range(params.loads):
        state.load_amps[i] = 0.0
        state.load_peak[i] = 0.0
    for b in range(params.batteries):
        state.battery_least[b] = math.inf
        state.battery_peak[b] = 0.0
    if dark or state.tick == 0:  # what stands on its pad has no step behind it
        settle(state, params, commands)
        for b in range(params.batteries):
            if state.powerless[b] != 0 and not _is_low(state, params, b):
                state.powerless[b] = 0
                state.battery_low[b] = 0.0


@compiled()
def _is_low(state: Record, params: Record, battery: int) -> bool:
    """Whether the computer on this battery does not get the voltage that it needs."""
    volts = state.battery_volts[battery]
    return bool(volts <= 0.0 or volts < params.battery_brown_out[battery])


@compiled()
def _until_dark(state: Record, params: Record, most: float) -> float:
    """Time until a computer loses its power, at most `most`, s."""
    for b in range(params.batteries):
        if state.powerless[b] == 0 and _is_low(state, params, b):
            left = params.battery_brown_out_time[b] - state.battery_low[b]
            most = min(most, max(left, 0.0))
    return most


@compiled()
def _drain(state: Record, params: Record, dt: float) -> bool:
    """Run the batteries down for dt; whether a computer lost its power at the end of it."""
    lost = False
    for b in range(params.batteries):
        used = state.battery_amps[b] * dt / params.battery_capacity[b]
        state.battery_charge[b] = max(state.battery_charge[b] - used, 0.0)
        if not _is_low(state, params, b):
            state.battery_low[b] = 0.0
            continue
        state.battery_low[b] += dt
        if (
            state.powerless[b] == 0
            and state.battery_low[b] >= params.battery_brown_out_time[b] - TINY
        ):
            state.powerless[b] = 1
            lost = True
            for i in range(params.servos):
                if params.servo_battery[i] == b:
                    state.servo_amps[i] = 0.0
    return lost


@compiled()
def _act(state: Record, params: Record, commands: Record, load: int, since: float) -> None:
    """The load did its work `since` s before the end of the step."""
    state.load_spent[load] = 1
    state.load_heat[load] = 0.0
    if fault_at(params, commands, _IGNITER_BESIDE, load):
        return
    kind = params.load_kind[load]
    target = params.load_target[load]
    if kind == _MOTOR:
        light(state, params, target, since)
    elif kind == _HOLD_DOWN:
        state.release_ordered = 1
    elif kind == _SEPARATION:
        order_separation(state)
    elif kind == _PARACHUTE:
        deploy(state, params, commands, target, 0.0)


@compiled()
def run_circuits(state: Record, params: Record, commands: Record, dt: float) -> None:
    """Let currents flow for dt, from one moment at which something changes to the next."""
    busy = state.circuit_busy != 0
    if dt <= 0.0 and not busy:
        return
    left = dt
    for _ in range(_MOST_MOMENTS):
        settle(state, params, commands)
        span = _until_dark(state, params, left)
        if busy:
            span = time_left(state, params, commands, span)
        left = max(left - span, 0.0)
        changed = _drain(state, params, span)
        if busy:
            for i in range(params.loads):
                if warm(state, params, commands, i, span):
                    _act(state, params, commands, i, left)
                    changed = True
        if left <= 0.0 and not changed:
            break
