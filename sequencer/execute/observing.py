"""What every leaf of every decision was on a tick that the interpreter has just executed.

Leaves are evaluated by the interpreter's own `evaluate`, on its own memory, so they come out as
they did on the tick. Importing this module compiles it, or loads what `prepare` compiled before.
"""

from __future__ import annotations

from typing import Final

import numba
import numpy as np
from numpy.typing import NDArray

from sequencer.execute.evaluating import Code, Numbers, evaluate
from sequencer.execute.jit import DECISIONS, plain
from sequencer.execute.layout import (
    CELL_WIDTH,
    CLOCK,
    EXIT_WIDTH,
    NONE,
    STATE,
    STATE_WIDTH,
    EventKind,
    ExitRow,
    Head,
    StateRow,
)
from sequencer.execute.pointers import pointer

__all__ = ["observe"]

_compiled = DECISIONS.compiled

_NONE: Final = plain(NONE)
_STATE_ROW: Final = plain(STATE_WIDTH)
_EXIT_ROW: Final = plain(EXIT_WIDTH)
_RATE_HZ: Final = plain(Head.RATE_HZ)
_STATES_AT: Final = plain(Head.STATES_AT)
_EXITS: Final = plain(Head.EXITS)
_EXITS_AT: Final = plain(Head.EXITS_AT)
_INHIBITS: Final = plain(Head.INHIBITS)
_CELLS: Final = plain(Head.M_CELLS)
_FLAGS: Final = plain(Head.M_FLAGS)
_CELL: Final = plain(CELL_WIDTH)
_FLAG_COUNT: Final = plain(Head.FLAGS)
_STATE_EXITS: Final = plain(StateRow.EXITS)
_FRESH: Final = plain(ExitRow.FRESH)
_FRESH_PLACE: Final = plain(ExitRow.FRESH_PLACE)
_TOOK: Final = plain(EventKind.TOOK)
_SET: Final = plain(EventKind.SET)
_CLEARED: Final = plain(EventKind.CLEARED)

Rows = NDArray[np.int64]
Trits = NDArray[np.int8]


@_compiled()
def _note(
    code: Code,
    memory: Numbers,
    first: Rows,
    leaves: Rows,
    last: Trits,
    found: Rows,
    about: int,
    taken: int,
) -> None:
    """Evaluate the leaves of one decision; append them to what was found if they are news."""
    begin, end = first[about], first[about + 1]
    news = taken != 0
    row = found[0, 0] + 1
    for leaf in range(begin, end):
        value, bad = evaluate(code, memory, leaves[leaf])
        trit = 2 if bad != 0.0 else (1 if value != 0.0 else 0)
        if last[leaf] != trit:
            last[leaf] = trit
            news = True
        found[row, 2 + leaf - begin] = trit
    if news:
        found[row, 0] = about
        found[row, 1] = taken
        found[0, 0] = row


@_compiled(
    numba.int64(
        numba.int64[::1],
        numba.float64[::1],
        numba.int64[:, ::1],
        numba.boolean[::1],
        numba.int64[::1],
        numba.float64[::1],
        numba.int64[::1],
        numba.int64[::1],
        numba.int8[::1],
        numba.int64[:, ::1],
    )
)
def observe(
    code: Code,
    memory: Numbers,
    events: Rows,
    fresh: NDArray[np.bool_],
    before: Rows,
    kept: Numbers,
    first: Rows,
    leaves: Rows,
    last: Trits,
    found: Rows,
) -> int:
    """Look at the decisions of the tick that has just been executed.

    code      of the tables, which watch all leaves
    memory, events, fresh   as `sequencer.execute.interpret.tick` left them; memory is put back
    before    state before the tick, and the clock on which it was entered, -1 before the first tick
    kept      scratch, one place for each flag
    first     decision -> its first leaf, shape (decisions + 1,); exits, then inhibits
    leaves    leaf -> where its code begins
    last      leaf -> what it was when it was looked at last: 0 false, 1 true, 2 unknown, -1 never
    found     filled with what changed, shape (1 + decisions, 2 + leaves of the largest): a row is
              a decision, whether it is that of the exit taken, and its leaves; row 0 is scratch

    Returns how many rows were filled, from row 1 on. An exit is looked at where its condition is
    evaluated and counts: in its states, and on ticks with a good new value of its fresh input.
    """
    found[0, 0] = 0
    tables, cells = pointer(code), pointer(memory)
    now_state, now_time = memory[STATE], memory[code[_CELLS]]
    taken, mark = _NONE, 0
    for row in range(1, events[0, 0] + 1):
        if events[row, 0] == _TOOK:
            taken, mark = events[row, 1], row
    if taken != _NONE:
        # as it was when the exits were tried: what the change has set and cleared is undone
        for flag in range(code[_FLAG_COUNT]):
            kept[flag] = memory[code[_FLAGS] + _CELL * flag]
        for row in range(events[0, 0], mark, -1):
            if events[row, 0] == _SET:
                memory[code[_FLAGS] + _CELL * events[row, 1]] = 0.0
            elif events[row, 0] == _CLEARED:
                memory[code[_FLAGS] + _CELL * events[row, 1]] = 1.0
        memory[STATE] = before[0]
        entered = memory[CLOCK] if before[1] < 0 else before[1]
        memory[code[_CELLS]] = (memory[CLOCK] - entered) / code[_RATE_HZ]
    state = code[_STATES_AT] + before[0] * _STATE_ROW
    at = code[state + _STATE_EXITS]
    for i in range(code[state + _STATE_EXITS + 1]):
        way = code[at + i]
        row = code[_EXITS_AT] + way * _EXIT_ROW
        gate = code[row + _FRESH]
        if gate != _NONE and not (fresh[gate] and memory[code[row + _FRESH_PLACE] + 1] == 0.0):
            continue
        mine = 1 if way == taken else 0
        _note(tables, cells, first, leaves, last, found, way, mine)
    if taken != _NONE:
        for flag in range(code[_FLAG_COUNT]):
            memory[code[_FLAGS] + _CELL * flag] = kept[flag]
        memory[STATE] = now_state
        memory[code[_CELLS]] = now_time
    for inhibit in range(code[_INHIBITS]):
        about = code[_EXITS] + inhibit
        _note(tables, cells, first, leaves, last, found, about, 0)
    return int(found[0, 0])
