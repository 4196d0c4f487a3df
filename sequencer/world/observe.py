"""The truth about the present moment, for records, checks and the sensors."""

from __future__ import annotations

import math
from typing import Final

from sequencer.world.air import air, wind
from sequencer.world.forces import (
    AT_START,
    CENTRE,
    MASS,
    budget,
    forces,
    opened_fraction,
    set_shape,
)
from sequencer.world.jit import Record, compiled, plain
from sequencer.world.layout import Mode
from sequencer.world.motors import BODY0, BURST, burn, burns, takes_part
from sequencer.world.rotation import to_body
from sequencer.world.surface import lowest, see_obstacles, stand
from sequencer.world.turbulence import gusts_at

__all__ = ["observe"]

_CLAMPED: Final = plain(Mode.CLAMPED)
_RAIL: Final = plain(Mode.RAIL)
_FREE: Final = plain(Mode.FREE)


@compiled()
def _specific_force(state: Record, params: Record, time: float, dt: float) -> None:
    """What an accelerometer at the centre of mass feels, body axes, m/s2.

    At rest that is the pad's or the ground's push against gravity; on the rail the rail's push
    stands in for what the axis does not allow.
    """
    a, b, c, d = state.attitude[0], state.attitude[1], state.attitude[2], state.attitude[3]
    gx, gy, gz = to_body(a, b, c, d, 0.0, 0.0, params.gravity)
    if state.mode in (_FREE, _RAIL):
        for i in range(3):
            state.trial[i] = state.position[i]
            state.trial[3 + i] = state.velocity[i]
            state.trial[10 + i] = state.rates[i]
        for i in range(4):
            state.trial[6 + i] = state.attitude[i]
        fx, fy, fz, _, _, _ = forces(state, params, AT_START, time, dt)
        mass = state.budget[AT_START, MASS]
        gx = fx / mass
        if state.mode == _FREE:
            gy = fy / mass
            gz = fz / mass
    state.specific_force[0] = gx
    state.specific_force[1] = gy
    state.specific_force[2] = gz


@compiled()
def _facts(state: Record, params: Record, out: Record) -> None:
    """What has happened so far."""
    out.released = state.released
    out.lifted = state.lifted
    out.separated = state.separated
    out.apogee = state.apogee
    out.down = state.down
    out.part1_down = state.part1_down
    out.hit_obstacle = state.hit_obstacle
    for m in range(params.motors):
        out.burning[m] = 1 if burns(state, m) else 0
        out.burst[m] = 1 if state.lit[m] == BURST else 0
        out.burnt[m] = 1 if state.lit[m] == 3 else 0
        out.ejected[m] = state.ejected[m]
    for i in range(params.parachutes):
        opened = opened_fraction(state, params, i)
        out.parachute[i] = opened
        out.deployed[i] = 1 if state.parachute_clock[i] >= 0.0 else 0
        out.opened[i] = 1 if opened >= 1.0 else 0
    for i in range(params.loads):
        out.spent[i] = state.load_spent[i]
    for i in range(params.batteries):
        out.powerless[i] = state.powerless[i]


@compiled()
def observe(state: Record, params: Record, out: Record, time: float, dt: float) -> None:
    """Fill `out` but for the sensors, from the state at `time` s."""
    set_shape(state, params)
    if state.mode == _CLAMPED:
        stand(state, params, time, dt)  # propellant burnt on the pad moves the centre of mass
    else:
        budget(state, params, AT_START, 0.0)
    see_obstacles(state, params)
    _specific_force(state, params, time, dt)
    _facts(state, params, out)
    for i in range(3):
        out.position[i] = state.position[i]
        out.velocity[i] = state.velocity[i]
        out.rates[i] = state.rates[i]
        out.specific_force[i] = state.specific_force[i]
        out.part1_position[i] = state.part1_position[i]
        out.part1_velocity[i] = state.part1_velocity[i]
    for i in range(4):
        out.attitude[i] = state.attitude[i]
    out.mass = state.budget[AT_START, MASS]
    out.centre_of_mass = state.budget[AT_START, CENTRE]
    out.height = lowest(state, params, out.centre_of_mass, 0.0)
    out.vertical_speed = state.velocity[2]
    a, b, c, d = state.attitude[0], state.attitude[1], state.attitude[2], state.attitude[3]
    out.tilt_cosine = 2.0 * (b * d - a * c)

    east, north, up = wind(params, state.position[2], time)
    east += state.stirred[0]
    north += state.stirred[1]
    up += state.stirred[2]
    out.wind[0] = east
    out.wind[1] = north
    out.wind[2] = up
    vx, vy, vz = to_body(
        a, b, c, d, state.velocity[0] - east, state.velocity[1] - north, state.velocity[2] - up
    )
    across = math.sqrt(vy * vy + vz * vz)
    _, density = air(params, state.position[2])
    out.airspeed = math.sqrt(vx * vx + across * across)
    state.airspeed = out.airspeed
    out.angle_of_attack = math.atan2(across, vx)
    out.dynamic_pressure = 0.5 * density * out.airspeed * out.airspeed
    east, north, _ = wind(params, params.mast_height, time)
    stirred_east, stirred_north, _ = gusts_at(state, params, params.mast_height)
    out.wind_mast = math.sqrt((east + stirred_east) ** 2 + (north + stirred_north) ** 2)

    total = 0.0
    for m in range(params.motors):
        thrust = 0.0
        if burns(state, m):
            thrust, _ = burn(params, m, state.motor_clock[m])
            thrust *= state.motor_factor[m]
        out.thrust[m] = thrust
        if takes_part(state, params, m, BODY0):
            total += thrust
    out.thrust_total = total
    for i in range(params.servos):
        out.servo[i] = state.servo[i]
    out.hold_down_force = state.hold_down_force
    for i in range(params.loads):
        out.load_current[i] = state.load_peak[i]
    for i in range(params.batteries):
        out.battery[i] = state.battery_volts[i]
        out.battery_least[i] = state.battery_least[i]
        out.battery_current[i] = state.battery_peak[i]

    out.distance = math.nan
    if state.separated != 0:
        gap = 0.0
        for i in range(3):
            gap += (state.position[i] - state.part1_position[i]) ** 2
        out.distance = math.sqrt(gap)
        state.least_distance = min(state.least_distance, out.distance)
