"""The loop of `sequencer.flight.loop` in machine code: one whole flight in one call.

Importing this module compiles it, or loads what `sequencer.flight.batch.jit.prepare` compiled
before.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numba.core import types
from numpy.typing import NDArray

from sequencer.flight.batch.clocks import set_speed
from sequencer.flight.batch.computers import begin_computer, cut_power, restart, sense, turn
from sequencer.flight.batch.jit import compiled, plain
from sequencer.flight.batch.layout import (
    NONE,
    Computer,
    Cpu,
    Crew,
    Fact,
    Fault,
    FaultDoes,
    Flight,
    Head,
    Label,
    MomentState,
    Plan,
    Real,
    Scalar,
)
from sequencer.flight.batch.moments import active
from sequencer.flight.batch.notes import note, note_facts, word
from sequencer.world.layout import COMMANDS, OUT

__all__ = ["fly_whole"]

_NONE: Final = plain(NONE)
_STOP: Final = plain(Scalar.STOP)
_AFTER_DOWN: Final = plain(Scalar.AFTER_DOWN)
_PARTED_LABEL: Final = plain(Scalar.PARTED_LABEL)
_OVER_LABEL: Final = plain(Scalar.OVER_LABEL)
_PARTS_AT: Final = plain(Real.PARTS_AT)
_TICK: Final = plain(Head.TICK)
_PARTED: Final = plain(Head.PARTED)
_DOWN_TICK: Final = plain(Head.DOWN_TICK)
_POWER: Final = plain(Computer.POWER)
_NOMINAL: Final = plain(Computer.SPEED)
_COUNT: Final = plain(Cpu.COUNT)
_SPEED: Final = plain(Cpu.SPEED)
_FALLS_ON: Final = plain(Cpu.FALLS_ON)
_STATE: Final = plain(Cpu.STATE)
_BOOTS_AT: Final = plain(Cpu.BOOTS_AT)
_BROWN: Final = plain(Cpu.BROWN)
_BROWN_OUT: Final = plain(Label.BROWN_OUT)
_SWITCH: Final = plain(Crew.SWITCH)
_ON: Final = plain(Crew.ON)
_CREW_LABEL: Final = plain(Crew.LABEL)
_DOES: Final = plain(Fault.DOES)
_PLACE: Final = plain(Fault.PLACE)
_SIZE: Final = plain(Fault.SIZE)
_BEGUN_LABEL: Final = plain(Fault.BEGUN_LABEL)
_ENDED_LABEL: Final = plain(Fault.ENDED_LABEL)
_WORLD: Final = plain(FaultDoes.WORLD)
_REBOOT: Final = plain(FaultDoes.REBOOT)
_STALL: Final = plain(FaultDoes.STALL)
_DRIFT: Final = plain(FaultDoes.DRIFT)
_BEGINS: Final = plain(MomentState.BEGINS)
_BEFORE: Final = plain(MomentState.ENDINGS_BEFORE)
_WORD: Final = plain(Fact.WORD)
_ENTRIES: Final = plain(Fact.COUNT)
_WAS_AT: Final = plain(Fact.WAS_AT)
_SWITCHES: Final = word(COMMANDS, "switch")
_FAULTS: Final = word(COMMANDS, "fault")
_HEIGHT: Final = word(OUT, "height")
_POWERLESS: Final = word(OUT, "powerless")
_LEAST: Final = word(OUT, "battery_least")

#: a plain 0 would have everything compiled anew for that alone
_FIRST: Final = plain(0)
_BYTES: Final = types.uint8[::1]
_INT: Final = types.int64[::1]
_INTS: Final = types.int64[:, ::1]
_REAL: Final = types.float64[::1]
_TRUTH: Final = types.boolean[::1]
_STEP: Final = types.FunctionType(types.void(_BYTES, _BYTES, _BYTES, _BYTES))
_RUN: Final = types.FunctionType(
    types.void(_INT, _REAL, _REAL, _INT, _INTS, types.int64, _REAL, _TRUTH)
)
_NAMED: Any = types.NamedTuple  # it has no annotations
_PLAN: Final = _NAMED(
    (
        *(_INT, _REAL, _INT, _INT, _REAL, _REAL),
        *(_INTS, _INTS, _INTS, _INTS, _REAL, _INTS, _INTS, _INTS, _INT),
    ),
    Plan,
)
_FLIGHT: Final = _NAMED(
    (
        *(_INT, _INT, _INTS, _REAL, _INTS, types.int64[:, :, ::1]),
        *(_REAL, _REAL, _TRUTH, _INT, _REAL, _INT, _INTS),
        *(_INTS, types.int64[:, :, ::1], types.float64[:, :, ::1]),
        *(_INTS, _INT, _INT, _INT, _INT),
        *(_INT, _REAL, _INT, _REAL),
    ),
    Flight,
)


@compiled(inline=True)
def _begin(plan: Plan, flight: Flight) -> None:
    """A flight's memory is all zeros when it is given."""
    flight.head[_DOWN_TICK] = _NONE
    for moment in range(plan.moments.shape[0]):
        flight.moment[moment, _BEGINS] = _NONE
        flight.moment[moment, _BEFORE] = _NONE
    for box in range(plan.boxes.shape[0]):
        flight.box[box, 1] = -1
        flight.box[box, 2] = -1
    for row in range(plan.facts.shape[0]):
        for i in range(plan.facts[row, _ENTRIES]):
            now = flight.out_ints[plan.facts[row, _WORD] + i]
            flight.was[plan.facts[row, _WAS_AT] + i] = now
    for computer in range(plan.computers.shape[0]):
        flight.cpu[computer, _SPEED] = plan.computers[computer, _NOMINAL]
        flight.cpu[computer, _STATE] = _NONE
        flight.cpu[computer, _BOOTS_AT] = _NONE
        begin_computer(plan, flight, computer)
        sense(plan, flight, computer)


@compiled()
def _drift(plan: Plan, flight: Flight, computer: int, tick: int) -> None:
    """Its clock takes the speed that all its drifts come to."""
    speed = plan.computers[computer, _NOMINAL]
    for fault in range(plan.faults.shape[0]):
        row = plan.faults[fault]
        if row[_DOES] == _DRIFT and row[_PLACE] == computer and flight.fault_on[fault] != 0:
            speed += row[_SIZE]
    set_speed(flight.cpu, computer, speed, tick)


@compiled()
def _change(plan: Plan, flight: Flight, fault: int, tick: int) -> None:
    """A fault sets in or goes away."""
    row = plan.faults[fault]
    on = 1 - flight.fault_on[fault]
    flight.fault_on[fault] = on
    note(plan, flight, row[_BEGUN_LABEL] if on != 0 else row[_ENDED_LABEL], _NONE, 0.0)
    if on != 0:
        flight.fault_began[fault] = tick
    place = row[_PLACE]
    does = row[_DOES]
    if does == _WORLD:
        flight.command_ints[_FAULTS + place] = on
    elif does == _REBOOT:
        if on != 0:
            cut_power(plan, flight, place)
        else:
            restart(plan, flight, place)
    elif does == _STALL:
        # the first reason is the logger's own
        flight.stalls[place, fault + 1, 0] = row[_SIZE] if on != 0 else 0
        flight.stalls[place, fault + 1, 1] = flight.cpu[place, _COUNT]
    elif does == _DRIFT:
        _drift(plan, flight, place, tick)


@compiled(inline=True)
def _apply(plan: Plan, flight: Flight, tick: int) -> None:
    """Begin and end what is due on this tick: crew, then faults."""
    crew = plan.crew.shape[0]
    for action in range(crew):
        if flight.crew_done[action] == 0 and active(plan, flight, action, tick):
            flight.crew_done[action] = 1
            row = plan.crew[action]
            flight.command_ints[_SWITCHES + row[_SWITCH]] = row[_ON]
            note(plan, flight, row[_CREW_LABEL], _NONE, 0.0)
    for fault in range(plan.faults.shape[0]):
        if active(plan, flight, crew + fault, tick) != (flight.fault_on[fault] != 0):
            _change(plan, flight, fault, tick)


@compiled(inline=True)
def _follow_power(plan: Plan, flight: Flight) -> None:
    """Cut and give back power as it stands at the end of this tick."""
    for computer in range(plan.computers.shape[0]):
        power = plan.computers[computer, _POWER]
        if power == _NONE:
            continue
        down = flight.out_ints[_POWERLESS + power] != 0
        if down == (flight.cpu[computer, _BROWN] != 0):
            continue
        if down:
            flight.cpu[computer, _BROWN] = 1
            least = flight.out_reals[_LEAST + power]
            note(plan, flight, plan.labels[computer, _BROWN_OUT], _NONE, least)
            cut_power(plan, flight, computer)
        else:
            flight.cpu[computer, _BROWN] = 0
            restart(plan, flight, computer)


@compiled(inline=True)
def _fly(
    step: Any,  # noqa: ANN401 - pointers to compiled functions
    run: Any,  # noqa: ANN401
    plan: Plan,
    flight: Flight,
    state: NDArray[np.uint8],
    params: NDArray[np.uint8],
    commands: NDArray[np.uint8],
    out: NDArray[np.uint8],
    words: NDArray[np.int64],
    kept: NDArray[np.int64],
) -> int:
    numbers = params.view(np.int64)
    stands_at = flight.out_reals[_HEIGHT]
    _begin(plan, flight)
    tick = _FIRST
    while tick < plan.scalars[_STOP]:
        flight.head[_TICK] = tick
        _apply(plan, flight, tick)
        for computer in range(plan.computers.shape[0]):
            while tick >= flight.cpu[computer, _FALLS_ON]:
                turn(run, plan, flight, numbers, computer, tick)
        for i in range(words.shape[0]):
            kept[i, tick] = flight.out_ints[words[i]]
        step(state, params, commands, out)
        tick += 1
        flight.head[_TICK] = tick
        note_facts(plan, flight)
        _follow_power(plan, flight)
        if (
            flight.head[_PARTED] == 0
            and flight.out_reals[_HEIGHT] - stands_at >= plan.reals[_PARTS_AT]
        ):
            flight.head[_PARTED] = 1
            note(plan, flight, plan.scalars[_PARTED_LABEL], _NONE, 0.0)
        for computer in range(plan.computers.shape[0]):
            sense(plan, flight, computer)
        down = flight.head[_DOWN_TICK]
        if down != _NONE and tick - down >= plan.scalars[_AFTER_DOWN]:
            note(plan, flight, plan.scalars[_OVER_LABEL], _NONE, 0.0)
            break
    return tick


@compiled(
    types.int64(_STEP, _RUN, _PLAN, _FLIGHT, _BYTES, _BYTES, _BYTES, _BYTES, _INT, _INTS),
)
def fly_whole(
    step: Any,  # noqa: ANN401 - as above
    run: Any,  # noqa: ANN401
    plan: Plan,
    flight: Flight,
    state: NDArray[np.uint8],
    params: NDArray[np.uint8],
    commands: NDArray[np.uint8],
    out: NDArray[np.uint8],
    words: NDArray[np.int64],
    kept: NDArray[np.int64],
) -> int:
    """Fly to the end; how many world ticks that was.

    step     `sequencer.world.kernel.step_bytes`
    run      `sequencer.execute.interpret.tick`
    flight   all zeros but for the world's own, which stands on its pad at tick 0
    state, params, commands, out    the memory of the world
    words    of OUT that are kept, shape (words,)
    kept     gets them as whole numbers, one column per tick, shape (words, at least STOP)
    """
    return int(_fly(step, run, plan, flight, state, params, commands, out, words, kept))
