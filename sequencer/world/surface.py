"""The ground: pad, hold-down, rail, touchdown, and what stands near the pad."""

from __future__ import annotations

import math
from typing import Final

from sequencer.world.forces import (
    ANY_TARGET,
    AT_END,
    AT_START,
    CENTRE,
    MASS,
    budget,
    forces,
    joined,
    servo_sum,
    tail_station,
)
from sequencer.world.jit import Record, compiled, plain
from sequencer.world.layout import FaultKind, Mode, ServoRole
from sequencer.world.motion import advance
from sequencer.world.rotation import pad_attitude, to_earth
from sequencer.world.taps import fault_at

__all__ = ["let_go", "lowest", "move_body0", "place_on_pad", "see_obstacles", "stand"]

_CLAMPED: Final = plain(Mode.CLAMPED)
_RAIL: Final = plain(Mode.RAIL)
_FREE: Final = plain(Mode.FREE)
_DOWN: Final = plain(Mode.DOWN)
_LEGS: Final = plain(ServoRole.LEGS)
_HOLD_DOWN_STUCK: Final = plain(FaultKind.HOLD_DOWN_STUCK)
_PAD: Final = plain(0)  # there is but one
#: how far the vehicle must have moved before it counts as lifted off, m
_LIFTED: Final = 0.05
#: how high it must have been before a fall counts as apogee, m
_APOGEE: Final = 2.0


@compiled()
def place_on_pad(state: Record, params: Record) -> None:
    """Stand body 0 at rest with its tail on the ground at the origin, along the rail."""
    budget(state, params, AT_START, 0.0)
    a, b, c, d = pad_attitude(params.rail_tilt, params.rail_azimuth)
    ex, ey, ez = to_earth(a, b, c, d, 1.0, 0.0, 0.0)
    up = tail_station(state, params) - state.budget[AT_START, CENTRE]
    axis = (ex, ey, ez)
    attitude = (a, b, c, d)
    for i in range(3):
        state.position[i] = up * axis[i]
        state.velocity[i] = 0.0
        state.rates[i] = 0.0
    for i in range(4):
        state.attitude[i] = attitude[i]


@compiled()
def lowest(state: Record, params: Record, centre: float, legs: float) -> float:
    """Height of the lower of nose and tail above the ground, m.

    centre  station of the centre of mass
    legs    how far the feet reach below the tail, m
    """
    rise = 2.0 * (state.attitude[1] * state.attitude[3] - state.attitude[0] * state.attitude[2])
    nose = centre * rise
    tail = (centre - tail_station(state, params) - legs) * rise
    return float(state.position[2] + min(nose, tail))


@compiled()
def stand(state: Record, params: Record, time: float, dt: float) -> None:
    """Body 0 stands on the pad as its masses are now; note the force there.

    The force is thrust and wind along the axis less weight: positive when the vehicle pulls.
    """
    place_on_pad(state, params)
    for i in range(3):
        state.trial[i] = state.position[i]
        state.trial[3 + i] = 0.0
        state.trial[10 + i] = 0.0
    for i in range(4):
        state.trial[6 + i] = state.attitude[i]
    fx, _, _, _, _, _ = forces(state, params, AT_START, time, dt)
    weight = state.budget[AT_START, MASS] * params.gravity
    state.hold_down_force = fx - weight * math.cos(params.rail_tilt)


@compiled()
def let_go(state: Record, params: Record, commands: Record) -> None:
    """Open the hold-down once that has been ordered, unless it is stuck."""
    if state.release_ordered != 0 and not fault_at(params, commands, _HOLD_DOWN_STUCK, _PAD):
        state.released = 1


@compiled()
def move_body0(state: Record, params: Record, time: float, dt: float) -> None:
    """Advance body 0 by one integration step, whatever holds it."""
    if state.mode == _DOWN:
        return
    if state.mode == _CLAMPED:
        stand(state, params, time, dt)
        if state.released == 0 or state.hold_down_force <= 0.0:
            return
        state.mode = _RAIL if params.rail_length > 0.0 else _FREE
    else:
        budget(state, params, AT_START, 0.0)
    state.hold_down_force = 0.0
    legs = params.leg_length * min(max(servo_sum(state, params, _LEGS, ANY_TARGET), 0.0), 1.0)
    if joined(state, params):
        legs = 0.0
    if state.mode == _RAIL:
        advance(state, params, time, dt)
        _slide(state, params)
        return
    was = lowest(state, params, state.budget[AT_START, CENTRE], legs)
    advance(state, params, time, dt)
    low = lowest(state, params, state.budget[AT_END, CENTRE], legs)
    if low <= 0.0:
        _meet_ground(state, was, low)
    _note_heights(state, params)


@compiled()
def _slide(state: Record, params: Record) -> None:
    """Count the travel along the rail; leave it at its end, or meet the ground at its foot."""
    ex, ey, ez = to_earth(
        state.attitude[0],
        state.attitude[1],
        state.attitude[2],
        state.attitude[3],
        1.0,
        0.0,
        0.0,
    )
    axis = (ex, ey, ez)
    # of the airframe: without the way that the centre of mass has moved in it
    travel = state.budget[AT_END, CENTRE] - state.budget[AT_START, CENTRE]
    for i in range(3):
        travel += (state.position[i] - state.before[i]) * axis[i]
    was = state.rail_travel
    state.rail_travel += travel
    if state.rail_travel < 0.0:
        _meet_ground(state, was, state.rail_travel)
        state.rail_travel = 0.0
    elif state.rail_travel >= params.rail_length:
        state.mode = _FREE
    if state.rail_travel > _LIFTED:
        state.lifted = 1
    _note_heights(state, params)


@compiled()
def _note_heights(state: Record, params: Record) -> None:
    """Keep the greatest height; see lift-off and apogee."""
    height = lowest(state, params, state.budget[AT_END, CENTRE], 0.0)
    state.highest = max(state.highest, height)
    if height > _LIFTED and state.mode == _FREE:
        state.lifted = 1
    if state.lifted != 0 and state.highest >= _APOGEE and state.velocity[2] <= 0.0:
        state.apogee = 1


@compiled()
def _meet_ground(state: Record, was: float, low: float) -> None:
    """The lowest point has passed the ground within the step: stand again, or touch down.

    The moment of contact is found by a straight line between the heights before and after; all
    that is noted about the touchdown is taken there.
    """
    if state.lifted == 0:
        state.mode = _CLAMPED
        for i in range(3):
            state.velocity[i] = 0.0
            state.rates[i] = 0.0
        return
    share = 1.0
    if was > low:
        share = min(max(was / (was - low), 0.0), 1.0)
    for i in range(13):
        state.trial[i] = state.before[i] + share * (state.trial[i] - state.before[i])
    at = state.trial
    norm = math.sqrt(at[6] * at[6] + at[7] * at[7] + at[8] * at[8] + at[9] * at[9])
    for i in range(3):
        state.position[i] = at[i]
        state.velocity[i] = 0.0
        state.rates[i] = 0.0
    for i in range(4):
        state.attitude[i] = at[6 + i] / norm
    state.mode = _DOWN
    state.down = 1
    state.down_speed = -at[5]
    state.down_sideways = math.sqrt(at[3] * at[3] + at[4] * at[4])
    state.down_cosine = 2.0 * (
        state.attitude[1] * state.attitude[3] - state.attitude[0] * state.attitude[2]
    )
    state.down_rate = math.sqrt(at[11] * at[11] + at[12] * at[12])
    state.down_east = at[0]
    state.down_north = at[1]
    state.down_tick = state.tick + 1  # what happens in a step counts at its end


@compiled()
def see_obstacles(state: Record, params: Record) -> None:
    """Note whether nose, tail or centre of mass of body 0 is inside an obstacle."""
    a, b, c, d = state.attitude[0], state.attitude[1], state.attitude[2], state.attitude[3]
    ex, ey, ez = to_earth(a, b, c, d, 1.0, 0.0, 0.0)
    centre = state.budget[AT_START, CENTRE]
    for i in range(params.obstacles):
        for point in range(3):
            x = 0.0
            if point == 1:
                x = centre
            elif point == 2:
                x = centre - tail_station(state, params)
            east = state.position[0] + x * ex - params.obstacle_east[i]
            north = state.position[1] + x * ey - params.obstacle_north[i]
            radius = params.obstacle_radius[i]
            if (
                east * east + north * north <= radius * radius
                and state.position[2] + x * ez <= params.obstacle_height[i]
            ):
                state.hit_obstacle = 1
