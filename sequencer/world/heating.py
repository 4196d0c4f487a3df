"""How a load warms up: an igniter's bridge, or a hot wire on its thread.

The heat E above the air obeys E' = I^2 R - leak E, which for a constant current has the closed
solution E = P/leak + (E0 - P/leak) exp(-leak t) with P = I^2 R (a body of one temperature, Newton's
law of cooling). The load acts once E has been what it needs for as long as it takes: a wire has to
stay hot for so long, while an igniter that was hot enough has caught and needs no more current.
"""

from __future__ import annotations

import math
from typing import Final

from sequencer.world.air import celsius
from sequencer.world.jit import Record, compiled, plain
from sequencer.world.layout import FaultKind, LoadKind
from sequencer.world.motors import TINY
from sequencer.world.network import LEAST_RESISTANCE
from sequencer.world.taps import fault_at, fault_size

__all__ = ["is_warm", "set_heating", "time_left", "warm"]

_SIGNAL: Final = plain(LoadKind.SIGNAL)
_IGNITER_LATE: Final = plain(FaultKind.IGNITER_LATE)
_IGNITER_SHORTED: Final = plain(FaultKind.IGNITER_SHORTED)
#: share of what is needed that counts as all of it, and as nothing
_ENOUGH: Final = 1.0 - 1e-9
_NOTHING: Final = 1e-9


@compiled()
def is_warm(state: Record, params: Record) -> bool:
    """Whether any load that has not acted is warmer than the air."""
    for i in range(params.loads):  # noqa: SIM110 - numba takes longer over any()
        if state.load_heat[i] > 0.0:
            return True
    return False


@compiled()
def set_heating(state: Record, params: Record) -> None:
    """Note for this tick what each load needs, and how fast it cools."""
    for i in range(params.loads):
        needed = params.load_energy[i]
        if params.load_capacity[i] > 0.0:
            air = celsius(params, state.position[2])
            needed = params.load_capacity[i] * (params.load_burns_at[i] - air)
        state.load_needed[i] = max(needed * state.load_factor[i], 0.0)
        state.load_leak[i] = params.load_loss[i] + params.load_loss_wind[i] * state.airspeed


@compiled()
def _heats(state: Record, params: Record, commands: Record, load: int) -> bool:
    """Whether current can make this load act."""
    return not (
        state.load_spent[load] != 0
        or params.load_kind[load] == _SIGNAL
        or fault_at(params, commands, _IGNITER_SHORTED, load)
    )


@compiled()
def _power(state: Record, params: Record, load: int) -> float:
    """What its current heats a load with, W."""
    amps = state.load_amps[load]
    return float(amps * amps * max(float(params.load_resistance[load]), LEAST_RESISTANCE))


@compiled()
def _is_hot(state: Record, load: int) -> bool:
    """Whether it has all the heat that it needs."""
    return bool(state.load_heat[load] >= state.load_needed[load] * _ENOUGH)


@compiled()
def _wait(state: Record, params: Record, commands: Record, load: int) -> float:
    """Time until the load is hot enough or, if it is, until it acts; inf for never."""
    heat, needed = state.load_heat[load], state.load_needed[load]
    power = _power(state, params, load)
    if (heat <= 0.0 and power <= 0.0) or not _heats(state, params, commands, load):
        return math.inf
    if _is_hot(state, load):
        late = fault_size(params, commands, _IGNITER_LATE, load, 0.0)
        left = params.load_hold[load] + late - state.load_held[load]
        return float(left) if left > TINY else 0.0
    leak = state.load_leak[load]
    if power <= leak * needed:
        return math.inf
    if leak <= 0.0:
        return float((needed - heat) / power)
    final = power / leak
    return float(math.log((final - heat) / (final - needed)) / leak)


@compiled()
def time_left(state: Record, params: Record, commands: Record, most: float) -> float:
    """Time until something happens to a load, at most `most`, s."""
    for i in range(params.loads):
        most = min(most, _wait(state, params, commands, i))
    return most


@compiled()
def warm(state: Record, params: Record, commands: Record, load: int, dt: float) -> bool:
    """Heat, or let cool, one load for dt at its present current; whether it then acts."""
    power = 0.0
    if _heats(state, params, commands, load):
        power = _power(state, params, load)
    heat, needed, leak = state.load_heat[load], state.load_needed[load], state.load_leak[load]
    if heat <= 0.0 and power <= 0.0:
        return False
    if dt > 0.0:
        # moments that are waited for split the time, so that a load is hot for all of it or not
        hot = _is_hot(state, load)
        state.load_held[load] = state.load_held[load] + dt if hot else 0.0
        if leak > 0.0 and not (hot and params.load_capacity[load] <= 0.0):
            heat = heat * math.exp(-leak * dt) - power / leak * math.expm1(-leak * dt)
        else:
            heat += power * dt
        if power <= 0.0 and heat < needed * _NOTHING:
            heat = 0.0
        state.load_heat[load] = heat
    return _wait(state, params, commands, load) <= 0.0
