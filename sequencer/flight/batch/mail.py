"""`sequencer.flight.links` and `sequencer.flight.link` in numbers."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from sequencer.flight.batch.jit import compiled, plain
from sequencer.flight.batch.layout import (
    NONE,
    Box,
    BoxState,
    Computer,
    Cpu,
    Fault,
    FaultDoes,
    Flight,
    Head,
    Letter,
    Plan,
    Real,
    Row,
    Scalar,
    Table,
)
from sequencer.flight.batch.notes import note, word
from sequencer.world.chance import SOURCE_LINK, philox
from sequencer.world.layout import PARAMS

__all__ = ["forget_mail", "read_mail", "send"]

Code = NDArray[np.int64]
Numbers = NDArray[np.float64]

_NONE: Final = plain(NONE)
_UNITS_PER_TICK: Final = plain(Scalar.UNITS_PER_TICK)
_DELAY: Final = plain(Scalar.DELAY)
_BY_CHANCE: Final = plain(Scalar.BY_CHANCE)
_LOSES: Final = plain(Real.LOSES)
_REPEATS: Final = plain(Real.REPEATS)
_PARTED: Final = plain(Head.PARTED)
_LETTERS_LOST: Final = plain(Head.LETTERS_LOST)
_SENT: Final = plain(Cpu.SENT)
_BOOT_NUMBER: Final = plain(Cpu.BOOT_NUMBER)
_NUMBERS: Final = plain(Cpu.NUMBERS)
_PUBLISHED_AT: Final = plain(Computer.PUBLISHED_AT)
_PUBLISHED_END: Final = plain(Computer.PUBLISHED_END)
_MEMORY_AT: Final = plain(Computer.MEMORY_AT)
_INPUTS_AT: Final = plain(Computer.INPUTS_AT)
_READS_AT: Final = plain(Computer.READS_AT)
_READS_END: Final = plain(Computer.READS_END)
_POSTS_AT: Final = plain(Computer.POSTS_AT)
_POSTS_END: Final = plain(Computer.POSTS_END)
_WANTED_AT: Final = plain(Box.WANTED_AT)
_WANTED_END: Final = plain(Box.WANTED_END)
_CORRUPT_LABEL: Final = plain(Box.CORRUPT_LABEL)
_DROPPED_LABEL: Final = plain(Box.DROPPED_LABEL)
_WAITING: Final = plain(BoxState.WAITING)
_NEWEST_BOOT: Final = plain(BoxState.NEWEST_BOOT)
_NEWEST_NUMBER: Final = plain(BoxState.NEWEST_NUMBER)
_ARRIVAL: Final = plain(Letter.ARRIVAL)
_BOOT: Final = plain(Letter.BOOT)
_NUMBER: Final = plain(Letter.NUMBER)
_WHOLE: Final = plain(Letter.WHOLE)
_DOES: Final = plain(Fault.DOES)
_PLACE: Final = plain(Fault.PLACE)
_SIZE: Final = plain(Fault.SIZE)
_DIVISOR: Final = plain(Fault.DIVISOR)
_LINK_LOST: Final = plain(FaultDoes.LINK_LOST)
_LINK_REPEATED: Final = plain(FaultDoes.LINK_REPEATED)
_LINK_DELAYED: Final = plain(FaultDoes.LINK_DELAYED)
_LINK_CORRUPTED: Final = plain(FaultDoes.LINK_CORRUPTED)
_PULLED: Final = plain(FaultDoes.PULLED)
_BOUNCES: Final = plain(FaultDoes.BOUNCES)

_SEED: Final = word(PARAMS, "seed")
_FLIGHT: Final = word(PARAMS, "flight")
_LOW: Final = np.uint64(0xFFFFFFFF)
_32: Final = np.uint64(32)
_11: Final = np.uint64(11)
_TO_UNIT: Final = 2.0**-53
_SOURCE: Final = plain(SOURCE_LINK)
# plain 0 and 1 would have callees compiled anew for each of them
_ZERO: Final = plain(0)
_ONE: Final = plain(1)
_NAN: Final = float("nan")


@compiled(inline=True)
def _uniform_pair(params: Code, source: int, draw: int) -> tuple[float, float]:
    """`sequencer.world.chance.uniform_pair` of the flight's seed and number."""
    s, f = np.uint64(params[_SEED]), np.uint64(params[_FLIGHT])
    a, b, c, d = philox(
        np.uint64(draw) & _LOW, np.uint64(source) & _LOW, f & _LOW, f >> _32, s & _LOW, s >> _32
    )
    first = float(((a << _32) | b) >> _11) * _TO_UNIT
    second = float(((c << _32) | d) >> _11) * _TO_UNIT
    return first, second


@compiled(inline=True)
def _post(plan: Plan, flight: Flight, sender: int, arrival: int, whole: int) -> None:
    """Put a copy of what the sender publishes now into every box that gets it."""
    row = plan.computers[sender]
    memory = row[_MEMORY_AT]
    for post in range(row[_POSTS_AT], row[_POSTS_END]):
        box = plan.lists[post]
        at = flight.box[box, _WAITING]
        if at >= flight.letters.shape[1]:
            flight.head[_LETTERS_LOST] = 1
            return
        flight.box[box, _WAITING] = at + 1
        flight.letters[box, at, _ARRIVAL] = arrival
        flight.letters[box, at, _BOOT] = flight.cpu[sender, _BOOT_NUMBER]
        flight.letters[box, at, _NUMBER] = flight.cpu[sender, _NUMBERS]
        flight.letters[box, at, _WHOLE] = whole
        pairs = row[_PUBLISHED_AT]
        for field in range((row[_PUBLISHED_END] - pairs) // 2):
            bad = flight.memory[memory + plan.lists[pairs + 2 * field + 1]]
            value = flight.memory[memory + plan.lists[pairs + 2 * field]]
            flight.letter_values[box, at, field] = _NAN if bad != 0.0 else value


@compiled(inline=True)
def _connected(plan: Plan, flight: Flight, sender: int, tick: int) -> bool:
    """Whether faults let anything of this sender through."""
    for fault in range(plan.faults.shape[0]):
        if flight.fault_on[fault] == 0:
            continue
        row = plan.faults[fault]
        if row[_DOES] == _PULLED or (row[_DOES] == _LINK_LOST and row[_PLACE] == sender):
            return False
        if row[_DOES] == _BOUNCES:
            gone = (tick - flight.fault_began[fault]) * row[_DIVISOR]
            if 2 * (gone % row[_SIZE]) >= row[_SIZE]:
                return False
    return True


@compiled(inline=True)
def send(plan: Plan, flight: Flight, params: Code, sender: int, tick: int) -> None:
    """Put on its way what the sender publishes on this tick."""
    number = flight.cpu[sender, _SENT]
    flight.cpu[sender, _SENT] = number + 1
    if flight.head[_PARTED] != 0 or not _connected(plan, flight, sender, tick):
        return
    way = plan.scalars[_DELAY]
    twice = False
    if plan.scalars[_BY_CHANCE] != 0:
        first, second = _uniform_pair(params, _SOURCE + sender, number)
        if first < plan.reals[_LOSES]:
            return
        twice = second < plan.reals[_REPEATS]
    again, later, whole = False, _ZERO, _ONE
    for fault in range(plan.faults.shape[0]):
        row = plan.faults[fault]
        if flight.fault_on[fault] != 0 and row[_PLACE] == sender:
            if row[_DOES] == _LINK_DELAYED:
                way += row[_SIZE]
            elif row[_DOES] == _LINK_REPEATED:
                again = True
                later += row[_SIZE]
            elif row[_DOES] == _LINK_CORRUPTED:
                whole = _ZERO
    now = tick * plan.scalars[_UNITS_PER_TICK]
    _post(plan, flight, sender, now + way, whole)
    if twice:
        _post(plan, flight, sender, now + way + plan.scalars[_DELAY], whole)
    if again:
        _post(plan, flight, sender, now + way + later, whole)


@compiled(inline=True)
def _earliest(letters: Table, waiting: int, now: int) -> int:
    """Of what is visible now, the one that arrived first (of several the first posted), or NONE."""
    found = _NONE
    for letter in range(waiting):
        arrival = letters[letter, _ARRIVAL]
        if arrival < now and (found == _NONE or arrival < letters[found, _ARRIVAL]):
            found = letter
    return found


@compiled()
def _remove(state: Row, letters: Table, values: NDArray[np.float64], letter: int) -> None:
    """Close the gap, in order."""
    last = state[_WAITING] - 1
    for i in range(letter, last):
        # entry by entry: numba takes long to compile copies of rows
        for j in range(letters.shape[1]):
            letters[i, j] = letters[i + 1, j]
        for j in range(values.shape[1]):
            values[i, j] = values[i + 1, j]
    state[_WAITING] = last


@compiled(inline=True)
def _newer(state: Row, letter: Row) -> bool:
    if letter[_BOOT] != state[_NEWEST_BOOT]:
        return bool(letter[_BOOT] > state[_NEWEST_BOOT])
    return bool(letter[_NUMBER] > state[_NEWEST_NUMBER])


@compiled()
def forget_mail(plan: Plan, flight: Flight, reader: int, tick: int) -> None:
    """It boots: what came while it was down is lost, and the memory of numbers."""
    row = plan.computers[reader]
    now = tick * plan.scalars[_UNITS_PER_TICK]
    for read in range(row[_READS_AT], row[_READS_END]):
        box = plan.lists[read]
        state, letters = flight.box[box], flight.letters[box]
        letter = _earliest(letters, state[_WAITING], now)
        while letter != _NONE:
            _remove(state, letters, flight.letter_values[box], letter)
            letter = _earliest(letters, state[_WAITING], now)
        state[_NEWEST_BOOT] = -1
        state[_NEWEST_NUMBER] = -1


@compiled(inline=True)
def read_mail(plan: Plan, flight: Flight, reader: int, tick: int) -> None:
    """Take what has arrived in the reader's boxes: the newest of each becomes its inputs."""
    row = plan.computers[reader]
    now = tick * plan.scalars[_UNITS_PER_TICK]
    inputs = row[_INPUTS_AT]
    for read in range(row[_READS_AT], row[_READS_END]):
        box = plan.lists[read]
        state, letters = flight.box[box], flight.letters[box]
        dropped = 0
        corrupt = 0
        letter = _earliest(letters, state[_WAITING], now)
        while letter != _NONE:
            if letters[letter, _WHOLE] == 0:
                corrupt += 1
            elif _newer(state, letters[letter]):
                state[_NEWEST_BOOT] = letters[letter, _BOOT]
                state[_NEWEST_NUMBER] = letters[letter, _NUMBER]
                for pair in range(plan.boxes[box, _WANTED_AT], plan.boxes[box, _WANTED_END], 2):
                    at = inputs + plan.lists[pair]
                    field = plan.lists[pair + 1]
                    flight.values[at] = flight.letter_values[box, letter, field]
                    flight.fresh[at] = True
            else:
                dropped += 1
            _remove(state, letters, flight.letter_values[box], letter)
            letter = _earliest(letters, state[_WAITING], now)
        if corrupt != 0:
            note(plan, flight, plan.boxes[box, _CORRUPT_LABEL], corrupt, 0.0)
        if dropped != 0:
            note(plan, flight, plan.boxes[box, _DROPPED_LABEL], dropped, 0.0)
