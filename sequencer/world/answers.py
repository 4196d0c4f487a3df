"""Sensors: from what they measured to what a computer reads, with the faults between.

The same for the simulated world and for recorded answers. What a sensor measured is final: with
its own bias, noise, quantum and range. Faults then act in this order, each on what the one before
left: swapped (the other's measurement, with the other's time), stale, blocked, bias (held in the
sensor's range), clipped, sign, spike, nan, frozen; a silent sensor does not answer at all. What
was stale or blocked is kept while no fault is active, so that either begins with real answers.
"""

from __future__ import annotations

import math
from typing import Final

from sequencer.world.jit import Record, compiled, plain
from sequencer.world.layout import REMEMBERED, FaultKind
from sequencer.world.motors import TINY
from sequencer.world.taps import fault_at, fault_size

__all__ = ["answer", "begin_answers", "in_range"]

_SENSOR_FROZEN: Final = plain(FaultKind.SENSOR_FROZEN)
_SENSOR_SILENT: Final = plain(FaultKind.SENSOR_SILENT)
_SENSOR_BIAS: Final = plain(FaultKind.SENSOR_BIAS)
_SENSOR_SPIKE: Final = plain(FaultKind.SENSOR_SPIKE)
_SENSOR_NAN: Final = plain(FaultKind.SENSOR_NAN)
_SENSOR_STALE: Final = plain(FaultKind.SENSOR_STALE)
_SENSOR_CLIPPED: Final = plain(FaultKind.SENSOR_CLIPPED)
_SENSOR_SIGN: Final = plain(FaultKind.SENSOR_SIGN)
_SENSOR_SWAPPED: Final = plain(FaultKind.SENSOR_SWAPPED)
_SENSOR_BLOCKED: Final = plain(FaultKind.SENSOR_BLOCKED)
_REMEMBERED: Final = plain(REMEMBERED)


@compiled()
def begin_answers(state: Record, params: Record) -> None:
    """No sensor has answered yet."""
    for i in range(params.sensors):
        state.sensor_value[i] = math.nan
        state.port_value[i] = math.nan


@compiled()
def in_range(value: float, low: float, high: float) -> float:
    """The value held between low and high; NaN stays NaN."""
    if math.isnan(value):
        return value
    return min(max(value, low), high)


@compiled()
def _remember(state: Record, sensor: int) -> None:
    """Keep what the sensor measured in this tick beside the last ones before it."""
    place = state.remembered[sensor] % _REMEMBERED
    state.past_value[sensor, place] = state.measured[sensor]
    state.past_tick[sensor, place] = state.tick
    state.remembered[sensor] += 1


@compiled()
def _past(state: Record, params: Record, sensor: int, age: float) -> tuple[bool, float]:
    """The last measurement that is at least `age` s old; False where there is none yet."""
    latest = state.tick - math.ceil(age * params.rate_hz - TINY)
    kept = min(state.remembered[sensor], _REMEMBERED)
    for back in range(1, kept + 1):
        place = (state.remembered[sensor] - back) % _REMEMBERED
        if state.past_tick[sensor, place] <= latest:
            return True, float(state.past_value[sensor, place])
    return False, math.nan


@compiled()
def _port(state: Record, params: Record, commands: Record, sensor: int, value: float) -> float:
    """What gets through a port that may be blocked: first order, stepped exactly."""
    gone = state.tick - state.port_tick[sensor]
    state.port_tick[sensor] = state.tick
    constant = fault_size(params, commands, _SENSOR_BLOCKED, sensor, 0.0)
    inside = state.port_value[sensor]
    if constant <= 0.0 or math.isnan(inside):
        state.port_value[sensor] = value
        return value
    if math.isnan(value):
        return value
    share = 1.0 - math.exp(-gone / (params.rate_hz * constant))
    state.port_value[sensor] = inside + share * (value - inside)
    return float(state.port_value[sensor])


@compiled()
def _source(params: Record, commands: Record, sensor: int) -> int:
    """Which sensor's measurement arrives as this one's."""
    for i in range(params.faults):
        if commands.fault[i] != 0 and params.fault_kind[i] == _SENSOR_SWAPPED:
            one = params.fault_place[i]
            two = int(params.fault_size[i])
            if one == sensor:
                return two
            if two == sensor:
                return int(one)
    return sensor


@compiled()
def answer(state: Record, params: Record, commands: Record, out: Record) -> None:
    """Make answers of state.measured and state.measured_fresh: out.value, out.fresh."""
    for i in range(params.sensors):
        if state.measured_fresh[i] != 0:
            _remember(state, i)
    for i in range(params.sensors):
        out.fresh[i] = 0
        out.value[i] = state.sensor_value[i]
        source = _source(params, commands, i)
        if state.measured_fresh[source] == 0:
            continue
        value = state.measured[source]
        age = fault_size(params, commands, _SENSOR_STALE, i, 0.0)
        if age > 0.0:
            found, value = _past(state, params, source, age)
            if not found:
                continue
        value = _port(state, params, commands, i, value)
        if fault_at(params, commands, _SENSOR_SILENT, i):
            continue
        bias = fault_size(params, commands, _SENSOR_BIAS, i, 0.0)
        if bias != 0.0:
            value = in_range(value + bias, params.sensor_low[i], params.sensor_high[i])
        limit = fault_size(params, commands, _SENSOR_CLIPPED, i, math.inf)
        value = in_range(value, -limit, limit)
        if fault_at(params, commands, _SENSOR_SIGN, i):
            value = -value
        value = fault_size(params, commands, _SENSOR_SPIKE, i, value)
        if fault_at(params, commands, _SENSOR_NAN, i):
            value = math.nan
        if not fault_at(params, commands, _SENSOR_FROZEN, i):
            state.sensor_value[i] = value
        out.fresh[i] = 1
        out.value[i] = state.sensor_value[i]
