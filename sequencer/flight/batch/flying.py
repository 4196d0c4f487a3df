"""Flies scenarios with the batch kernel."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
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
from sequencer.flight.recorder import Recorder
from sequencer.record import FlightRecord
from sequencer.scenario import Scenario
from sequencer.world import World
from sequencer.world.layout import OUT, empty

__all__ = ["fly_compiled", "fly_flights"]

#: events for which there is room at first
_EVENTS = 1024


def fly_compiled(scenario: Scenario) -> FlightRecord:
    """What `sequencer.flight.loop.fly` gives, to the last bit, some times as fast.

    What cannot be flown without Python (see `batch_of`) is flown by that.
    """
    batch = batch_of(scenario)
    return fly(scenario) if batch is None else _fly(batch, None)


def fly_flights(flights: Iterable[Scenario], threads: int = 1) -> Iterator[FlightRecord]:
    """Fly many flights, each as `fly_compiled` does; records come in the order of the flights.

    flights   such as `dispersed` gives; taken as they are needed, so they may be without end
    threads   that fly at the same time. A flight holds Python up only before and after it flies.
              What comes out does not depend on their number

    Memory holds two flights per thread. Raises UsageError for less than one thread.
    """
    if threads < 1:
        raise UsageError(f"flights need at least one thread, not {threads}")
    return _in_order(flights, threads)


def _in_order(flights: Iterable[Scenario], threads: int) -> Iterator[FlightRecord]:
    pilots: SimpleQueue[_Pilot] = SimpleQueue()
    for _ in range(threads):
        pilots.put(_Pilot())

    def one(scenario: Scenario) -> FlightRecord:
        pilot = pilots.get()
        try:
            return pilot.fly(scenario)
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
    """What one thread keeps from flight to flight: room for a flight, and tables of sequences."""

    def __init__(self) -> None:
        self._kept: NDArray[np.void] = empty(OUT, 0)
        self._last: Batch | None = None

    def fly(self, scenario: Scenario) -> FlightRecord:
        batch = batch_of(scenario, self._last)
        if batch is None:
            return fly(scenario)
        self._last = batch
        if len(self._kept) < scenario.stop_ticks:
            self._kept = empty(OUT, scenario.stop_ticks)
        return _fly(batch, self._kept)


def _load() -> tuple[Callable[..., int], object, object]:
    """The kernel, and the two functions that it is given pointers to."""
    prepare_logic()
    prepare()
    from sequencer.execute.interpret import tick  # noqa: PLC0415 - as the kernel
    from sequencer.flight.batch.kernel import fly_whole  # noqa: PLC0415 - compiles or loads
    from sequencer.world.kernel import step_bytes  # noqa: PLC0415 - as the kernel

    return fly_whole, step_bytes, tick


def _fly(batch: Batch, kept: NDArray[np.void] | None) -> FlightRecord:
    """Fly a scenario that has been laid out; `kept` as in `Recorder`."""
    fly_whole, step, tick = _load()
    scenario = batch.scenario
    room, letters = _EVENTS, batch.letters
    while True:
        world = World(scenario.params)
        recorder = Recorder(scenario, world, kept)
        flight = _memory(batch, world, room, letters)
        rows = recorder.kept_bytes.reshape(-1).view(np.int64)
        ended = fly_whole(step, tick, batch.plan, flight, *world.memory, rows)
        events = int(flight.head[Head.EVENTS])
        lost = bool(flight.head[Head.LETTERS_LOST])
        if events <= room and not lost:
            break
        room = max(room, events)
        letters *= 8 if lost else 1
    down = int(flight.head[Head.DOWN_TICK])
    recorder.take_over(
        batch.labels.events(flight.events[:events], flight.event_reals[:events]),
        down if down >= 0 else None,
    )
    logs = {name: _log_s(flight.cpu[row], rate) for name, (row, rate) in batch.logs.items()}
    return record_of(scenario, world, recorder, int(ended), logs)


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
