"""The physics kernel: one signature each, compiled once per version, called once per world tick.

Importing this module compiles it, or loads what `sequencer.world.prepare` compiled before.

A tick goes: faults take effect, turbulence moves on, loads that need no heating act; then
`substeps` integration steps, after each of which motors, parachutes, circuits and the joint move
on; then the truth is written to `out` and the sensors that are due answer. So `out` and its sensors
belong to the end of the tick, which is the beginning of the next.
"""

from __future__ import annotations

import math

import numba

from sequencer.world.circuits import heat_loads
from sequencer.world.forces import budget, set_shape
from sequencer.world.jit import Record, compiled
from sequencer.world.layout import COMMANDS, OUT, PARAMS, STATE
from sequencer.world.mechanisms import act, move_servos, part, run_parachutes
from sequencer.world.motion import advance_part1
from sequencer.world.motors import burn_on, set_factors
from sequencer.world.observe import observe
from sequencer.world.sensing import sense
from sequencer.world.surface import move_body0, place_on_pad, see_obstacles
from sequencer.world.turbulence import begin_turbulence, stir

__all__ = ["initialise", "step"]

_ALL = numba.void(*(numba.from_dtype(layout) for layout in (STATE, PARAMS, COMMANDS, OUT)))


@compiled(_ALL)
def initialise(state: Record, params: Record, commands: Record, out: Record) -> None:
    """Put the vehicle on its pad at tick 0, everything cold, packed and at rest.

    `state` must be zeroed; `out` gets the truth and the sensors' first answers.
    """
    state.separation_clock = -1.0
    state.least_distance = math.inf
    state.released = 0 if params.holds_down != 0 else 1
    for i in range(params.parachutes):
        state.parachute_clock[i] = -math.inf
    for i in range(params.servos):
        state.servo[i] = params.servo_start[i]
        state.servo_demand[i] = math.nan
    for i in range(params.sensors):
        state.sensor_value[i] = math.nan
    set_factors(state, params, commands)
    begin_turbulence(state, params)
    budget(state, params, 0, 0.0)
    place_on_pad(state, params)
    stir(state, params, 0.0)
    observe(state, params, commands, out, 0.0, 1.0 / params.rate_hz)
    sense(state, params, commands, out)


@compiled(_ALL)
def step(state: Record, params: Record, commands: Record, out: Record) -> None:
    """Advance the flight by one world tick; see the module's description."""
    set_factors(state, params, commands)
    stir(state, params, 1.0 / params.rate_hz)
    dt = 1.0 / (params.rate_hz * params.substeps)
    heat_loads(state, params, commands, 0.0)
    part(state, params, commands, 0.0)
    for n in range(params.substeps):
        time = (state.tick * params.substeps + n) * dt
        move_servos(state, params, commands, dt)
        set_shape(state, params)
        move_body0(state, params, commands, time, dt)
        if state.separated != 0 and state.part1_down == 0:
            advance_part1(state, params, time, dt)
        for m in range(params.motors):
            if burn_on(state, params, m, dt):
                act(
                    state,
                    params,
                    commands,
                    params.motor_eject_kind[m],
                    params.motor_eject_target[m],
                )
        run_parachutes(state, params, commands, dt)
        heat_loads(state, params, commands, dt)
        part(state, params, commands, dt)
    state.tick += 1
    observe(state, params, commands, out, state.tick / params.rate_hz, dt)
    see_obstacles(state, params)
    out.hit_obstacle = state.hit_obstacle
    sense(state, params, commands, out)
