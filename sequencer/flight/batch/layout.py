"""A scenario and a flight of it as rows of numbers: what the batch kernel reads, and what it keeps.

`Plan` is made once per scenario and never written to; `Flight` is the memory of one flight.
Columns of a table are the members of the enumeration that is named beside it. Times are whole
world ticks; times of messages whole units that ticks and delays share (`Scalar.UNITS_PER_TICK`).
Indices of events ("labels") are those of `sequencer.flight.batch.labels`.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "LETTER_WIDTH",
    "NEVER",
    "NONE",
    "Box",
    "BoxState",
    "Computer",
    "Cpu",
    "Crew",
    "Fact",
    "Fault",
    "FaultDoes",
    "Flight",
    "Head",
    "Label",
    "Letter",
    "Moment",
    "MomentState",
    "Plan",
    "Real",
    "Row",
    "Scalar",
    "Table",
    "When",
]

Table = NDArray[np.int64]
Row = NDArray[np.int64]
Reals = NDArray[np.float64]

#: "there is none": no label, no state, no battery
NONE: Final = -1
#: a tick after every flight
NEVER: Final = 2**61


class Scalar(IntEnum):
    """Entries of `Plan.scalars`."""

    STOP = 0
    AFTER_DOWN = 1
    UNITS_PER_TICK = 2
    DELAY = 3
    BY_CHANCE = 4
    PARTED_LABEL = 5
    OVER_LABEL = 6


class Real(IntEnum):
    """Entries of `Plan.reals`."""

    LOSES = 0
    REPEATS = 1
    PARTS_AT = 2  # m; inf: never


class Label(IntEnum):
    """Columns of `Plan.labels`; below LATE they are the kinds of `execute.layout.EventKind`."""

    LATE = 11
    BOOTED = 12
    LOG_FULL = 13
    LOG_CUT = 14
    BROWN_OUT = 15


class Computer(IntEnum):
    """Columns of `Plan.computers`. `*_AT` and `*_END` bound a stretch of the array named."""

    CODE_AT = 0  # Plan.code
    CODE_END = 1
    NUMBERS_AT = 2  # Plan.numbers
    NUMBERS_END = 3
    MEMORY_AT = 4  # Plan.boot, Flight.memory
    MEMORY_END = 5
    INPUTS_AT = 6  # Flight.values, Flight.fresh
    INPUTS_END = 7
    PULSES_AT = 8  # Flight.on
    SERVOS_AT = 9  # Flight.demands
    SENSORS_AT = 10  # Plan.lists: pairs (input, sensor)
    SENSORS_END = 11
    CHANNELS_AT = 12  # Plan.lists: pairs (pulse, channel)
    CHANNELS_END = 13
    SERVO_LIST_AT = 14  # Plan.lists: servos in the world
    RETAINED_AT = 15  # Plan.lists: places in memory of flags
    RETAINED_END = 16
    PUBLISHED_AT = 17  # Plan.lists: pairs (value, bad bit) in memory
    PUBLISHED_END = 18
    PERIOD = 19  # ticks of its clock between messages; 0: it sends none
    BOOT_TICKS = 20
    POWER = 21  # battery, or NONE
    LOGS = 22  # 1 with a logger
    LOG_MEMORY = 23  # ticks
    LOG_BUFFER = 24
    STALL_EVERY = 25  # ticks; 0: writing never stalls it
    READS_AT = 26  # Plan.lists: boxes it reads, in order
    READS_END = 27
    POSTS_AT = 28  # Plan.lists: boxes that get what it sends
    POSTS_END = 29
    TURN = 30  # its nominal tick, in parts of which a world tick has `Cpu.SPEED`
    SPEED = 31  # the nominal one


class Box(IntEnum):
    """Columns of `Plan.boxes`, the mailboxes."""

    WANTED_AT = 0  # Plan.lists: pairs (input, field)
    WANTED_END = 1
    CORRUPT_LABEL = 2
    DROPPED_LABEL = 3


class When(IntEnum):
    """What a moment waits for."""

    TIME = 0
    EVENT = 1
    STATE = 2
    ABOVE = 3
    BELOW = 4


class Moment(IntEnum):
    """Columns of `Plan.moments`: first those of the crew, then those of the faults."""

    WHEN = 0
    WAIT = 1
    LASTS = 2  # NEVER: for good
    AT = 3
    LABEL = 4
    COMPUTER = 5
    STATE = 6
    UNTIL = 7  # a label, or NONE
    WHILE_IN = 8


class Crew(IntEnum):
    """Columns of `Plan.crew`."""

    SWITCH = 0
    ON = 1
    LABEL = 2


class FaultDoes(IntEnum):
    """What a fault acts on."""

    WORLD = 0
    REBOOT = 1
    STALL = 2
    DRIFT = 3
    LINK_LOST = 4
    LINK_REPEATED = 5
    LINK_DELAYED = 6
    LINK_CORRUPTED = 7
    PULLED = 8
    BOUNCES = 9


class Fault(IntEnum):
    """Columns of `Plan.faults`."""

    DOES = 0
    PLACE = 1  # row of the world's faults, or computer
    SIZE = 2  # ticks, parts of speed, units of time; of a bounce its numerator
    DIVISOR = 3  # of a bounce
    BEGUN_LABEL = 4
    ENDED_LABEL = 5


class Fact(IntEnum):
    """Columns of `Plan.facts`: so many entries of OUT whose change from 0 to 1 is an event."""

    WORD = 0
    COUNT = 1
    LABEL = 2
    WAS_AT = 3  # Flight.was


class Plan(NamedTuple):
    """A scenario. Tables are int64 with one row each, the others are flat."""

    scalars: Row
    reals: Reals
    lists: Row
    code: Row
    numbers: Reals
    boot: Reals
    computers: Table
    labels: Table  # of each computer
    boxes: Table
    moments: Table
    heights: Reals  # m, of each moment
    crew: Table
    faults: Table
    facts: Table
    canon: Row  # label -> the first one that reads the same, under which both count


class Head(IntEnum):
    """Entries of `Flight.head`."""

    TICK = 0
    EVENTS = 1  # also those for which there was no room
    PARTED = 2
    DOWN_TICK = 3  # or NONE
    LETTERS_LOST = 4  # for want of room


class Cpu(IntEnum):
    """Columns of `Flight.cpu`, the computers. See `sequencer.flight.clock` and `.computer`."""

    COUNT = 0
    SINCE = 1  # tick from which REMAIN counts
    REMAIN = 2  # of `Computer.TURN` until the next own tick is due
    SPEED = 3
    FALLS_ON = 4
    STATE = 5  # or NONE
    CUTS = 6
    BOOTS_AT = 7  # or NONE
    BORN = 8
    BOOT_NUMBER = 9
    NUMBERS = 10
    DRIVEN = 11
    SENT = 12
    BROWN = 13
    LOG_WRITTEN = 14
    LOG_WAITING = 15


class BoxState(IntEnum):
    """Columns of `Flight.box`."""

    WAITING = 0
    NEWEST_BOOT = 1
    NEWEST_NUMBER = 2


class Letter(IntEnum):
    """Last axis of `Flight.letters`."""

    ARRIVAL = 0
    BOOT = 1
    NUMBER = 2
    WHOLE = 3


LETTER_WIDTH: Final = len(Letter)


class MomentState(IntEnum):
    """Columns of `Flight.moment`."""

    BEEN_ABOVE = 0
    BEGINS = 1  # or NONE
    ENDS = 2
    ENDINGS_BEFORE = 3  # or NONE


class Flight(NamedTuple):
    """The memory of one flight; the last four are the world's own."""

    head: Row
    counts: Row  # events so far, by label
    events: Table  # (events, 3): tick, label, detail
    event_reals: Reals
    cpu: Table
    stalls: NDArray[np.int64]  # (computers, 1 + faults, 2): every so many ticks (0: never), since
    memory: Reals
    values: Reals
    fresh: NDArray[np.bool_]
    on: Row
    demands: Reals
    queue: Row
    told: Table
    box: Table
    letters: NDArray[np.int64]  # (boxes, room, LETTER_WIDTH)
    letter_values: NDArray[np.float64]  # (boxes, room, fields)
    moment: Table
    crew_done: Row
    fault_on: Row
    fault_began: Row
    was: Row
    command_ints: Row
    command_reals: Reals
    out_ints: Row
    out_reals: Reals
