"""Solid motors, each by itself: thrust table, delay, burning on, ejection charge.

A motor's life is `lit` 0 cold, 1 the delay runs, 2 burning, 3 burnt out, or 4 burst. `motor_clock`
counts from thrust onset, so it is negative while the delay runs; it stands still between the puffs
of a motor that chuffs. Propellant leaves in proportion to the impulse given: mass flow =
propellant * thrust / impulse.
"""

from __future__ import annotations

import math
from typing import Final

from sequencer.world.jit import Record, compiled, plain
from sequencer.world.layout import FaultKind
from sequencer.world.taps import fault_size

__all__ = [
    "BODY0",
    "BODY1",
    "BURST",
    "TINY",
    "burn",
    "burn_on",
    "burns",
    "light",
    "set_factors",
    "takes_part",
]

#: clocks that differ by less are the same instant: sums of steps carry rounding errors, s
TINY: Final = 1e-9
BODY0: Final = plain(0)
BODY1: Final = plain(1)
BURST: Final = plain(4)

_MOTOR_THRUST: Final = plain(FaultKind.MOTOR_THRUST)
_MOTOR_CHUFF: Final = plain(FaultKind.MOTOR_CHUFF)
_EJECTION_EARLY: Final = plain(FaultKind.EJECTION_EARLY)
_EJECTION_LATE: Final = plain(FaultKind.EJECTION_LATE)


@compiled()
def burn(params: Record, motor: int, time: float) -> tuple[float, float]:
    """Thrust (N) at `time` s after onset, and the impulse (N s) given until then, by the table."""
    points = params.motor_points[motor]
    impulse = 0.0
    if points < 2 or time < params.motor_time[motor, 0] - TINY:
        return 0.0, 0.0
    for i in range(1, points):
        t0 = params.motor_time[motor, i - 1]
        t1 = params.motor_time[motor, i]
        f0 = params.motor_thrust[motor, i - 1]
        f1 = params.motor_thrust[motor, i]
        if time <= t1:
            since = max(time - t0, 0.0)
            thrust = f0 + (f1 - f0) * since / (t1 - t0) if t1 > t0 else f1
            return thrust, impulse + 0.5 * (f0 + thrust) * since
        impulse += 0.5 * (f0 + f1) * (t1 - t0)
    if time <= params.motor_time[motor, points - 1] + TINY:
        return params.motor_thrust[motor, points - 1], impulse
    return 0.0, impulse


@compiled(inline=True)
def takes_part(state: Record, params: Record, motor: int, body: int) -> bool:
    """Whether the motor belongs to this body now; before separation all belong to body 0."""
    if state.separated == 0:
        return body == 0
    return bool(params.motor_part[motor] == body)


@compiled(inline=True)
def burns(state: Record, motor: int) -> bool:
    """Whether the motor burns now: lit, and not cold between two puffs."""
    return bool(state.lit[motor] == 2 and state.motor_cold[motor] == 0)


@compiled()
def _set_cold(state: Record, motor: int) -> None:
    """A motor that chuffs burns in the first half of every period and is cold in the second."""
    state.motor_cold[motor] = 0
    period = state.chuff_period[motor]
    if period > 0.0 and state.lit[motor] == 2:
        clock = state.chuff_clock[motor]
        if clock - math.floor((clock + TINY) / period) * period >= 0.5 * period - TINY:
            state.motor_cold[motor] = 1


@compiled()
def set_factors(state: Record, params: Record, commands: Record) -> None:
    """Note for this tick what faults make of each motor's thrust and ejection charge."""
    for m in range(params.motors):
        state.motor_factor[m] = fault_size(params, commands, _MOTOR_THRUST, m, 1.0)
        state.chuff_period[m] = fault_size(params, commands, _MOTOR_CHUFF, m, 0.0)
        if state.chuff_period[m] <= 0.0:
            state.chuff_clock[m] = 0.0
        _set_cold(state, m)
        late = fault_size(params, commands, _EJECTION_LATE, m, 0.0)
        state.eject_shift[m] = late - fault_size(params, commands, _EJECTION_EARLY, m, 0.0)


@compiled()
def light(state: Record, params: Record, motor: int, since: float) -> None:
    """The igniter acted `since` s ago: the motor's own delay began then."""
    if state.lit[motor] == 0:
        delay = max(params.motor_delay[motor] - since, 0.0)
        state.motor_clock[motor] = -delay
        state.lit[motor] = 1 if delay > TINY else 2


@compiled()
def burn_on(state: Record, params: Record, motor: int, dt: float) -> bool:
    """Advance one motor by dt. True when its ejection charge goes off at the end of the step."""
    lit = state.lit[motor]
    if lit in (0, BURST):
        return False
    clock = state.motor_clock[motor]
    after = clock + dt
    if lit == 2 and state.chuff_period[motor] > 0.0:
        state.chuff_clock[motor] += dt
        if state.motor_cold[motor] != 0:
            after = clock
    if abs(after) < TINY:
        after = 0.0
    if lit < 3:
        _, given = burn(params, motor, clock)
        _, gives = burn(params, motor, after)
        state.motor_used[motor] += state.motor_factor[motor] * (gives - given)
    state.motor_clock[motor] = after
    end = params.motor_time[motor, max(params.motor_points[motor] - 1, 0)]
    if lit == 1 and after >= 0.0:
        lit = 2
        state.chuff_clock[motor] = after
    if lit == 2 and after >= end - TINY:
        lit = 3
    state.lit[motor] = lit
    _set_cold(state, motor)
    due = end + params.motor_eject_delay[motor] + state.eject_shift[motor] - TINY
    if lit < 3 or state.ejected[motor] != 0 or after < due:
        return False
    state.ejected[motor] = 1
    return True
