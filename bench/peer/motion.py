"""What is known in closed form: a thrust table and its impulse, a servo on its way, the air."""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass

from sequencer.vehicle.model import Motor, Servo

__all__ = ["GRAVITY", "SOON", "Burn", "Move", "density", "pressure", "pressure_altitude"]

#: moments that are closer than this are the same, s: sums of decimals carry rounding errors
SOON = 1e-9

# U.S. Standard Atmosphere, 1976, lowest layer, with its constants
GRAVITY = 9.80665  # m/s2
_GAS = 8314.32 / 28.9644  # J/(kg K)
_LAPSE = 0.0065  # K/m
_POWER = GRAVITY / (_GAS * _LAPSE)


def pressure(altitude: float) -> float:
    """Static pressure, Pa, at a geopotential altitude in m."""
    return 101325.0 * math.pow(1.0 - _LAPSE * altitude / 288.15, _POWER)


def density(altitude: float) -> float:
    """Air density, kg/m3, at a geopotential altitude in m."""
    return pressure(altitude) / (_GAS * (288.15 - _LAPSE * altitude))


def pressure_altitude(static: float) -> float:
    """Altitude, m, of a static pressure in Pa."""
    return 288.15 / _LAPSE * (1.0 - math.pow(static / 101325.0, 1.0 / _POWER))


class Burn:
    """One motor. `onset_s` is when its thrust begins, inf while nothing has lit it."""

    def __init__(self, motor: Motor) -> None:
        self.motor = motor
        self.onset_s = math.inf
        self._times = [time for time, _ in motor.thrust]
        self._given = [0.0]
        for (t0, f0), (t1, f1) in zip(motor.thrust, motor.thrust[1:], strict=False):
            self._given.append(self._given[-1] + 0.5 * (f0 + f1) * (t1 - t0))

    @property
    def end_s(self) -> float:
        """When it has burnt out."""
        return self.onset_s + self._times[-1]

    def burns(self, time: float) -> bool:
        """Whether it burns then."""
        return self.onset_s - SOON <= time < self.end_s - SOON

    def at(self, time: float) -> tuple[float, float]:
        """Thrust (N), and propellant that is left (kg): mass flows as impulse is given."""
        since, motor = time - self.onset_s, self.motor
        if since <= 0.0:
            return 0.0, motor.propellant_kg
        if since >= self._times[-1]:
            return 0.0, 0.0
        i = bisect_left(self._times, since)
        (t0, f0), (t1, f1) = motor.thrust[i - 1], motor.thrust[i]
        thrust = f0 + (f1 - f0) * (since - t0) / (t1 - t0)
        given = self._given[i - 1] + 0.5 * (f0 + thrust) * (since - t0)
        return thrust, motor.propellant_kg * (1.0 - given / motor.total_impulse_n_s)


@dataclass(slots=True)
class Move:
    """A servo on its way: at its full rate while far off, then by its lag, up to its dead band."""

    servo: Servo
    since_s: float
    start: float
    aim: float

    def at(self, time: float) -> float:
        """Position at a time not before `since_s`: rad, or 0..1."""
        servo, way = self.servo, self.aim - self.start
        if abs(way) <= servo.dead_band:
            return self.start
        knee = servo.rate * servo.lag_s  # nearer than this, the lag is slower than the rate
        fast = max(abs(way) - knee, 0.0) / servo.rate
        past = time - self.since_s
        if past <= fast:
            left = abs(way) - servo.rate * past
        else:
            left = min(abs(way), knee) * math.exp((fast - past) / servo.lag_s)
        return self.aim - math.copysign(max(left, servo.dead_band), way)

    def towards(self, demand: float, time: float) -> Move:
        """What a demand at this time makes of it; the bias is one of the horn."""
        servo = self.servo
        aim = min(max(demand + servo.bias, servo.low), servo.high)
        return self if aim == self.aim else Move(servo, time, self.at(time), aim)
