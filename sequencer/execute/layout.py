"""How a sequence lies in two flat arrays, one of whole numbers and one of floats.

The *code* begins with a header (`Head`) of counts and offsets; everything else stands at those
offsets as rows of fixed width (the `*Row` enumerations) or as lists with a length of their own.
The *numbers* hold every float. The *memory* is one array of floats, all that the sequence
remembers between ticks; `Head` says where each group begins. Whole numbers in it (clocks, counts,
truths) are exact far beyond the longest flight. A cell is two floats, a value and then 1 where
that value is bad; where a table says *place* it means the index of a cell's value in the memory.

Nothing here depends on numba: the same arrays are what a microcontroller's tables are made of.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Final

__all__ = [
    "CELL_WIDTH",
    "CLOCK",
    "COMMAND_WIDTH",
    "ENTERED",
    "ESTIMATE_WIDTH",
    "EXIT_WIDTH",
    "FIRST_GROUP",
    "INPUT_WIDTH",
    "LOOP_WIDTH",
    "NONE",
    "PULSE_WIDTH",
    "SERVO_WIDTH",
    "STARTED",
    "STATE",
    "STATE_WIDTH",
    "BlockKind",
    "CommandKind",
    "EstimateRow",
    "EventKind",
    "ExitRow",
    "Head",
    "LoopRow",
    "Op",
    "PulseRow",
    "StateRow",
]

#: "there is none": no gate, no optional condition, no fresh input
NONE: Final = -1

# memory before the first group
STATE: Final = 0  # index of the present state
ENTERED: Final = 1  # clock tick on which it was entered
CLOCK: Final = 2  # of the present tick
STARTED: Final = 3  # 1 once the first tick has begun
FIRST_GROUP: Final = 4


class Head(IntEnum):
    """Entries of the header: counts (`*S`), offsets into the code (`*_AT`), into memory (`M_*`)."""

    RATE_HZ = 0
    START = 1
    INPUTS = 2
    INPUTS_AT = 3
    ESTIMATES = 4
    ESTIMATES_AT = 5
    STATES = 6
    STATES_AT = 7
    EXITS = 8
    EXITS_AT = 9
    PULSES = 10
    PULSES_AT = 11
    SERVOS = 12
    SERVOS_AT = 13
    INHIBITS = 14
    INHIBITS_AT = 15  # one offset of a condition each
    LOOPS = 16
    LOOPS_AT = 17
    FLAGS = 18
    M_CELLS = 19  # time in state, inputs, estimates, flags; a flag never is bad
    M_FLAGS = 20  # the first of those of the flags
    M_HEARD = 21  # per input the clock of its last finite refresh
    M_BLOCKS = 22  # registers of blocks
    M_HOLDS = 23  # per exit the ticks counted
    M_LOOPS = 24  # registers of loops
    M_UNTIL = 25  # per pulse the clock tick on which it is over, 0 when off
    M_DEMAND = 26  # per servo
    M_ASKED = 27  # per loop the demands of this tick: y, z, whether there are any
    M_COMMANDED = 28  # per pulse whether it was commanded on this tick
    M_CONSTANTS = 29  # cells of the numbers in expressions, which nothing changes
    M_SAVED = 30  # of an expression under evaluation, as cells
    SAVED = 31  # so many of them at most
    SIZE = 32


HEAD_SIZE: Final = len(Head)


class Op(IntEnum):
    """What an expression does with its result so far: each is followed by one operand.

    The operand is a place, or NONE. From ADD on an operation has two sides: with a place the
    result so far is the left one and that cell the right one; with NONE the left one is the
    last that was saved, and the result so far the right one.
    """

    TAKE = 0  # the cell
    SAVE_AND_TAKE = 1
    SAVE = 2
    IN_STATE = 3  # count of states, then for each 1 or 0: the entry of the present state
    NEGATE = 4
    ABS = 5
    SQRT = 6
    NOT = 7
    ADD = 8
    SUBTRACT = 9
    MULTIPLY = 10
    DIVIDE = 11
    MIN = 12
    MAX = 13
    LESS = 14
    LESS_EQUAL = 15
    GREATER = 16
    GREATER_EQUAL = 17
    EQUAL = 18
    NOT_EQUAL = 19
    AND = 20
    OR = 21
    AND_NOT = 22
    OR_NOT = 23


class BlockKind(IntEnum):
    """Kinds of estimates; `sequencer.execute.blocks` gives each one's difference equation."""

    EXPRESSION = 0
    LOW_PASS = 1
    FILTERED_RATE = 2
    INTEGRAL = 3
    PEAK = 4
    MEDIAN3 = 5
    AGE = 6
    TIMER = 7
    LATCH = 8
    VOTE = 9
    ATTITUDE = 10


class EstimateRow(IntEnum):
    """One estimate. `ARGUMENTS` is an offset to `COUNT` offsets of expressions, or NONE each."""

    PLACE = 0
    KIND = 1
    GATE = 2
    REGISTERS = 3  # in memory
    NUMBERS = 4  # coefficients
    SUBJECT = 5  # input of an age
    ARGUMENTS = 6
    COUNT = 7


class ExitRow(IntEnum):
    """One exit. `LISTS` is an offset to one entry per state: whether it is among the sources."""

    TO = 0
    CONDITION = 1
    NEEDED = 2
    FRESH = 3  # input, or NONE
    FRESH_PLACE = 4
    COMMON = 5
    LISTS = 6
    ACTIONS = 7
    ACTION_COUNT = 8


class StateRow(IntEnum):
    """One state; each pair is an offset and a count."""

    EXITS = 0  # indices of exits in the order in which they are tried
    EXIT_COUNT = 1
    ENTRY = 2
    ENTRY_COUNT = 3
    LEAVE = 4
    LEAVE_COUNT = 5
    LOOPS = 6  # indices of loops
    LOOP_COUNT = 7


class PulseRow(IntEnum):
    """A function with a pulse, or (without TICKS) a servo; inhibits as indices."""

    INHIBITS = 0
    INHIBIT_COUNT = 1
    PARACHUTE = 2  # 1: an unknown inhibit counts as removed
    TICKS = 3


class LoopRow(IntEnum):
    """One thrust-vector loop."""

    ATTITUDE_PLACE = 0
    ATTITUDE_REGISTERS = 1
    RATE_Y = 2
    RATE_Z = 3
    NUMBERS = 4  # kp, ki, kd, limit, dt
    REGISTERS = 5
    FIRST_SERVO = 6  # servos in the order in which they follow
    SECOND_SERVO = 7
    FIRST_IS_Z = 8


class CommandKind(IntEnum):
    """A command is three numbers: kind, what it is about, and for a move the index of a number."""

    SET = 0
    CLEAR = 1
    FIRE = 2
    CUT = 3
    MOVE = 4


class EventKind(IntEnum):
    """An event is three numbers: kind, what it is about, detail."""

    ENTERED = 0  # state
    TOOK = 1  # exit
    SET = 2  # flag
    CLEARED = 3
    ENDED = 4  # pulse
    CUT = 5  # pulse; detail: inhibit or NONE
    FIRED = 6
    IGNORED = 7
    BLOCKED = 8  # pulse; detail: inhibit
    MOVED = 9  # servo; detail: index of the number
    MOVE_BLOCKED = 10  # servo; detail: inhibit


CELL_WIDTH: Final = 2
INPUT_WIDTH: Final = 2  # place, whether it is a truth
ESTIMATE_WIDTH: Final = len(EstimateRow)
EXIT_WIDTH: Final = len(ExitRow)
STATE_WIDTH: Final = len(StateRow)
PULSE_WIDTH: Final = len(PulseRow)
SERVO_WIDTH: Final = len(PulseRow)
LOOP_WIDTH: Final = len(LoopRow)
COMMAND_WIDTH: Final = 3
