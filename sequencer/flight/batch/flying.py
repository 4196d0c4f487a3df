"""Flies scenarios with the batch kernel."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import InternalError, UsageError
from sequencer.execute.jit import prepare as prepare_logic
from sequencer.flight.batch.jit import prepare
from sequencer.flight.batch.layout import (
    LETTER_WIDTH,
    BoxState,
    Cpu,
    Flight,
    Head,
    MomentState,
    Table,
)
from sequencer.flight.batch.plan import Batch, batch_of
from sequencer.flight.loop import fly, record_of
from sequencer.flight.samples import Kept
from sequencer.record import FlightRecord
from sequencer.scenario import Scenario
from sequencer.world import World

__all__ = ["fly_compiled", "fly_flights"]

#: events for which there is room at first
_EVENTS = 1024
#: flights under way or waiting for their turn, for each thread, while records are made of others
_AHEAD = 2
#: flights that are laid out, flown and told together: what judges them is then still in the
#: processor's caches for all but the first
_TOGETHER = 4


def fly_compiled(scenario: Scenario) -> FlightRecord:
    """What `sequencer.flight.loop.fly` gives, to the last bit, some times as fast.

    What cannot be flown without Python (see `batch_of`) is flown by that.
    """
    return next(fly_flights([scenario]))


def fly_flights(
    flights: Iterable[Scenario], threads: int = 1, *, whole: bool = True
) -> Iterator[FlightRecord]:
    """Fly many flights, each as `fly_compiled` does; records come in the order of the flights.

    flights   such as `dispersed` gives; taken as they are needed, so they may be without end: one
              by one, but a few ahead where there are threads or `whole` is False
    threads   that fly at the same time. They do nothing else: flights are laid out, and their
              records made, by whoever asks for these. What comes out does not depend on their
              number
    whole     False: records come without signals, and verdicts do not say why, which saves some
              milliseconds for each. The same flight flown alone has both

    Memory holds two flights per thread and four more. Raises UsageError for less than one thread.
    """
    if threads < 1:
        raise UsageError(f"flights need at least one thread, not {threads}")
    return _in_order(flights, threads, whole=whole)


def _in_order(flights: Iterable[Scenario], threads: int, *, whole: bool) -> Iterator[FlightRecord]:
    desk = _Desk(whole=whole)
    together = 1 if whole else _TOGETHER
    if threads == 1:
        several = iter(flights)
        while laid := list(map(desk.laid_out, islice(several, together))):
            for flight in laid:
                flight.fly()
            for flight in laid:
                yield flight.record()
        return
    waiting: deque[tuple[_Laid, Future[None]]] = deque()
    pool = ThreadPoolExecutor(threads, "flight")

    def landed(count: int) -> Iterator[FlightRecord]:
        first = [waiting.popleft() for _ in range(count)]
        for _, over in first:
            over.result()
        return (flight.record() for flight, _ in first)

    try:
        for scenario in flights:
            flight = desk.laid_out(scenario)
            waiting.append((flight, pool.submit(flight.fly)))
            if len(waiting) >= _AHEAD * threads + together:
                yield from landed(together)
        while waiting:
            yield from landed(1)
    finally:
        pool.shutdown(cancel_futures=True)


class _Desk:
    """Lays flights out, and keeps from flight to flight what the next one can use: the last plan,
    and memory for samples.
    """

    def __init__(self, *, whole: bool) -> None:
        self._whole = whole
        self._last: Batch | None = None
        self._rooms: list[Table] = []

    def laid_out(self, scenario: Scenario) -> _Laid:
        batch = batch_of(scenario, self._last)
        if batch is None:
            return _Looped(scenario, whole=self._whole)
        self._last = batch
        return _Compiled(batch, None if self._whole else self._rooms)


class _Laid(ABC):
    """A flight that is laid out; first it is flown, in any thread, then it has a record."""

    @abstractmethod
    def fly(self) -> None: ...

    @abstractmethod
    def record(self) -> FlightRecord:
        """To be asked for once."""


class _Looped(_Laid):
    """A flight of the loop in Python."""

    def __init__(self, scenario: Scenario, *, whole: bool) -> None:
        self._scenario = scenario
        self._whole = whole
        self._flown: FlightRecord | None = None

    def fly(self) -> None:
        self._flown = fly(self._scenario)

    def record(self) -> FlightRecord:
        record = self._flown
        if record is None:
            raise InternalError("a flight has a record when it is over")
        if self._whole:
            return record
        verdicts = tuple(replace(verdict, because="") for verdict in record.verdicts)
        return replace(record, signals={}, verdicts=verdicts)


class _Compiled(_Laid):
    """A flight of the batch kernel.

    rooms   memory for samples that others have done with; it takes one and gives it back with its
            record, which is then without signals: requirements have read them. None: it has memory
            of its own, and all signals are kept
    """

    def __init__(self, batch: Batch, rooms: list[Table] | None) -> None:
        self._kernel, self._step, self._tick = _load()
        self._batch = batch
        self._rooms = rooms
        self._chosen = batch.signals if rooms is None else batch.read
        words, ticks = len(self._chosen.words), batch.scenario.stop_ticks
        room = rooms.pop() if rooms else None
        if room is None or room.shape[0] != words or room.shape[1] < ticks:
            room = np.empty((words, ticks), dtype=np.int64)
        self._samples = room
        self._ended = 0
        self._begin(_EVENTS, batch.letters)

    def _begin(self, places: int, letters: int) -> None:
        self._places, self._letters = places, letters
        self._world = World(self._batch.scenario.params)
        self._flight = _memory(self._batch, self._world, places, letters)

    def fly(self) -> None:
        while True:
            self._ended = self._kernel(
                *(self._step, self._tick, self._batch.plan, self._flight),
                *(*self._world.memory, self._chosen.words, self._samples),
            )
            head = self._flight.head
            events, lost = int(head[Head.EVENTS]), bool(head[Head.LETTERS_LOST])
            if events <= self._places and not lost:
                return
            self._begin(max(self._places, events), self._letters * (8 if lost else 1))

    def record(self) -> FlightRecord:
        batch, flight, ended = self._batch, self._flight, int(self._ended)
        events, down = int(flight.head[Head.EVENTS]), int(flight.head[Head.DOWN_TICK])
        numbers, rows = self._samples.view(np.float64), self._chosen.rows
        kept = Kept(
            events=batch.labels.events(flight.events[:events], flight.event_reals[:events]),
            ticks=ended,
            down_tick=down if down >= 0 else None,
            column=lambda word: numbers[rows[word], :ended],
        )
        logs = {name: _log_s(flight.cpu[row], rate) for name, (row, rate) in batch.logs.items()}
        record = record_of(
            *(batch.scenario, self._world, kept, logs, self._chosen.recipes),
            sentences=self._rooms is None,
        )
        if self._rooms is None:
            return record
        self._rooms.append(self._samples)
        return replace(record, signals={})


def _load() -> tuple[Callable[..., int], object, object]:
    """The kernel, and the two functions that it is given pointers to."""
    prepare_logic()
    prepare()
    from sequencer.execute.interpret import tick  # noqa: PLC0415 - as the kernel
    from sequencer.flight.batch.kernel import fly_whole  # noqa: PLC0415 - compiles or loads
    from sequencer.world.kernel import step_bytes  # noqa: PLC0415 - as the kernel

    return fly_whole, step_bytes, tick


def _log_s(cpu: NDArray[np.int64], rate_hz: int) -> float:
    return int(cpu[Cpu.LOG_WRITTEN] + cpu[Cpu.LOG_WAITING]) / rate_hz


def _memory(batch: Batch, world: World, room: int, letters: int) -> Flight:
    """The memory of a flight that has not begun."""

    def whole(*shape: int) -> NDArray[np.int64]:
        return np.zeros(shape, dtype=np.int64)

    plan = batch.plan
    computers, boxes = len(plan.computers), len(plan.boxes)
    faults, moments = len(plan.faults), len(plan.moments)
    _, _, commands, out = world.memory
    return Flight(
        head=whole(len(Head)),
        counts=whole(len(plan.canon)),
        events=whole(room, 3),
        event_reals=np.zeros(room),
        cpu=whole(computers, len(Cpu)),
        stalls=whole(computers, 1 + faults, 2),
        memory=np.zeros(len(plan.boot)),
        values=np.full(batch.inputs, np.nan),
        fresh=np.zeros(batch.inputs, dtype=np.bool_),
        on=whole(batch.pulses),
        demands=np.zeros(batch.servos),
        queue=whole(2 + batch.most_told),
        told=whole(1 + batch.most_told, 3),
        box=whole(boxes, len(BoxState)),
        letters=whole(boxes, letters, LETTER_WIDTH),
        letter_values=np.zeros((boxes, letters, batch.fields)),
        moment=whole(moments, len(MomentState)),
        crew_done=whole(len(plan.crew)),
        fault_on=whole(faults),
        fault_began=whole(faults),
        was=whole(batch.facts),
        command_ints=commands.view(np.int64),
        command_reals=commands.view(np.float64),
        out_ints=out.view(np.int64),
        out_reals=out.view(np.float64),
    )
