"""Equations of motion of both bodies and their integration (Runge-Kutta, fourth order).

Body 0 has six degrees of freedom about its momentary centre of mass; on the rail one. Body 1 is a
point. Velocity is that of the airframe at the centre of mass; the centre itself also moves forward
in the airframe as propellant leaves. Rates follow Euler's equations with the principal moments of
the moment; the quaternion follows q' = q (0, w) / 2 and is made a unit again after each step.
"""

from __future__ import annotations

import math
from typing import Final

from sequencer.world.air import air, wind
from sequencer.world.forces import (
    INERTIA,
    MASS,
    SHIFT,
    budget_ahead,
    forces,
    opened_fraction,
)
from sequencer.world.jit import Record, compiled, plain
from sequencer.world.layout import Mode
from sequencer.world.motors import BODY1, burn, burns, takes_part
from sequencer.world.rotation import to_earth

__all__ = ["advance", "advance_part1", "part1_mass", "set_trial"]

_RAIL: Final = plain(Mode.RAIL)


@compiled()
def set_trial(state: Record, slope: int, step: float) -> None:
    """state.trial = state.before + step * state.slopes[slope]."""
    for i in range(13):
        state.trial[i] = state.before[i] + step * state.slopes[slope, i]


@compiled()
def _keep_before(state: Record) -> None:
    """Copy the motion into state.before and state.trial."""
    for i in range(3):
        state.before[i] = state.position[i]
        state.before[3 + i] = state.velocity[i]
        state.before[10 + i] = state.rates[i]
    for i in range(4):
        state.before[6 + i] = state.attitude[i]
    for i in range(13):
        state.trial[i] = state.before[i]


@compiled()
def _slope(state: Record, params: Record, stage: int, row: int, time: float, dt: float) -> None:
    """Time derivative of the motion in state.trial, into state.slopes[stage]."""
    at = state.trial
    out = state.slopes[stage]
    line = state.budget[row]
    a, b, c, d = at[6], at[7], at[8], at[9]
    wx, wy, wz = at[10], at[11], at[12]
    fx, fy, fz, tx, ty, tz = forces(state, params, row, time, dt)
    east, north, up = to_earth(a, b, c, d, fx, fy, fz)
    ex, ey, ez = to_earth(a, b, c, d, 1.0, 0.0, 0.0)
    out[0] = at[3] + line[SHIFT] * ex
    out[1] = at[4] + line[SHIFT] * ey
    out[2] = at[5] + line[SHIFT] * ez
    if state.mode == _RAIL:
        # only the motion along the axis is left
        along = fx / line[MASS] - params.gravity * ez
        out[3] = along * ex
        out[4] = along * ey
        out[5] = along * ez
        for i in range(6, 13):
            out[i] = 0.0
        return
    out[3] = east / line[MASS]
    out[4] = north / line[MASS]
    out[5] = up / line[MASS] - params.gravity
    out[6] = -0.5 * (b * wx + c * wy + d * wz)
    out[7] = 0.5 * (a * wx + c * wz - d * wy)
    out[8] = 0.5 * (a * wy + d * wx - b * wz)
    out[9] = 0.5 * (a * wz + b * wy - c * wx)
    ix, iy, iz = line[INERTIA], line[INERTIA + 1], line[INERTIA + 2]
    out[10] = (tx - (iz - iy) * wy * wz) / ix
    out[11] = (ty - (ix - iz) * wz * wx) / iy
    out[12] = (tz - (iy - ix) * wx * wy) / iz


@compiled()
def advance(state: Record, params: Record, time: float, dt: float) -> None:
    """One Runge-Kutta step of body 0; state.before keeps where it came from.

    The masses and the thrust at its start are in state.budget already.
    """
    _keep_before(state)
    budget_ahead(state, params, dt)
    for stage in range(4):
        row = (stage + 1) // 2
        if stage > 0:
            set_trial(state, stage - 1, 0.5 * row * dt)
        _slope(state, params, stage, row, time + 0.5 * row * dt, dt)
    for i in range(13):
        state.trial[i] = state.before[i] + dt / 6.0 * (
            state.slopes[0, i]
            + 2.0 * (state.slopes[1, i] + state.slopes[2, i])
            + state.slopes[3, i]
        )
    at = state.trial
    norm = math.sqrt(at[6] * at[6] + at[7] * at[7] + at[8] * at[8] + at[9] * at[9])
    for i in range(3):
        state.position[i] = at[i]
        state.velocity[i] = at[3 + i]
        state.rates[i] = at[10 + i]
    for i in range(4):
        state.attitude[i] = at[6 + i] / norm


@compiled()
def part1_mass(state: Record, params: Record) -> tuple[float, float]:
    """Mass (kg) of body 1 with what propellant it has left, and its thrust (N) now."""
    mass = params.part_mass[1]
    thrust = 0.0
    for m in range(params.motors):
        if takes_part(state, params, m, BODY1):
            share = 1.0
            if params.motor_impulse[m] > 0.0:
                share = max(1.0 - state.motor_used[m] / params.motor_impulse[m], 0.0)
            mass += share * params.motor_propellant[m]
            if burns(state, m):
                push, _ = burn(params, m, state.motor_clock[m])
                thrust += push * state.motor_factor[m]
    return mass, thrust


@compiled()
def advance_part1(state: Record, params: Record, time: float, dt: float) -> None:
    """One midpoint step of body 1, a point mass under gravity, drag, thrust and its parachutes.

    It tumbles, so its own drag area is what the stack shows sideways beyond the stage alone;
    thrust that is left pushes it along its way through the air.
    """
    mass, thrust = part1_mass(state, params)
    state.part1_mass = mass
    area = max(params.aero_side[0] - params.aero_side[1], 0.0)
    for i in range(params.parachutes):
        if params.parachute_body[i] == 1:
            area += params.parachute_area[i] * opened_fraction(state, params, i)
    x, y, z = state.part1_position[0], state.part1_position[1], state.part1_position[2]
    ve, vn, vu = state.part1_velocity[0], state.part1_velocity[1], state.part1_velocity[2]
    me, mn, mu = ve, vn, vu
    height = z
    ae = an = au = 0.0
    for half in range(2):
        _, density = air(params, height)
        we, wn, wu = wind(params, height, time + 0.5 * half * dt)
        re = me - we - state.stirred[0]
        rn = mn - wn - state.stirred[1]
        ru = mu - wu - state.stirred[2]
        speed = math.sqrt(re * re + rn * rn + ru * ru)
        # as for body 0: never more drag than the step can follow
        factor = -0.5 * min(density * area * speed / mass, 1.0 / dt)
        if speed > 0.0:
            factor += thrust / (mass * speed)
        ae = factor * re
        an = factor * rn
        au = factor * ru - params.gravity
        if half == 0:
            height = z + 0.5 * dt * vu
            me = ve + 0.5 * dt * ae
            mn = vn + 0.5 * dt * an
            mu = vu + 0.5 * dt * au
    state.part1_position[0] = x + dt * me
    state.part1_position[1] = y + dt * mn
    state.part1_position[2] = z + dt * mu
    state.part1_velocity[0] = ve + dt * ae
    state.part1_velocity[1] = vn + dt * an
    state.part1_velocity[2] = vu + dt * au
    if state.part1_position[2] <= 0.0:
        state.part1_position[2] = 0.0
        state.part1_down = 1
        for i in range(3):
            state.part1_velocity[i] = 0.0
