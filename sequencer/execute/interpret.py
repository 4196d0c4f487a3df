"""One tick of any sequence, from its tables: the five steps of docs/semantics.md in machine code.

Nothing is compiled anew when a sequence changes. Importing this module compiles it, or loads what
`sequencer.execute.jit.prepare` compiled before.
"""

from __future__ import annotations

from typing import Final

import numba
import numpy as np
from numpy.typing import NDArray

from sequencer.execute.estimating import ask_loop, estimate
from sequencer.execute.evaluating import BAD, Code, Numbers, evaluate, holds, is_finite
from sequencer.execute.jit import compiled, plain
from sequencer.execute.layout import (
    CELL_WIDTH,
    CLOCK,
    COMMAND_WIDTH,
    ENTERED,
    ESTIMATE_WIDTH,
    EXIT_WIDTH,
    INPUT_WIDTH,
    LOOP_WIDTH,
    NONE,
    PULSE_WIDTH,
    STARTED,
    STATE,
    STATE_WIDTH,
    CommandKind,
    EstimateRow,
    EventKind,
    ExitRow,
    Head,
    LoopRow,
    PulseRow,
    StateRow,
)
from sequencer.execute.pointers import pointer

__all__ = ["tick"]

Events = NDArray[np.int64]
Queue = NDArray[np.int64]
Fresh = NDArray[np.uint8]

_NONE: Final = plain(NONE)
_CELL: Final = plain(CELL_WIDTH)
_COMMAND: Final = plain(COMMAND_WIDTH)
_PULSE: Final = plain(PULSE_WIDTH)
_STATE_ROW: Final = plain(STATE_WIDTH)
_EXIT_ROW: Final = plain(EXIT_WIDTH)
_LOOP_ROW: Final = plain(LOOP_WIDTH)
_ESTIMATE_ROW: Final = plain(ESTIMATE_WIDTH)
_INPUT_ROW: Final = plain(INPUT_WIDTH)

_RATE_HZ: Final = plain(Head.RATE_HZ)
_INPUTS: Final = plain(Head.INPUTS)
_INPUTS_AT: Final = plain(Head.INPUTS_AT)
_ESTIMATES: Final = plain(Head.ESTIMATES)
_ESTIMATES_AT: Final = plain(Head.ESTIMATES_AT)
_STATES_AT: Final = plain(Head.STATES_AT)
_EXITS_AT: Final = plain(Head.EXITS_AT)
_PULSES: Final = plain(Head.PULSES)
_PULSES_AT: Final = plain(Head.PULSES_AT)
_SERVOS_AT: Final = plain(Head.SERVOS_AT)
_INHIBITS_AT: Final = plain(Head.INHIBITS_AT)
_LOOPS_AT: Final = plain(Head.LOOPS_AT)
_CELLS: Final = plain(Head.M_CELLS)
_FLAGS: Final = plain(Head.M_FLAGS)
_HEARD: Final = plain(Head.M_HEARD)
_HOLDS: Final = plain(Head.M_HOLDS)
_UNTIL: Final = plain(Head.M_UNTIL)
_DEMAND: Final = plain(Head.M_DEMAND)
_ASKED: Final = plain(Head.M_ASKED)
_COMMANDED: Final = plain(Head.M_COMMANDED)

_ROW_PLACE: Final = plain(EstimateRow.PLACE)
_ROW_GATE: Final = plain(EstimateRow.GATE)
_TO: Final = plain(ExitRow.TO)
_CONDITION: Final = plain(ExitRow.CONDITION)
_NEEDED: Final = plain(ExitRow.NEEDED)
_FRESH: Final = plain(ExitRow.FRESH)
_FRESH_PLACE: Final = plain(ExitRow.FRESH_PLACE)
_COMMON: Final = plain(ExitRow.COMMON)
_LISTS: Final = plain(ExitRow.LISTS)
_ACTIONS: Final = plain(ExitRow.ACTIONS)
_STATE_EXITS: Final = plain(StateRow.EXITS)
_STATE_ENTRY: Final = plain(StateRow.ENTRY)
_STATE_LEAVE: Final = plain(StateRow.LEAVE)
_STATE_LOOPS: Final = plain(StateRow.LOOPS)
_PULSE_INHIBITS: Final = plain(PulseRow.INHIBITS)
_PARACHUTE: Final = plain(PulseRow.PARACHUTE)
_TICKS: Final = plain(PulseRow.TICKS)
_LOOP_REGISTERS: Final = plain(LoopRow.REGISTERS)
_FIRST_SERVO: Final = plain(LoopRow.FIRST_SERVO)
_FIRST_IS_Z: Final = plain(LoopRow.FIRST_IS_Z)

_DO_SET: Final = plain(CommandKind.SET)
_DO_CLEAR: Final = plain(CommandKind.CLEAR)
_DO_CUT: Final = plain(CommandKind.CUT)
_DO_MOVE: Final = plain(CommandKind.MOVE)
_ENTERED: Final = plain(EventKind.ENTERED)
_TOOK: Final = plain(EventKind.TOOK)
_SET: Final = plain(EventKind.SET)
_CLEARED: Final = plain(EventKind.CLEARED)
_ENDED: Final = plain(EventKind.ENDED)
_CUT: Final = plain(EventKind.CUT)
_FIRED: Final = plain(EventKind.FIRED)
_IGNORED: Final = plain(EventKind.IGNORED)
_BLOCKED: Final = plain(EventKind.BLOCKED)
_MOVED: Final = plain(EventKind.MOVED)
_MOVE_BLOCKED: Final = plain(EventKind.MOVE_BLOCKED)


@compiled()
def _report(events: Events, kind: int, about: int, detail: int) -> None:
    """Append an event; the very first number counts them, the first row comes after it."""
    events[0] += 1
    at = 3 * events[0]
    events[at] = kind
    events[at + 1] = about
    events[at + 2] = detail


@compiled()
def _command(
    code: Code, memory: Numbers, queue: Queue, events: Events, at: int, count: int
) -> None:
    """Flags change at once, everything else waits in the queue; queue[0] counts it."""
    for i in range(count):
        row = at + i * _COMMAND
        kind = code[row]
        if kind in (_DO_SET, _DO_CLEAR):
            flag = code[row + 1]
            place = code[_FLAGS] + _CELL * flag
            value = 1.0 if kind == _DO_SET else 0.0
            if memory[place] != value:
                memory[place] = value
                _report(events, _SET if kind == _DO_SET else _CLEARED, flag, _NONE)
        else:
            queue[0] += 1
            queue[queue[0]] = row


@compiled()
def _sample(code: Code, memory: Numbers, values: Numbers, fresh: Fresh) -> None:
    """Step 1: a refreshed value replaces the last one; one that is not finite is bad."""
    row = code[_INPUTS_AT]
    for i in range(code[_INPUTS]):
        if fresh[i] != 0:
            place = code[row]
            value = values[i]
            if is_finite(value):
                if code[row + 1] != 0:
                    value = 1.0 if value != 0.0 else 0.0
                memory[code[_HEARD] + i] = memory[CLOCK]
                memory[place] = value
                memory[place + 1] = 0.0
            else:
                memory[place] = BAD
                memory[place + 1] = 1.0
        row += _INPUT_ROW


@compiled()
def _estimate(code: Code, numbers: Numbers, memory: Numbers, fresh: Fresh) -> None:
    """Step 2: every estimate in its order; a gated one only if its input was refreshed."""
    row = code[_ESTIMATES_AT]
    for _ in range(code[_ESTIMATES]):
        gate = code[row + _ROW_GATE]
        if gate == _NONE or fresh[gate] != 0:
            value, bad = estimate(code, numbers, memory, row)
            place = code[row + _ROW_PLACE]
            memory[place] = value if bad == 0.0 else BAD
            memory[place + 1] = bad
        row += _ESTIMATE_ROW


@compiled()
def _count(code: Code, memory: Numbers, fresh: Fresh, state: int) -> int:
    """Step 3: update the counters of all exits of the state; the exit that fires, or NONE."""
    fires = _NONE
    at = code[state + _STATE_EXITS]
    for i in range(code[state + _STATE_EXITS + 1]):
        way = code[at + i]
        row = code[_EXITS_AT] + way * _EXIT_ROW
        hold = code[_HOLDS] + way
        gate = code[row + _FRESH]
        if gate != _NONE and fresh[gate] == 0:
            continue
        true = holds(code, memory, code[row + _CONDITION])
        if gate != _NONE and memory[code[row + _FRESH_PLACE] + 1] != 0.0:
            true = False
        if not true:
            memory[hold] = 0.0
            continue
        if memory[hold] < code[row + _NEEDED]:
            memory[hold] += 1.0
        if fires == _NONE and memory[hold] == code[row + _NEEDED]:
            fires = way
    return fires


@compiled()
def _change(
    code: Code, memory: Numbers, queue: Queue, events: Events, state: int, way: int
) -> None:
    """Step 4: leave, do, enter."""
    row = code[_EXITS_AT] + way * _EXIT_ROW
    to = code[row + _TO]
    _report(events, _TOOK, way, _NONE)
    at = code[state + _STATE_EXITS]
    for i in range(code[state + _STATE_EXITS + 1]):
        other = code[at + i]
        other_row = code[_EXITS_AT] + other * _EXIT_ROW
        if code[other_row + _COMMON] == 0 or code[code[other_row + _LISTS] + to] == 0:
            memory[code[_HOLDS] + other] = 0.0
    memory[code[_HOLDS] + way] = 0.0
    _command(
        code, memory, queue, events, code[state + _STATE_LEAVE], code[state + _STATE_LEAVE + 1]
    )
    _command(code, memory, queue, events, code[row + _ACTIONS], code[row + _ACTIONS + 1])
    new = code[_STATES_AT] + to * _STATE_ROW
    for i in range(code[new + _STATE_LOOPS + 1]):
        loop = code[code[new + _STATE_LOOPS] + i]
        ran = False
        for j in range(code[state + _STATE_LOOPS + 1]):
            if code[code[state + _STATE_LOOPS] + j] == loop:
                ran = True
        if not ran:
            registers = code[code[_LOOPS_AT] + loop * _LOOP_ROW + _LOOP_REGISTERS]
            memory[registers] = 0.0
            memory[registers + 1] = 0.0
    memory[STATE] = to
    memory[code[_CELLS]] = 0.0
    memory[ENTERED] = memory[CLOCK]
    _report(events, _ENTERED, to, _NONE)
    _command(code, memory, queue, events, code[new + _STATE_ENTRY], code[new + _STATE_ENTRY + 1])


@compiled()
def _blocking(code: Code, memory: Numbers, row: int) -> int:
    """The first inhibit of the function at `row` that is in place, or NONE.

    One that cannot be told counts as in place; for a parachute as removed. Nothing that they
    depend on changes while a tick acts, so they are judged when somebody asks.
    """
    at = code[row + _PULSE_INHIBITS]
    for i in range(code[row + _PULSE_INHIBITS + 1]):
        inhibit = code[at + i]
        value, bad = evaluate(code, memory, code[code[_INHIBITS_AT] + inhibit])
        if value != 0.0 if bad == 0.0 else code[row + _PARACHUTE] == 0:
            return int(inhibit)
    return _NONE


@compiled()
def _fire(code: Code, memory: Numbers, events: Events, pulse: int) -> None:
    row = code[_PULSES_AT] + pulse * _PULSE
    until = code[_UNTIL] + pulse
    if memory[until] != 0.0:
        _report(events, _IGNORED, pulse, _NONE)
        return
    inhibit = _blocking(code, memory, row)
    if inhibit != _NONE:
        _report(events, _BLOCKED, pulse, inhibit)
        return
    memory[until] = memory[CLOCK] + code[row + _TICKS]
    _report(events, _FIRED, pulse, _NONE)


@compiled()
def _move(
    code: Code, numbers: Numbers, memory: Numbers, events: Events, servo: int, number: int
) -> None:
    inhibit = _blocking(code, memory, code[_SERVOS_AT] + servo * _PULSE)
    if inhibit != _NONE:
        _report(events, _MOVE_BLOCKED, servo, inhibit)
        return
    memory[code[_DEMAND] + servo] = numbers[number]
    _report(events, _MOVED, servo, number)


@compiled()
def _carry_out(code: Code, numbers: Numbers, memory: Numbers, queue: Queue, events: Events) -> None:
    """The queued commands in their order; of several moves of one servo only the last."""
    for pulse in range(code[_PULSES]):
        memory[code[_COMMANDED] + pulse] = 0.0
    for i in range(1, queue[0] + 1):
        row = queue[i]
        kind = code[row]
        about = code[row + 1]
        if kind == _DO_MOVE:
            last = True
            for j in range(i + 1, queue[0] + 1):
                if code[queue[j]] == _DO_MOVE and code[queue[j] + 1] == about:
                    last = False
            if last:
                _move(code, numbers, memory, events, about, code[row + 2])
        elif kind == _DO_CUT:
            memory[code[_COMMANDED] + about] = 0.0
            if memory[code[_UNTIL] + about] != 0.0:
                memory[code[_UNTIL] + about] = 0.0
                _report(events, _CUT, about, _NONE)
        elif memory[code[_COMMANDED] + about] == 0.0:
            memory[code[_COMMANDED] + about] = 1.0
            _fire(code, memory, events, about)


@compiled()
def _follow(code: Code, memory: Numbers, loop: int) -> None:
    """Servos take a loop's demands of this tick unless an inhibit holds them."""
    asked = code[_ASKED] + 3 * loop
    if memory[asked + 2] == 0.0:
        return
    row = code[_LOOPS_AT] + loop * _LOOP_ROW
    for i in range(2):
        servo = code[row + _FIRST_SERVO + i]
        z = (code[row + _FIRST_IS_Z] != 0) == (i == 0)
        if _blocking(code, memory, code[_SERVOS_AT] + servo * _PULSE) == _NONE:
            memory[code[_DEMAND] + servo] = memory[asked + 1] if z else memory[asked]


@compiled()
def _act(code: Code, numbers: Numbers, memory: Numbers, queue: Queue, events: Events) -> None:
    """Step 5: loops of the state, pulses, then the queued commands."""
    state = code[_STATES_AT] + int(memory[STATE]) * _STATE_ROW
    loops = code[state + _STATE_LOOPS]
    for i in range(code[state + _STATE_LOOPS + 1]):
        ask_loop(code, numbers, memory, code[loops + i])
    for pulse in range(code[_PULSES]):
        until = code[_UNTIL] + pulse
        if 0.0 < memory[until] <= memory[CLOCK]:
            memory[until] = 0.0
            _report(events, _ENDED, pulse, _NONE)
    for pulse in range(code[_PULSES]):
        until = code[_UNTIL] + pulse
        if memory[until] != 0.0:
            blocked = _blocking(code, memory, code[_PULSES_AT] + pulse * _PULSE)
            if blocked != _NONE:
                memory[until] = 0.0
                _report(events, _CUT, pulse, blocked)
    for i in range(code[state + _STATE_LOOPS + 1]):
        _follow(code, memory, code[loops + i])
    if queue[0] > 0:
        _carry_out(code, numbers, memory, queue, events)


@compiled()
def _tick(
    code: Code,
    numbers: Numbers,
    memory: Numbers,
    queue: Queue,
    events: Events,
    clock: int,
    values: Numbers,
    fresh: Fresh,
) -> None:
    queue[0] = 0
    events[0] = 0
    memory[CLOCK] = clock
    state = code[_STATES_AT] + int(memory[STATE]) * _STATE_ROW
    if memory[STARTED] == 0.0:
        memory[STARTED] = 1.0
        memory[ENTERED] = clock
        _report(events, _ENTERED, int(memory[STATE]), _NONE)
        at = code[state + _STATE_ENTRY]
        _command(code, memory, queue, events, at, code[state + _STATE_ENTRY + 1])
    memory[code[_CELLS]] = (clock - memory[ENTERED]) / code[_RATE_HZ]
    _sample(code, memory, values, fresh)
    _estimate(code, numbers, memory, fresh)
    way = _count(code, memory, fresh, state)
    if way != _NONE:
        _change(code, memory, queue, events, state, way)
    _act(code, numbers, memory, queue, events)


@compiled(
    numba.void(
        numba.int64[::1],
        numba.float64[::1],
        numba.float64[::1],
        numba.int64[::1],
        numba.int64[:, ::1],
        numba.int64,
        numba.float64[::1],
        numba.boolean[::1],
    )
)
def tick(
    code: Code,
    numbers: Numbers,
    memory: Numbers,
    queue: Queue,
    events: Events,
    clock: int,
    values: NDArray[np.float64],
    fresh: NDArray[np.bool_],
) -> None:
    """Execute one tick.

    code, numbers   the tables
    memory          of the executor, shape (code[Head.SIZE],); changed in place
    queue           scratch, room for one more than the commands of a tick
    events          shape (1 + Tables.most_events, 3): events[0, 0] is their count, rows follow
    clock, values, fresh   as in `sequencer.execute.Executor.tick`
    """
    _tick(
        pointer(code),
        pointer(numbers),
        pointer(memory),
        pointer(queue),
        pointer(events),
        clock,
        pointer(values),
        pointer(fresh.view(np.uint8)),
    )
