"""Runs the interpreter once more over what an executor was given before, and compares.

A computer whose outputs stay the same, bit for bit, changes nothing outside itself: whatever it
would have been given later is what it was given before. So a changed sequence that follows a
recording to its end would have flown the same flight.

Importing this module compiles it, or loads what `sequencer.execute.recording.prepare` compiled
before. The interpreter is called through a pointer and not compiled again.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numba.core import types
from numpy.typing import NDArray

from sequencer.execute.jit import plain
from sequencer.execute.layout import NONE, EventKind
from sequencer.execute.recording import compiled

__all__ = ["run_over"]

_NONE: Final = plain(NONE)
_TOOK: Final = plain(EventKind.TOOK)
_MOVED: Final = plain(EventKind.MOVED)
_OFF: Final = plain(0)
_ON: Final = plain(1)
#: no bits of a number: a NaN that no calculation gives
_BAD: Final = plain(-1)

_INT: Final = types.int64[::1]
_INTS: Final = types.int64[:, ::1]
_REAL: Final = types.float64[::1]
_REALS: Final = types.float64[:, ::1]
_TRUTH: Final = types.boolean[::1]
_TRUTHS: Final = types.boolean[:, ::1]
_RUN: Final = types.FunctionType(
    types.void(_INT, _REAL, _REAL, _INT, _INTS, types.int64, _REAL, _TRUTH)
)


@compiled(
    types.int64(
        *(_RUN, _INT, _REAL, _REAL, _TRUTH, _REAL, _INT, _INTS, _INT, _INT),
        *(_INT, _INT, _INTS, types.int64),
        *(_INT, _TRUTH, _REALS, _TRUTHS, types.int64),
        *(types.boolean, _INT, _INTS, _INTS, _REALS, types.int64),
    )
)
def run_over(
    run: Any,  # noqa: ANN401 - a pointer to `sequencer.execute.interpret.tick`
    code: NDArray[np.int64],
    numbers: NDArray[np.float64],
    boot: NDArray[np.float64],
    retained: NDArray[np.bool_],
    memory: NDArray[np.float64],
    queue: NDArray[np.int64],
    told: NDArray[np.int64],
    ways: NDArray[np.int64],
    positions: NDArray[np.int64],
    pulses: NDArray[np.int64],
    servos: NDArray[np.int64],
    published: NDArray[np.int64],
    period: int,
    clocks: NDArray[np.int64],
    boots: NDArray[np.bool_],
    values: NDArray[np.float64],
    fresh: NDArray[np.bool_],
    first: int,
    learn: bool,  # noqa: FBT001 - a kernel takes what it takes
    ends: NDArray[np.int64],
    events: NDArray[np.int64],
    driven: NDArray[np.int64],
    kept: NDArray[np.float64],
    every: int,
) -> int:
    """Execute recorded ticks; the row of the first whose outputs differ, or how many there are.

    code, numbers, boot   the tables
    retained    which places of the memory outlive a reboot
    memory      as it is before the first row that is executed
    queue, told           scratch, as `sequencer.execute.interpret.tick` has it
    ways        number of an exit, and of a position of a servo (`positions`) -> its name's number
    pulses, servos        places in memory of when each pulse is over, and of each demand
    published   places of each published value and of its bad bit
    period      ticks from message to message, 0 without any
    clocks, boots, values, fresh   of every tick: its clock, whether a boot comes before it, inputs
    first       the row to begin with
    learn       write the outputs instead of comparing them; -1 where events have no room
    ends        per tick how many events there have been by its end
    events      (kind, about, detail) one after the other
    driven      per tick which pulses are on, then the bits of demands and of what is published
    kept, every           while learning gets the memory before every so manieth row
    """
    bits = memory.view(np.int64)
    so_far = 0
    if first > 0:
        so_far = ends[first - 1]
    for row in range(first, clocks.shape[0]):
        if learn and row % every == 0:
            for i in range(memory.shape[0]):
                kept[row // every, i] = memory[i]
        if boots[row]:
            for i in range(memory.shape[0]):
                if not retained[i]:
                    memory[i] = boot[i]
        run(code, numbers, memory, queue, told, clocks[row], values[row], fresh[row])
        count = told[0, 0]
        if learn:
            if so_far + count > events.shape[0]:
                return _NONE
        elif so_far + count != ends[row]:
            return row
        for i in range(1, count + 1):
            about = told[i, 1]
            detail = told[i, 2]
            if told[i, 0] == _TOOK:
                about = ways[about]
            elif told[i, 0] == _MOVED:
                detail = positions[detail]
            if learn:
                events[so_far, 0] = told[i, 0]
                events[so_far, 1] = about
                events[so_far, 2] = detail
            elif (
                events[so_far, 0] != told[i, 0]
                or events[so_far, 1] != about
                or events[so_far, 2] != detail
            ):
                return row
            so_far += 1
        if learn:
            ends[row] = so_far
        for i in range(pulses.shape[0] + servos.shape[0] + published.shape[0]):
            if i < pulses.shape[0]:
                bit = _ON if memory[pulses[i]] > 0.0 else _OFF
            elif i < pulses.shape[0] + servos.shape[0]:
                bit = bits[servos[i - pulses.shape[0]]]
            else:
                field = i - pulses.shape[0] - servos.shape[0]
                bit = _OFF
                if clocks[row] % period == 0:
                    bit = _BAD if memory[published[field, 1]] != 0.0 else bits[published[field, 0]]
            if learn:
                driven[row, i] = bit
            elif driven[row, i] != bit:
                return row
    return int(clocks.shape[0])
