"""What moves on the vehicle: servos, parachutes, and the joint between the two bodies.

Also what charges do beside that: a parachute's puts pressure on the ports of the barometers in its
body, which dies away exponentially, and a motor's case may burst.
"""

from __future__ import annotations

import math
from typing import Final

from sequencer.world.forces import AT_START, CENTRE, MASS, budget
from sequencer.world.jit import Record, compiled, plain
from sequencer.world.layout import FaultKind, LoadKind, Mode
from sequencer.world.motors import BURST, TINY, burn_on
from sequencer.world.rotation import to_earth
from sequencer.world.taps import fault_at, fault_size

__all__ = [
    "burn_motors",
    "burst_motors",
    "deploy",
    "move_servos",
    "order_separation",
    "part",
    "run_parachutes",
]

_SEPARATION: Final = plain(LoadKind.SEPARATION)
_MOTOR_BURST: Final = plain(FaultKind.MOTOR_BURST)
_SEPARATION_HUNG: Final = plain(FaultKind.SEPARATION_HUNG)
_SEPARATION_LATE: Final = plain(FaultKind.SEPARATION_LATE)
_PARACHUTE_FAILS: Final = plain(FaultKind.PARACHUTE_FAILS)
_PARACHUTE_LATE: Final = plain(FaultKind.PARACHUTE_LATE)
_SERVO_STUCK: Final = plain(FaultKind.SERVO_STUCK)
_FREE: Final = plain(Mode.FREE)
_DOWN: Final = plain(Mode.DOWN)
_JOINT: Final = plain(0)  # there is but one
#: pressure (Pa) below which a bay counts as vented: less than a tenth of a millimetre
_VENTED: Final = 1e-3


@compiled()
def move_servos(state: Record, params: Record, commands: Record, dt: float) -> None:
    """Move every servo for dt towards its demand: rate limit, first-order lag, dead band, travel.

    The bias is an error of the horn's position, so it is added to the demand. Without a demand yet
    (NaN) a servo stays at its start. One that is stuck away from its demand stalls; without power
    it rests where it is.
    """
    for i in range(params.servos):
        state.servo_amps[i] = 0.0
        if state.powerless[params.servo_battery[i]] != 0:
            continue
        demand = commands.servo[i]
        if not math.isnan(demand):
            state.servo_demand[i] = demand
        demand = state.servo_demand[i]
        if math.isnan(demand):
            continue
        aim = min(max(demand + params.servo_bias[i], params.servo_low[i]), params.servo_high[i])
        error = aim - state.servo[i]
        left = abs(error)
        if left <= params.servo_dead_band[i]:
            continue
        if fault_at(params, commands, _SERVO_STUCK, i):
            state.servo_amps[i] = params.servo_stall[i]
            continue
        state.servo_amps[i] = params.servo_moving[i]
        # in closed form: at its full rate while the lag would be faster, by the lag from there on
        lag = params.servo_lag[i]
        rate = params.servo_rate[i]
        near = rate * lag if lag > 0.0 else 0.0  # a rate without limit is inf
        fast = min(max(left - near, 0.0), rate * dt)
        left -= fast
        if lag > 0.0 and rate > 0.0:
            left *= math.exp(-(dt - fast / rate) / lag)
        left = max(left, params.servo_dead_band[i])
        state.servo[i] = aim - math.copysign(left, error)


@compiled()
def deploy(state: Record, params: Record, commands: Record, parachute: int, delay: float) -> None:
    """The parachute's charge goes off and throws it out, `delay` s from now.

    The sensors ride on body 0: what goes off there they feel at their ports, at once.
    """
    if params.parachute_body[parachute] == 0:
        for i in range(params.sensors):
            state.bay_excess[i] += params.sensor_bay_pressure[i]
    _throw_out(state, params, commands, parachute, delay)


@compiled()
def _vent(state: Record, params: Record, dt: float) -> None:
    """Let the pressure that charges have left on the ports die away for dt."""
    for i in range(params.sensors):
        if state.bay_excess[i] > 0.0:
            state.bay_excess[i] *= math.exp(-dt / params.sensor_bay_decay[i])
            if state.bay_excess[i] < _VENTED:
                state.bay_excess[i] = 0.0


@compiled()
def _throw_out(
    state: Record, params: Record, commands: Record, parachute: int, delay: float
) -> None:
    """Something throws the parachute out, `delay` s from now; a sooner order stands."""
    if fault_at(params, commands, _PARACHUTE_FAILS, parachute):
        return
    late = delay + fault_size(params, commands, _PARACHUTE_LATE, parachute, 0.0)
    state.parachute_clock[parachute] = max(state.parachute_clock[parachute], -late)


@compiled()
def run_parachutes(state: Record, params: Record, commands: Record, dt: float) -> None:
    """Advance the clocks of parachutes that have been thrown out, or will be."""
    for i in range(params.parachutes):
        clock = state.parachute_clock[i]
        if clock == -math.inf:
            continue
        after = clock + dt
        if abs(after) < TINY:
            after = 0.0
        if clock < 0.0 <= after and fault_at(params, commands, _PARACHUTE_FAILS, i):
            after = -math.inf
        state.parachute_clock[i] = after


@compiled()
def order_separation(state: Record) -> None:
    """The separation charge has acted."""
    state.separation_clock = max(state.separation_clock, 0.0)


@compiled()
def burn_motors(state: Record, params: Record, commands: Record, dt: float) -> None:
    """Advance all motors by dt; an ejection charge parts the bodies or deploys a parachute."""
    _vent(state, params, dt)
    for m in range(params.motors):
        if burn_on(state, params, m, dt):
            if params.motor_eject_kind[m] == _SEPARATION:
                order_separation(state)
            else:
                deploy(state, params, commands, params.motor_eject_target[m], 0.0)


@compiled()
def burst_motors(state: Record, params: Record, commands: Record) -> None:
    """Burst every motor that burns and has that fault: thrust, propellant and charge are gone.

    The airframe stays where it is, so the centre of mass moves in space as it does in the body.
    """
    for m in range(params.motors):
        if state.lit[m] != 2 or not fault_at(params, commands, _MOTOR_BURST, m):
            continue
        budget(state, params, AT_START, 0.0)
        ahead = state.budget[0, CENTRE]
        state.lit[m] = BURST
        state.motor_used[m] = params.motor_impulse[m]
        budget(state, params, AT_START, 0.0)
        ahead -= state.budget[0, CENTRE]
        if state.mode == _DOWN:
            continue
        a, b, c, d = state.attitude[0], state.attitude[1], state.attitude[2], state.attitude[3]
        axis = to_earth(a, b, c, d, 1.0, 0.0, 0.0)
        swing = to_earth(a, b, c, d, 0.0, state.rates[2], -state.rates[1])
        for i in range(3):
            state.position[i] += ahead * axis[i]
            state.velocity[i] += ahead * swing[i]


@compiled()
def part(state: Record, params: Record, commands: Record, dt: float) -> None:
    """Let the clock of an ordered separation run, and part the bodies when its time has come.

    Both keep the velocity that their centres of mass had in the turning stack, and are pushed
    apart along the axis and across it with momentum conserved.
    """
    if state.separation_clock < 0.0 or state.separated != 0:
        if state.separated != 0:
            state.separation_clock += dt
        return
    state.separation_clock += dt
    late = fault_size(params, commands, _SEPARATION_LATE, _JOINT, 0.0)
    if (
        state.separation_clock < late - TINY
        or fault_at(params, commands, _SEPARATION_HUNG, _JOINT)
        or params.part_mass[1] <= 0.0
    ):
        return
    budget(state, params, AT_START, 0.0)
    whole = state.budget[0, MASS]
    centre = state.budget[0, CENTRE]
    state.separated = 1
    budget(state, params, AT_START, 0.0)
    mass = state.budget[0, MASS]
    ahead = centre - state.budget[0, CENTRE]  # of the common centre, along the axis
    rest = whole - mass
    behind = ahead * mass / rest
    a, b, c, d = state.attitude[0], state.attitude[1], state.attitude[2], state.attitude[3]
    ex, ey, ez = to_earth(a, b, c, d, 1.0, 0.0, 0.0)
    # velocity of a point one metre ahead on the axis against the common centre
    sx, sy, sz = to_earth(a, b, c, d, 0.0, state.rates[2], -state.rates[1])
    sx1, sy1, sz1 = to_earth(a, b, c, d, 0.0, 1.0, 0.0)
    push = params.separation_push
    across = params.separation_sideways
    if state.mode == _DOWN:
        push = 0.0
        across = 0.0
    axis = (ex, ey, ez)
    apart = (push * ex + across * sx1, push * ey + across * sy1, push * ez + across * sz1)
    swing = (sx, sy, sz)
    for i in range(3):
        place = state.position[i]
        speed = state.velocity[i]
        state.position[i] = place + ahead * axis[i]
        state.velocity[i] = speed + ahead * swing[i] + apart[i] * rest / whole
        state.part1_position[i] = place - behind * axis[i]
        state.part1_velocity[i] = speed - behind * swing[i] - apart[i] * mass / whole
    state.part1_mass = rest
    state.part1_down = 1 if state.mode == _DOWN else 0
    if state.mode != _DOWN:
        state.mode = _FREE
    for i in range(params.parachutes):
        if params.parachute_self_delay[i] < math.inf:
            _throw_out(state, params, commands, i, params.parachute_self_delay[i])
