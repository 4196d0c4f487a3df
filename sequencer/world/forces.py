"""Masses and thrust of a step, and the forces and torques on body 0.

Within one integration step masses and thrust depend on time alone, so they are worked out once for
its start, middle and end (`budget`); air forces depend on the motion and are asked for by every
stage of the integration.
"""

from __future__ import annotations

import math
from typing import Final

from sequencer.world.air import air, wind
from sequencer.world.jit import Record, compiled, plain
from sequencer.world.layout import ServoRole
from sequencer.world.motors import BODY0, burn, burns, takes_part
from sequencer.world.rotation import to_body

__all__ = [
    "ANY_TARGET",
    "AT_END",
    "AT_MIDDLE",
    "AT_START",
    "budget",
    "budget_ahead",
    "forces",
    "joined",
    "opened_fraction",
    "servo_sum",
    "set_shape",
    "tail_station",
]

# rows of state.budget
AT_START: Final = plain(0)
AT_MIDDLE: Final = plain(1)
AT_END: Final = plain(2)

# places in a row of state.budget
MASS: Final = 0
CENTRE: Final = 1  # station
INERTIA: Final = 2  # about x, y, z: three places
THRUST: Final = 5  # three places
TORQUE: Final = 8  # three places
JET: Final = 11  # jet damping: torque per rate about y or z
SHIFT: Final = 12  # speed at which the centre of mass moves forward in the body

# places in state.shape
AXIAL_NOSE: Final = 0
AXIAL_TAIL: Final = 1
SIDE: Final = 2
SLOPE_NOSE: Final = 3
SLOPE_TAIL: Final = 4
CENTRE_NOSE: Final = 5
CENTRE_TAIL: Final = 6
CENTRE_SIDE: Final = 7
DAMPING_PITCH: Final = 8
DAMPING_ROLL: Final = 9

_GIMBAL_Y: Final = plain(ServoRole.GIMBAL_Y)
_GIMBAL_Z: Final = plain(ServoRole.GIMBAL_Z)
_FINS: Final = plain(ServoRole.FINS)
_LEGS: Final = plain(ServoRole.LEGS)
#: largest product of damping rate and step that an integration is given (it bears 2.8)
_STIFFEST: Final = 2.0
ANY_TARGET: Final = plain(0)  # fins and legs have no target


@compiled(inline=True)
def servo_sum(state: Record, params: Record, role: int, target: int) -> float:
    """What all servos of this role and target add up to."""
    total = 0.0
    for i in range(params.servos):
        if params.servo_role[i] == role and params.servo_target[i] == target:
            total += state.servo[i]
    return total


@compiled()
def joined(state: Record, params: Record) -> bool:
    """Whether the part that leaves still hangs on body 0; never so where there is none."""
    return bool(state.separated == 0 and params.part_mass[1] > 0.0)


@compiled()
def tail_station(state: Record, params: Record) -> float:
    """Station of the rear end of body 0 (legs not counted)."""
    if not joined(state, params):
        return float(params.part_tail[0])
    return max(float(params.part_tail[0]), float(params.part_tail[1]))


@compiled()
def _blend(state: Record, params: Record, figures: Record, fins: float, legs: float) -> float:
    """One aerodynamic figure of the present configuration, from those of all four."""
    if joined(state, params):
        return float(figures[0])
    stage = figures[1]
    blended: float = stage + fins * (figures[2] - stage) + legs * (figures[3] - stage)
    return blended


@compiled()
def set_shape(state: Record, params: Record) -> None:
    """Aerodynamic figures of body 0 as its fins and legs stand now, into state.shape."""
    fins = min(max(servo_sum(state, params, _FINS, ANY_TARGET), 0.0), 1.0)
    legs = min(max(servo_sum(state, params, _LEGS, ANY_TARGET), 0.0), 1.0)
    shape = state.shape
    shape[AXIAL_NOSE] = _blend(state, params, params.aero_axial_nose, fins, legs)
    shape[AXIAL_TAIL] = _blend(state, params, params.aero_axial_tail, fins, legs)
    shape[SIDE] = _blend(state, params, params.aero_side, fins, legs)
    shape[SLOPE_NOSE] = _blend(state, params, params.aero_slope_nose, fins, legs)
    shape[SLOPE_TAIL] = _blend(state, params, params.aero_slope_tail, fins, legs)
    shape[CENTRE_NOSE] = _blend(state, params, params.aero_centre_nose, fins, legs)
    shape[CENTRE_TAIL] = _blend(state, params, params.aero_centre_tail, fins, legs)
    shape[CENTRE_SIDE] = _blend(state, params, params.aero_centre_side, fins, legs)
    shape[DAMPING_PITCH] = _blend(state, params, params.aero_damping_pitch, fins, legs)
    shape[DAMPING_ROLL] = _blend(state, params, params.aero_damping_roll, fins, legs)


@compiled(inline=True)
def _look_ahead(state: Record, params: Record, motor: int, ahead: float) -> None:
    """Note what propellant and thrust a motor has `ahead` s after the step's start."""
    used = state.motor_used[motor]
    thrust = 0.0
    if state.lit[motor] == 1 or burns(state, motor):
        clock = state.motor_clock[motor]
        factor = state.motor_factor[motor]
        _, given = burn(params, motor, clock)
        thrust, gives = burn(params, motor, clock + ahead)
        thrust *= factor
        used += factor * (gives - given)
    left = params.motor_propellant[motor]
    if params.motor_impulse[motor] > 0.0:
        left *= max(1.0 - used / params.motor_impulse[motor], 0.0)
    state.motor_left[motor] = left
    state.motor_push[motor] = thrust


@compiled()
def budget(state: Record, params: Record, row: int, ahead: float) -> None:
    """Masses, thrust and its torque of body 0, `ahead` s after the step's start, into a row.

    The centre of mass moves along the axis only: a burnt motor beside the axis shifts it by less
    than a millimetre, while the torque of its missing thrust is counted in full. A gimbal angle dy
    turns thrust so that it gives a positive torque about body y:
    F = T (sqrt(1 - sy^2 - sz^2), -sz, sy) with sy = sin(dy), sz = sin(dz).
    """
    parts = 1 if state.separated != 0 else 2
    mass = 0.0
    moment = 0.0
    for p in range(parts):
        mass += params.part_mass[p]
        moment += params.part_mass[p] * params.part_station[p]
    for m in range(params.motors):
        if takes_part(state, params, m, BODY0):
            _look_ahead(state, params, m, ahead)
            left = state.motor_left[m]
            mass += left
            moment += left * params.motor_grain_station[m]
    centre = moment / mass

    axial = 0.0
    about_y = 0.0
    for p in range(parts):
        if params.part_mass[p] > 0.0:
            arm = centre - params.part_station[p]
            axial += params.part_axial[p]
            about_y += params.part_transverse[p] + params.part_mass[p] * arm * arm
    about_z = about_y
    fx = fy = fz = tx = ty = tz = jet = shift = 0.0
    for m in range(params.motors):
        if not takes_part(state, params, m, BODY0):
            continue
        left = state.motor_left[m]
        thrust = state.motor_push[m]
        y = params.motor_y[m]
        z = params.motor_z[m]
        grain = centre - params.motor_grain_station[m]
        axial += left * (y * y + z * z)
        about_y += left * (grain * grain + z * z)
        about_z += left * (grain * grain + y * y)
        if thrust > 0.0:
            dy = params.motor_cant_y[m]
            dz = params.motor_cant_z[m]
            gimbal = params.motor_gimbal[m]
            if gimbal >= 0:
                dy += servo_sum(state, params, _GIMBAL_Y, gimbal)
                dz += servo_sum(state, params, _GIMBAL_Z, gimbal)
            sy = math.sin(dy)
            sz = math.sin(dz)
            mx = thrust * math.sqrt(max(1.0 - sy * sy - sz * sz, 0.0))
            my = -thrust * sz
            mz = thrust * sy
            x = centre - params.motor_station[m]
            fx += mx
            fy += my
            fz += mz
            tx += y * mz - z * my
            ty += z * mx - x * mz
            tz += x * my - y * mx
            if params.motor_impulse[m] > 0.0:
                # the jet carries angular momentum away at the nozzle, the grain loses its share
                flow = params.motor_propellant[m] * thrust / params.motor_impulse[m]
                jet += flow * (x * x - grain * grain)
                shift -= flow * grain / mass
    line = state.budget[row]
    line[MASS] = mass
    line[CENTRE] = centre
    line[INERTIA] = axial
    line[INERTIA + 1] = about_y
    line[INERTIA + 2] = about_z
    line[THRUST] = fx
    line[THRUST + 1] = fy
    line[THRUST + 2] = fz
    line[TORQUE] = tx
    line[TORQUE + 1] = ty
    line[TORQUE + 2] = tz
    line[JET] = jet
    line[SHIFT] = shift


@compiled()
def budget_ahead(state: Record, params: Record, dt: float) -> None:
    """The rows for the middle and the end of a step, where that for its start is there already.

    While no motor of body 0 burns, or waits for its delay to end, all three are the same.
    """
    for m in range(params.motors):
        if takes_part(state, params, m, BODY0) and (state.lit[m] == 1 or burns(state, m)):
            budget(state, params, AT_MIDDLE, 0.5 * dt)
            budget(state, params, AT_END, dt)
            return
    for i in range(13):
        state.budget[AT_MIDDLE, i] = state.budget[AT_START, i]
        state.budget[AT_END, i] = state.budget[AT_START, i]


@compiled()
def opened_fraction(state: Record, params: Record, parachute: int) -> float:
    """Share of its drag area a parachute shows now: 0 packed, a smooth growth, 1 open."""
    clock = state.parachute_clock[parachute]
    if clock < 0.0:
        return 0.0
    if clock >= params.parachute_inflation[parachute]:
        return 1.0
    part = clock / params.parachute_inflation[parachute]
    return float(part * part * (3.0 - 2.0 * part))


@compiled()
def forces(
    state: Record, params: Record, row: int, time: float, dt: float
) -> tuple[float, float, float, float, float, float]:
    """Force (N) and torque (N m) on body 0 in body axes, gravity left out, for state.trial.

    row   of state.budget that holds masses and thrust
    time  since the start of the flight, s
    dt    the integration step, s: the drag of an opening parachute never asks for more than the
          step can follow

    Airframe: drag areas blended by cos|cos| of the angle of attack between nose first and tail
    first; normal force slope * sin * |cos| at the centre of pressure of the end that leads; cross
    flow side * sin^2 at its own centre. All act against the motion through the air.
    """
    line = state.budget[row]
    at = state.trial
    a, b, c, d = at[6], at[7], at[8], at[9]
    wx, wy, wz = at[10], at[11], at[12]
    fx, fy, fz = line[THRUST], line[THRUST + 1], line[THRUST + 2]
    tx = line[TORQUE]
    ty = line[TORQUE + 1] - line[JET] * wy
    tz = line[TORQUE + 2] - line[JET] * wz

    _, density = air(params, at[2])
    east, north, up = wind(params, at[2], time)
    vx, vy, vz = to_body(
        a,
        b,
        c,
        d,
        at[3] - east - state.stirred[0],
        at[4] - north - state.stirred[1],
        at[5] - up - state.stirred[2],
    )
    speed = math.sqrt(vx * vx + vy * vy + vz * vz)
    if speed > 0.0:
        half = 0.5 * density
        shape = state.shape
        across = math.sqrt(vy * vy + vz * vz)
        if vx > 0.0:
            axial_area, slope, station = (
                shape[AXIAL_NOSE],
                shape[SLOPE_NOSE],
                shape[CENTRE_NOSE],
            )
        else:
            axial_area, slope, station = (
                shape[AXIAL_TAIL],
                shape[SLOPE_TAIL],
                shape[CENTRE_TAIL],
            )
        fx -= half * axial_area * vx * abs(vx)
        # per lateral speed: potential flow, then cross flow
        potential = half * slope * abs(vx)
        cross = half * shape[SIDE] * across
        fy -= (potential + cross) * vy
        fz -= (potential + cross) * vz
        lever = potential * (line[CENTRE] - station) + cross * (line[CENTRE] - shape[CENTRE_SIDE])
        ty += lever * vz
        tz -= lever * vy
        damping = density * speed
        tx -= shape[DAMPING_ROLL] * damping * wx
        ty -= shape[DAMPING_PITCH] * damping * wy
        tz -= shape[DAMPING_PITCH] * damping * wz

    for i in range(params.parachutes):
        if state.separated != 0 and params.parachute_body[i] != 0:
            continue
        area = params.parachute_area[i] * opened_fraction(state, params, i)
        if area > 0.0:
            arm = line[CENTRE] - params.parachute_station[i]
            px = vx
            py = vy + wz * arm
            pz = vz - wy * arm
            pull = density * math.sqrt(px * px + py * py + pz * pz)
            # what a newton at the line's end does to the speed there: along the axis, across it
            yield_along = 1.0 / line[MASS]
            yield_across = yield_along + arm * arm / min(line[INERTIA + 1], line[INERTIA + 2])
            pull *= area
            firm = 0.5 * min(pull, _STIFFEST / (yield_along * dt))
            soft = 0.5 * min(pull, _STIFFEST / (yield_across * dt))
            fx -= firm * px
            fy -= soft * py
            fz -= soft * pz
            ty += arm * soft * pz
            tz -= arm * soft * py
    return fx, fy, fz, tx, ty, tz
