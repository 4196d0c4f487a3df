"""Turns a scenario into the rows of `sequencer.flight.batch.layout`."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from sequencer.execute.tables import Tables, tables_of
from sequencer.execute.words import Words
from sequencer.flight import details
from sequencer.flight.batch.labels import Labels, no_detail
from sequencer.flight.batch.layout import (
    NONE,
    Box,
    Computer,
    Crew,
    Fact,
    Fault,
    Label,
    Moment,
    Plan,
)
from sequencer.flight.batch.planned import Drifts, Planned, TooLargeError, bounded
from sequencer.flight.links import LinkTimes
from sequencer.flight.recorder import FACTS, names_of_facts
from sequencer.flight.samples import Selection, recipes_of
from sequencer.record import FLIGHT_OVER
from sequencer.scenario import Recording, Scenario
from sequencer.sequence.ticks import ticks
from sequencer.vehicle.logger import Logger
from sequencer.world.layout import OUT

__all__ = ["Batch", "batch_of"]

#: fields of a scenario that are worth comparing: `dispersed` makes them anew
_PLAIN = ("faults", "link")
#: memory of a logger without an end
_ENDLESS = 2**60


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """A scenario, ready for the batch kernel.

    tables      of its sequences
    labels      what the numbers of its events stand for
    most_told   events that one tick of a computer can come to
    fields      that a message can have
    letters     room in a mailbox that will do for most flights
    inputs, pulses, servos, facts     how many there are, of all computers together
    logs        computers with a logger: name -> (row, ticks per second)
    signals     all of a flight
    read        those that requirements read
    """

    scenario: Scenario
    tables: tuple[Tables, ...]
    plan: Plan
    labels: Labels
    most_told: int
    fields: int
    letters: int
    inputs: int
    pulses: int
    servos: int
    facts: int
    logs: dict[str, tuple[int, int]]
    signals: Selection
    read: Selection


def batch_of(scenario: Scenario, like: Batch | None = None) -> Batch | None:
    """The rows of a scenario; None where it cannot be flown without Python.

    like   of another flight of it: what does not differ between the two is not made again

    That is a scenario that takes its inputs from a log, and one whose fractions of time have no
    common unit that 64 bits can count.
    """
    if isinstance(scenario.source, Recording):
        return None
    if like is not None and like.scenario.sequences is not scenario.sequences:
        like = None
    if like is not None and _planned_alike(like.scenario, scenario):
        return replace(like, scenario=scenario)
    if like is not None:
        tables = like.tables
    else:
        tables = tuple(tables_of(logic) for logic in scenario.sequences.values())
    try:
        return _Builder(scenario, tables).build()
    except TooLargeError:
        return None


def _planned_alike(one: Scenario, other: Scenario) -> bool:
    """Whether two scenarios differ in nothing but the numbers that the world reads."""
    return all(
        (its := getattr(one, each.name)) is (theirs := getattr(other, each.name))
        or (each.name in _PLAIN and its == theirs)
        for each in fields(Scenario)
        if each.name != "params"
    )


def _table(rows: Iterable[Sequence[int]], width: int) -> NDArray[np.int64]:
    return np.array(list(rows), dtype=np.int64).reshape(-1, width)


class _Builder:
    """Lays out one scenario."""

    def __init__(self, scenario: Scenario, tables: tuple[Tables, ...]) -> None:
        self.scenario = scenario
        self.names = list(scenario.sequences)
        self.tables = tables
        self.times = LinkTimes(scenario)
        self.drifts = Drifts(scenario)
        self.labels = Labels()
        self.lists: list[int] = []
        #: (reader, sender) -> box, in the order in which each reader reads
        self.box_at: dict[tuple[str, str], int] = {}
        #: offsets of the next computer's code, numbers, memory, inputs, pulses, servos
        self.next = [0] * 6
        self.logs: dict[str, tuple[int, int]] = {}

    def build(self) -> Batch:
        """Labels first: whatever is planned may wait for any of them."""
        scenario = self.scenario
        labels = [self._labels(row) for row in range(len(self.names))]
        boxes = self._boxes()
        facts, entries = self._facts()
        planned = Planned(scenario, self.labels, self.times, self.drifts)
        parted = self.labels.add("umbilical_parted", ("",))
        kind, _, name = FLIGHT_OVER.partition(" ")
        over = self.labels.add(kind, (name,), lambda _whole, _real: "over")
        computers = [self._computer(row) for row in range(len(self.names))]
        link = scenario.link
        stop = bounded(scenario.stop_ticks * self.times.per_tick) // self.times.per_tick
        scalars = [
            stop,
            round(scenario.after_touchdown_s * scenario.rate_hz),
            self.times.per_tick,
            bounded(self.times.units(link.delay)),
            int(link.loses > 0.0 or link.repeats > 0.0),
            parted,
            over,
        ]
        parts_at = math.inf if link.parts_at_m is None else link.parts_at_m
        moments, heights = planned.moments()
        recipes = recipes_of(scenario)
        read = {name for each in scenario.requirements for name in each.signals}
        plan = Plan(
            scalars=np.array(scalars, dtype=np.int64),
            reals=np.array([link.loses, link.repeats, parts_at]),
            lists=np.array(self.lists or [0], dtype=np.int64),
            code=np.concatenate([each.code for each in self.tables]),
            numbers=np.concatenate([each.numbers for each in self.tables]),
            boot=np.concatenate([each.boot for each in self.tables]),
            computers=_table(computers, len(Computer)),
            labels=_table(labels, max(Label) + 1),
            boxes=_table(boxes, len(Box)),
            moments=_table(moments, len(Moment)),
            heights=np.array(heights, dtype=np.float64),
            crew=_table(planned.crew, len(Crew)),
            faults=_table(planned.faults, len(Fault)),
            facts=_table(facts, len(Fact)),
            canon=self.labels.canon,
        )
        return Batch(
            scenario=scenario,
            tables=self.tables,
            plan=plan,
            labels=self.labels,
            most_told=max(each.most_events for each in self.tables),
            fields=max(len(each.published) for each in self.tables),
            letters=64,
            inputs=self.next[3],
            pulses=self.next[4],
            servos=self.next[5],
            facts=entries,
            logs=self.logs,
            signals=Selection.of(recipes),
            read=Selection.of(recipes, read),
        )

    def _labels(self, row: int) -> list[int]:
        """Labels of one computer, as `Label` and `EventKind` number the columns."""
        computer, tables = self.names[row], self.tables[row]
        words = Words(tables)
        rate = tables.sequence.rate_hz
        found = [NONE] * (max(Label) + 1)
        for kind, (word, names) in words.about.items():
            found[kind] = self.labels.add(
                word,
                [f"{computer}.{name}" for name in names],
                lambda whole, _real, kind=kind: words.detail(kind, whole),  # type: ignore[misc]
            )
        own = {
            Label.LATE: ("late", lambda _whole, _real: details.TICK_SKIPPED),
            Label.BOOTED: ("booted", lambda whole, _real: details.booted(whole)),
            Label.LOG_FULL: ("log_full", lambda whole, _real: details.log_full(whole / rate)),
            Label.LOG_CUT: ("log_cut", lambda whole, _real: details.log_cut(whole / rate)),
            Label.BROWN_OUT: ("brown_out", lambda _whole, real: details.brown_out(real)),
        }
        for column, (word, detail) in own.items():
            found[column] = self.labels.add(word, (computer,), detail)
        return found

    def _boxes(self) -> list[list[int]]:
        rows: list[list[int]] = []
        for reader, logic in self.scenario.sequences.items():
            wanted: dict[str, list[int]] = {}
            for place, source in enumerate(logic.inputs.values()):
                if source.message is None:
                    continue
                sender, field = source.message
                publication = self.scenario.sequences[sender].publication
                fields = publication.fields if publication is not None else ()
                wanted.setdefault(sender, []).extend((place, fields.index(field)))
            for sender, pairs in wanted.items():
                self.box_at[reader, sender] = len(rows)
                name = (f"{reader}.{sender}",)
                corrupt = self.labels.add("corrupt", name, lambda n, _: details.corrupt(n))
                dropped = self.labels.add("dropped", name, lambda n, _: details.dropped(n))
                rows.append([*self._list(pairs), corrupt, dropped])
        return rows

    def _facts(self) -> tuple[list[list[int]], int]:
        rows: list[list[int]] = []
        entries = 0
        names = names_of_facts(self.scenario)
        for field, kind in FACTS.items():
            several = names.get(field, ("",))
            if several:
                at = OUT.fields[field][1] // 8  # type: ignore[index]
                rows.append([at, len(several), self.labels.add(kind, several, no_detail), entries])
            entries += len(several)
        return rows, entries

    def _list(self, values: Iterable[int]) -> tuple[int, int]:
        """Where these stand in the lists: begin and end."""
        at = len(self.lists)
        self.lists.extend(values)
        return at, len(self.lists)

    def _computer(self, row: int) -> list[int]:
        name, tables = self.names[row], self.tables[row]
        logic, wires = tables.sequence, self.scenario.wires[name]
        counts = (
            *(len(tables.code), len(tables.numbers), len(tables.boot), len(logic.inputs)),
            *(len(wires.channels), len(wires.servos)),
        )
        begins = list(self.next)
        ends = [at + count for at, count in zip(begins, counts, strict=True)]
        self.next = ends
        sensors = [(i, sensor) for i, sensor in enumerate(wires.sensors) if sensor >= 0]
        channels = [(i, each) for i, several in enumerate(wires.channels) for each in several]
        reads = [box for (reader, _), box in self.box_at.items() if reader == name]
        posts = [box for (_, sender), box in self.box_at.items() if sender == name]
        turn = self.drifts.turn(self.scenario.rate_hz // logic.rate_hz)
        return [
            *(bound for pair in zip(begins[:4], ends[:4], strict=True) for bound in pair),
            begins[4],
            begins[5],
            *self._list(value for pair in sensors for value in pair),
            *self._list(value for pair in channels for value in pair),
            self._list(wires.servos)[0],
            *self._list(tables.flags[flag] for flag in tables.retained),
            *self._list(place for pair in tables.published for place in pair),
            logic.publication.period_ticks if logic.publication is not None else 0,
            logic.boot_ticks,
            NONE if wires.power is None else wires.power,
            *self._logger(row, wires.logger),
            *self._list(reads),
            *self._list(posts),
            turn,
            self.drifts.nominal,
        ]

    def _logger(self, row: int, logger: Logger | None) -> tuple[int, int, int, int]:
        """Whether there is one; its memory, its buffer and how often it stalls, in ticks."""
        if logger is None:
            return 0, 0, 0, 0
        rate = self.tables[row].sequence.rate_hz
        self.logs[self.names[row]] = (row, rate)
        memory = _ENDLESS if logger.memory_s is None else ticks(logger.memory_s, rate)
        every = 0 if logger.stall_every_s is None else ticks(logger.stall_every_s, rate)
        return 1, memory, ticks(logger.buffer_s, rate), every
