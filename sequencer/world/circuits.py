"""Batteries, channels and what is plugged into them: who gets current, and what then happens."""

from __future__ import annotations

import math
from typing import Final

from sequencer.world.jit import Record, compiled, plain
from sequencer.world.layout import FaultKind, LoadKind
from sequencer.world.mechanisms import deploy, order_separation
from sequencer.world.motors import TINY, light
from sequencer.world.taps import fault_at, fault_size

__all__ = ["battery_volts", "heat_loads", "load_current", "resistance_seen"]

_MOTOR: Final = plain(LoadKind.MOTOR)
_SEPARATION: Final = plain(LoadKind.SEPARATION)
_PARACHUTE: Final = plain(LoadKind.PARACHUTE)
_HOLD_DOWN: Final = plain(LoadKind.HOLD_DOWN)
_SIGNAL: Final = plain(LoadKind.SIGNAL)
_IGNITER_OPEN: Final = plain(FaultKind.IGNITER_OPEN)
_IGNITER_BESIDE: Final = plain(FaultKind.IGNITER_BESIDE)
_IGNITER_LATE: Final = plain(FaultKind.IGNITER_LATE)
_CHANNEL_DEAD: Final = plain(FaultKind.CHANNEL_DEAD)
_CHANNEL_SHORTED_ON: Final = plain(FaultKind.CHANNEL_SHORTED_ON)
_BATTERY_LOW: Final = plain(FaultKind.BATTERY_LOW)
#: ohm; keeps the current of a short circuit finite
_LEAST_RESISTANCE: Final = 1e-3


@compiled()
def battery_volts(params: Record, commands: Record, battery: int) -> float:
    """Open-circuit voltage of a computer's battery now, V."""
    return fault_size(params, commands, _BATTERY_LOW, battery, params.battery_volts[battery])


@compiled()
def load_current(state: Record, params: Record, commands: Record, load: int) -> float:
    """Current through a load now, A: battery over channel plus load resistance."""
    channel = params.load_channel[load]
    if channel < 0 or state.load_spent[load] != 0:
        return 0.0
    if commands.channel[channel] == 0 and not fault_at(
        params, commands, _CHANNEL_SHORTED_ON, channel
    ):
        return 0.0
    if fault_at(params, commands, _CHANNEL_DEAD, channel) or fault_at(
        params, commands, _IGNITER_OPEN, load
    ):
        return 0.0
    volts = battery_volts(params, commands, params.channel_battery[channel])
    resistance = params.channel_resistance[channel] + params.load_resistance[load]
    return volts / max(float(resistance), _LEAST_RESISTANCE)


@compiled()
def resistance_seen(state: Record, params: Record, commands: Record, channel: int) -> float:
    """Resistance (ohm) that a test current finds in a channel; inf when nothing conducts."""
    conductance = 0.0
    for i in range(params.loads):
        if (
            params.load_channel[i] == channel
            and state.load_spent[i] == 0
            and not fault_at(params, commands, _IGNITER_OPEN, i)
        ):
            conductance += 1.0 / max(params.load_resistance[i], _LEAST_RESISTANCE)
    if conductance == 0.0 or fault_at(params, commands, _CHANNEL_DEAD, channel):
        return math.inf
    return float(params.channel_resistance[channel] + 1.0 / conductance)


@compiled()
def heat_loads(state: Record, params: Record, commands: Record, dt: float) -> None:
    """Give every load that conducts dt more of current; act once where that was enough.

    A load that has acted is burnt through and conducts no more. Horns and lamps only conduct.
    """
    for i in range(params.loads):
        kind = params.load_kind[i]
        if kind == _SIGNAL or load_current(state, params, commands, i) <= 0.0:
            continue
        state.load_heat[i] += dt
        needed = params.load_delay[i] + fault_size(params, commands, _IGNITER_LATE, i, 0.0)
        if state.load_heat[i] < needed - TINY:
            continue
        state.load_spent[i] = 1
        if fault_at(params, commands, _IGNITER_BESIDE, i):
            continue
        if kind == _MOTOR:
            light(state, params, params.load_target[i])
        elif kind == _HOLD_DOWN:
            state.release_ordered = 1
        elif kind == _SEPARATION:
            order_separation(state)
        elif kind == _PARACHUTE:
            deploy(state, params, commands, params.load_target[i], 0.0)
