"""Sensors without errors: the truth, its first-order lag, and the ends of the range."""

from __future__ import annotations

import math
from collections.abc import Callable

from peer.body import matrix
from peer.motion import GRAVITY, pressure, pressure_altitude
from peer.world import World
from sequencer.vehicle.model import Sensor

__all__ = ["Sense"]


class Sense:
    """One sensor, asked on each of the world's `rate_hz` ticks per second.

    Raises KeyError for a kind that the peer does not have.
    """

    def __init__(self, sensor: Sensor, rate_hz: int) -> None:
        self._sensor = sensor
        self._reading = _READINGS[sensor.kind]
        self._period = 1 if sensor.rate_hz is None else rate_hz // sensor.rate_hz
        lag = sensor.lag_s * rate_hz  # in ticks
        self._share = 1.0 - math.exp(-1.0 / lag) if lag > 0.0 else 1.0
        self._lagged = math.nan

    def answer(self, tick: int, world: World, switches: dict[str, bool]) -> float | None:
        """What it reads on this tick, NaN for nothing; None where it does not answer."""
        due = tick % self._period == 0
        if not due and self._share == 1.0:
            return None
        truth = self._reading(self._sensor, world, switches)
        if math.isnan(self._lagged) or math.isnan(truth):
            self._lagged = truth
        else:
            self._lagged += self._share * (truth - self._lagged)
        if not due or math.isnan(self._lagged):
            return self._lagged if due else None
        return min(max(self._lagged, self._sensor.low), self._sensor.high)


def _pressure_height(world: World) -> float:
    """What a barometer that is calibrated on the pad makes of the pressure, m."""
    pad = world.vehicle.ground.pad_altitude_m
    return pressure_altitude(pressure(pad + float(world.state[2]))) - pad


def _specific_force(world: World) -> tuple[float, ...]:
    """What is felt at the centre of mass, m/s2; pad, rail and ground push against gravity."""
    rest = tuple(GRAVITY * part for part in matrix(*world.state[6:10].tolist())[2])
    if world.held in {"clamped", "down"}:
        return rest
    force, _, balance = world.body.push(world.time, world.state.tolist())
    felt = tuple(part / balance.mass for part in force)
    return felt if world.held == "free" else (felt[0], *rest[1:])


def _range(sensor: Sensor, world: World) -> float:
    """Way along the tail to level ground, m; NaN beyond its range, tilted, or in the plume."""
    body, time = world.body, world.time
    upright = matrix(*world.state[6:10].tolist())[2][0]
    if upright < max(math.cos(sensor.tilt_cutoff_rad), 1e-9) or (
        sensor.plume_blinds and any(burn.burns(time) for burn in body.carried)
    ):
        return math.nan
    way = float(world.state[2]) / upright - (body.tail_station - body.balance(time).centre)
    return max(way, 0.0) if way <= sensor.high else math.nan


#: kind -> what a perfect sensor reads, from the sensor, the world and the crew's switches
_READINGS: dict[str, Callable[[Sensor, World, dict[str, bool]], float]] = {
    "switch": lambda sensor, _, switches: float(switches.get(str(sensor.place), False)),
    "acceleration": lambda sensor, world, _: _specific_force(world)["xyz".index(str(sensor.place))],
    "rate": lambda sensor, world, _: float(world.state[10 + "xyz".index(str(sensor.place))]),
    "barometer": lambda _, world, __: _pressure_height(world),
    "range": lambda sensor, world, _: _range(sensor, world),
    "hold_down_force": lambda _, world, __: world.pull(),
    "flame": lambda sensor, world, _: float(world.body.burns[str(sensor.place)].burns(world.time)),
    "continuity": lambda sensor, world, _: min(
        world.circuits.resistance(str(sensor.place)), sensor.high
    ),
    "battery": lambda sensor, world, _: world.circuits.solve(sensor.computer, world.channels)[0],
    "wind": lambda _, __, ___: 0.0,  # it is calm
    "separated": lambda _, world, __: float(not world.body.joined),
}
