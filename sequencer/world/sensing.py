"""Sensors: from the truth to what they measure; `answers` makes of it what a computer reads.

In this order: lag, bias, noise, quantisation, range. A sensor measures when the world's tick equals
its phase modulo its period. Noise depends on (sensor, tick) alone, so a fault on one sensor changes
no other.
"""

from __future__ import annotations

import math
from typing import Final

from sequencer.world.air import air, pressure_height
from sequencer.world.answers import in_range
from sequencer.world.battery import sensed_volts
from sequencer.world.chance import SOURCE_SENSOR, normal_pair
from sequencer.world.forces import tail_station
from sequencer.world.jit import Record, compiled, plain
from sequencer.world.layout import SensorKind
from sequencer.world.motors import BODY0, burns, takes_part
from sequencer.world.network import resistance_seen

__all__ = ["begin_sensing", "measure"]

_ACCELERATION: Final = plain(SensorKind.ACCELERATION)
_RATE: Final = plain(SensorKind.RATE)
_BAROMETER: Final = plain(SensorKind.BAROMETER)
_RANGE: Final = plain(SensorKind.RANGE)
_HOLD_DOWN_FORCE: Final = plain(SensorKind.HOLD_DOWN_FORCE)
_FLAME: Final = plain(SensorKind.FLAME)
_CONTINUITY: Final = plain(SensorKind.CONTINUITY)
_BATTERY: Final = plain(SensorKind.BATTERY)
_WIND: Final = plain(SensorKind.WIND)
_SWITCH: Final = plain(SensorKind.SWITCH)
_SERVO: Final = plain(SensorKind.SERVO)
_SEPARATED: Final = plain(SensorKind.SEPARATED)


@compiled()
def begin_sensing(state: Record, params: Record) -> None:
    """Before the first tick: what every tick needs and none changes."""
    for i in range(params.sensors):
        lag = params.sensor_lag[i]
        if lag > 0.0:
            state.sensor_share[i] = 1.0 - math.exp(-1.0 / (params.rate_hz * lag))
    ground, _ = air(params, 0.0)
    state.ground_reading = pressure_height(ground)


@compiled()
def _distance_below(state: Record, params: Record, out: Record, sensor: int) -> float:
    """Way along the tail's direction to level ground, m; NaN where nothing comes back."""
    cosine = out.tilt_cosine
    if cosine <= 0.0 or cosine < params.sensor_cutoff[sensor]:
        return math.nan
    if params.sensor_plume[sensor] != 0:
        for m in range(params.motors):
            if burns(state, m) and takes_part(state, params, m, BODY0):
                return math.nan
    below = tail_station(state, params) - out.centre_of_mass
    way = (state.position[2] - below * cosine) / cosine
    if way > params.sensor_high[sensor]:
        return math.nan
    return max(float(way), 0.0)


@compiled(inline=True)
def _truth(state: Record, params: Record, commands: Record, out: Record, sensor: int) -> float:
    """What a perfect sensor of this kind would read now."""
    kind = params.sensor_kind[sensor]
    place = params.sensor_place[sensor]
    value = 0.0
    if kind == _ACCELERATION:
        value = out.specific_force[place]
    elif kind == _RATE:
        value = out.rates[place]
    elif kind == _RANGE:
        value = _distance_below(state, params, out, sensor)
    elif kind == _HOLD_DOWN_FORCE:
        value = out.hold_down_force
    elif kind == _FLAME:
        value = float(out.burning[place])
    elif kind == _CONTINUITY:
        # an open circuit pins the reading to the end of its range
        value = min(resistance_seen(state, params, commands, place), params.sensor_high[sensor])
    elif kind == _BATTERY:
        value = sensed_volts(params, commands, place, out.battery[place])
    elif kind == _WIND:
        value = out.wind_mast
    elif kind == _SWITCH:
        value = float(commands.switch[place])
    elif kind == _SERVO:
        value = out.servo[place]
    elif kind == _SEPARATED:
        value = float(out.separated)
    else:
        value, _ = air(params, state.position[2])
        value += state.bay_excess[sensor]
        if kind == _BAROMETER:
            value = pressure_height(value) - state.ground_reading
    return value


@compiled(inline=True)
def _lagged(state: Record, params: Record, sensor: int, truth: float) -> float:
    """First-order lag, stepped exactly over one tick; starts, and starts again, at the truth."""
    if math.isnan(truth):
        state.sensor_started[sensor] = 0
        return truth
    lag = params.sensor_lag[sensor]
    if state.sensor_started[sensor] == 0 or lag <= 0.0:
        state.sensor_started[sensor] = 1
        state.sensor_filter[sensor] = truth
    else:
        share = state.sensor_share[sensor]
        state.sensor_filter[sensor] += share * (truth - state.sensor_filter[sensor])
    return float(state.sensor_filter[sensor])


@compiled()
def measure(state: Record, params: Record, commands: Record, out: Record) -> None:
    """Let every sensor that is due at state.tick measure: state.measured, state.measured_fresh."""
    for i in range(params.sensors):
        value = _lagged(state, params, i, _truth(state, params, commands, out, i))
        state.measured_fresh[i] = 0
        if state.tick % params.sensor_period[i] != params.sensor_phase[i]:
            continue
        value += params.sensor_bias[i]
        if params.sensor_noise[i] > 0.0:
            chance, _ = normal_pair(params.seed, params.flight, SOURCE_SENSOR + i, state.tick)
            value += params.sensor_noise[i] * chance
        quantum = params.sensor_quantum[i]
        # floor gives a whole number, and there is none for NaN
        if quantum > 0.0 and not math.isnan(value):
            value = math.floor(value / quantum + 0.5) * quantum
        state.measured[i] = in_range(value, params.sensor_low[i], params.sensor_high[i])
        state.measured_fresh[i] = 1
