"""Flies scenarios with the batch kernel."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from queue import SimpleQueue

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import UsageError
from sequencer.execute.jit import prepare as prepare_logic
from sequencer.flight.batch.jit import prepare
from sequencer.flight.batch.layout import (
    LETTER_WIDTH,
    BoxState,
    Cpu,
    Flight,
    Head,
    MomentState,
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


def fly_compiled(scenario: Scenario) -> FlightRecord:
    """What `sequencer.flight.loop.fly` gives, to the last bit, some times as fast.

    What cannot be flown without Python (see `batch_of`) is flown by that.
    """
    batch = batch_of(scenario)
    return fly(scenario) if batch is None else _fly(batch)


def fly_flights(
    flights: Iterable[Scenario], threads: int = 1, *, whole: bool = True
) -> Iterator[FlightRecord]:
    """Fly many flights, each as `fly_compiled` does; records come in the order of the flights.

    flights   such as `dispersed` gives; taken as they are needed, so they may be without end
    threads   that fly at the same time. A flight holds Python up only before and after it flies.
              What comes out does not depend on their number
    whole     False: records come without signals, and verdicts do not say why, which saves some
              milliseconds for each. The same flight flown alone has both

    Memory holds two flights per thread. Raises UsageError for less than one thread.
    """
    if threads < 1:
        raise UsageError(f"flights need at least one thread, not {threads}")
    return _in_order(flights, threads, whole=whole)


def _in_order(flights: Iterable[Scenario], threads: int, *, whole: bool) -> Iterator[FlightRecord]:
    pilots: SimpleQueue[_Pilot] = SimpleQueue()
    for _ in range(threads):
        pilots.put(_Pilot())

    def one(scenario: Scenario) -> FlightRecord:
        pilot = pilots.get()
        try:
            return pilot.fly(scenario, whole=whole)
        finally:
            pilots.put(pilot)

    if threads == 1:
        yield from map(one, flights)
        return
    _load()  # here, and not in every thread at once
    waiting: deque[Future[FlightRecord]] = deque()
    pool = ThreadPoolExecutor(threads, "flight")
    try:
        for scenario in flights:
            waiting.append(pool.submit(one, scenario))
            if len(waiting) >= 2 * threads:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        pool.shutdown(cancel_futures=True)


class _Pilot:
    """What one thread keeps from flight to flight: room for samples, and the last plan."""

    def __init__(self) -> None:
        self._room: NDArray[np.int64] = np.empty((0, 0), dtype=np.int64)
        self._last: Batch | None = None

    def fly(self, scenario: Scenario, *, whole: bool) -> FlightRecord:
        batch = batch_of(scenario, self._last)
        if batch is None:
            record = fly(scenario)
            return record if whole else _without_signals(record)
        self._last = batch
        if whole:
            return _fly(batch)
        # what was kept is read by requirements and then no more, so the next flight may use it
        words = len(batch.read.words)
        if self._room.shape[0] != words or self._room.shape[1] < scenario.stop_ticks:
            self._room = np.empty((words, scenario.stop_ticks), dtype=np.int64)
        return _fly(batch, self._room)


def _without_signals(record: FlightRecord) -> FlightRecord:
    verdicts = tuple(replace(verdict, because="") for verdict in record.verdicts)
    return replace(record, signals={}, verdicts=verdicts)


def _load() -> tuple[Callable[..., int], object, object]:
    """The kernel, and the two functions that it is given pointers to."""
    prepare_logic()
    prepare()
    from sequencer.execute.interpret import tick  # noqa: PLC0415 - as the kernel
    from sequencer.flight.batch.kernel import fly_whole  # noqa: PLC0415 - compiles or loads
    from sequencer.world.kernel import step_bytes  # noqa: PLC0415 - as the kernel

    return fly_whole, step_bytes, tick


def _fly(batch: Batch, room: NDArray[np.int64] | None = None) -> FlightRecord:
    """Fly a scenario that has been laid out.

    room   for the signals that requirements read, shape (words, at least `stop_ticks`); the record
           is then without signals. None: all signals are kept, in memory of their own
    """
    fly_whole, step, tick = _load()
    scenario = batch.scenario
    chosen = batch.signals if room is None else batch.read
    if room is None:
        samples = np.empty((len(chosen.words), scenario.stop_ticks), dtype=np.int64)
    else:
        samples = room
    places, letters = _EVENTS, batch.letters
    while True:
        world = World(scenario.params)
        flight = _memory(batch, world, places, letters)
        ended = int(fly_whole(step, tick, batch.plan, flight, *world.memory, chosen.words, samples))
        events = int(flight.head[Head.EVENTS])
        lost = bool(flight.head[Head.LETTERS_LOST])
        if events <= places and not lost:
            break
        places = max(places, events)
        letters *= 8 if lost else 1
    down = int(flight.head[Head.DOWN_TICK])
    numbers, rows = samples.view(np.float64), chosen.rows
    kept = Kept(
        events=batch.labels.events(flight.events[:events], flight.event_reals[:events]),
        ticks=ended,
        down_tick=down if down >= 0 else None,
        column=lambda word: numbers[rows[word], :ended],
    )
    logs = {name: _log_s(flight.cpu[row], rate) for name, (row, rate) in batch.logs.items()}
    record = record_of(scenario, world, kept, logs, chosen.recipes, sentences=room is None)
    return record if room is None else replace(record, signals={})


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
