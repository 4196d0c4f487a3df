"""The physics kernel: one signature each, compiled once per version, called once per world tick.

Importing this module compiles it, or loads what `sequencer.world.prepare` compiled before.

A tick goes: faults take effect, turbulence moves on, loads that need no heating act; then
`substeps` integration steps, after each of which motors, parachutes, circuits and the joint move
on; then the truth is written to `out` and the sensors that are due answer. So `out` and its sensors
belong to the end of the tick, which is the beginning of the next.

Recorded answers can stand in place of the world: then a tick has nothing but the faults of sensors.
"""

from __future__ import annotations

import math

import numba
import numpy as np
from numpy.typing import NDArray

from sequencer.world.answers import answer, begin_answers
from sequencer.world.circuits import begin_circuits, run_circuits, start_circuits
from sequencer.world.forces import set_shape
from sequencer.world.jit import Record, compiled
from sequencer.world.layout import COMMANDS, NOT_BEGUN, OUT, PARAMS, STATE
from sequencer.world.mechanisms import (
    burn_motors,
    burst_motors,
    move_servos,
    part,
    run_parachutes,
)
from sequencer.world.motion import advance_part1
from sequencer.world.motors import set_factors
from sequencer.world.observe import observe
from sequencer.world.sensing import begin_sensing, measure
from sequencer.world.surface import let_go, move_body0, place_on_pad
from sequencer.world.turbulence import begin_turbulence, stir

__all__ = ["play_bytes", "step", "step_bytes"]

#: numba takes ten times as long to recognise a record of this size as a step needs, so Python
#: hands over the records' bytes
_BYTES = numba.uint8[::1]
_FOUR = numba.void(_BYTES, _BYTES, _BYTES, _BYTES)
_FOUR_AND_ANSWERS = numba.void(_BYTES, _BYTES, _BYTES, _BYTES, numba.float64[::1], numba.int64[::1])


@compiled()
def _begin(state: Record, params: Record, commands: Record) -> None:
    """Put the vehicle on its pad at tick 0, everything cold, packed and at rest."""
    state.tick = 0
    state.separation_clock = -1.0
    state.least_distance = math.inf
    state.released = 0 if params.holds_down != 0 else 1
    for i in range(params.parachutes):
        state.parachute_clock[i] = -math.inf
    for i in range(params.servos):
        state.servo[i] = params.servo_start[i]
        state.servo_demand[i] = math.nan
    begin_answers(state, params)
    begin_sensing(state, params)
    start_circuits(state, params)
    set_factors(state, params, commands)
    begin_turbulence(state, params)
    set_shape(state, params)
    place_on_pad(state, params)


@compiled()
def _advance(state: Record, params: Record, commands: Record, dt: float) -> None:
    """Move the world on by one tick in steps of dt."""
    set_factors(state, params, commands)
    stir(state, params, 1.0 / params.rate_hz)
    for n in range(-1, params.substeps):
        if n >= 0:
            time = (state.tick * params.substeps + n) * dt
            # the body sees its servos where they are half-way: second order in dt
            move_servos(state, params, commands, 0.5 * dt)
            set_shape(state, params)
            move_body0(state, params, time, dt)
            move_servos(state, params, commands, 0.5 * dt)
            if state.separated != 0 and state.part1_down == 0:
                advance_part1(state, params, time, dt)
            burn_motors(state, params, commands, dt)
            run_parachutes(state, params, commands, dt)
        # before the first step too: what needs no heating acts at once
        gone = dt if n >= 0 else 0.0
        run_circuits(state, params, commands, gone)
        let_go(state, params, commands)
        part(state, params, commands, gone)
        burst_motors(state, params, commands)
    state.tick += 1


@compiled()
def step(state: Record, params: Record, commands: Record, out: Record) -> None:
    """Advance the flight by one world tick; see the module's description.

    A zeroed state with tick NOT_BEGUN is put on its pad instead, at tick 0, and `out` gets the
    truth and the sensors' first answers.
    """
    dt = 1.0 / (params.rate_hz * params.substeps)
    begun = state.tick != NOT_BEGUN
    if not begun:
        _begin(state, params, commands)
    begin_circuits(state, params, commands)
    if begun:
        _advance(state, params, commands, dt)
    observe(state, params, out, state.tick / params.rate_hz, dt)
    measure(state, params, commands, out)
    answer(state, params, commands, out)


@compiled(_FOUR)
def step_bytes(
    state: NDArray[np.uint8],
    params: NDArray[np.uint8],
    commands: NDArray[np.uint8],
    out: NDArray[np.uint8],
) -> None:
    """`step` for callers from Python: the memory of one record each."""
    step(state.view(STATE)[0], params.view(PARAMS)[0], commands.view(COMMANDS)[0], out.view(OUT)[0])


@compiled(_FOUR_AND_ANSWERS)
def play_bytes(
    state: NDArray[np.uint8],
    params: NDArray[np.uint8],
    commands: NDArray[np.uint8],
    out: NDArray[np.uint8],
    values: NDArray[np.float64],
    fresh: NDArray[np.int64],
) -> None:
    """Advance by one tick in which the sensors that are fresh measured these values.

    values, fresh    shape (SENSORS,), in the units of the world

    A zeroed state with tick NOT_BEGUN begins at tick 0. Of `out` only value and fresh are written.
    """
    now = state.view(STATE)[0]
    sensors = params.view(PARAMS)[0]
    if now.tick == NOT_BEGUN:
        begin_answers(now, sensors)
    now.tick += 1
    for i in range(sensors.sensors):
        now.measured[i] = values[i]
        now.measured_fresh[i] = fresh[i]
    answer(now, sensors, commands.view(COMMANDS)[0], out.view(OUT)[0])
