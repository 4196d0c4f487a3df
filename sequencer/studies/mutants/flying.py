"""Flies mutants through scenarios until one of them notices."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

from sequencer.errors import UsageError
from sequencer.execute.recording import Recording
from sequencer.execute.tables import tables_of
from sequencer.flight.batch import fly_flights
from sequencer.record import FlightRecord
from sequencer.scenario import Scenario, compare, load_scenario
from sequencer.sequence import Sequence as FlightLogic
from sequencer.sequence import load_sequence
from sequencer.studies.mutants.baseline import Baseline, fly_baseline, read_given
from sequencer.studies.mutants.model import Mutant, Shows
from sequencer.studies.mutants.results import Found, key_of
from sequencer.vehicle import Vehicle

__all__ = ["Suite", "Which", "first_event"]


@dataclass(frozen=True, slots=True)
class Which:
    """One scenario of a suite.

    name   that nobody else in the suite has
    key    of all that its outcome depends on
    """

    name: str
    path: Path
    key: str


class Suite:
    """A sequence and scenarios that fly it, read when they are first asked for.

    folder   for what its computer is given in each scenario; shared by all processes
    """

    def __init__(self, sequence: Path, folder: Path) -> None:
        self.sequence = load_sequence(sequence)
        self._folder = folder
        self._scenarios: dict[Path, Scenario] = {}
        self._logics: dict[tuple[str, Path], FlightLogic] = {}
        self._recordings: dict[str, Recording] = {}
        self._next: Scenario | None = None
        # whole flights: only those are taken one by one
        self._records = fly_flights(iter(self._take, None))

    def look(self, path: Path) -> str | None:
        """The key of a scenario; None where it does not fly this sequence.

        Raises InputError for one that cannot be used.
        """
        scenario = load_scenario(path)
        if not _flies(scenario, self.sequence):
            return None
        # scenarios that fly the same files share what was read, and so the tables made of it
        shared = {
            name: self._logics.setdefault((logic.digest, logic.path.resolve()), logic)
            if isinstance(scenario.source, Vehicle)
            else logic
            for name, logic in scenario.sequences.items()
        }
        self._scenarios[path] = replace(scenario, sequences=MappingProxyType(shared))
        return key_of(scenario.hashes)

    def baseline(self, which: Which) -> Baseline:
        """Fly a scenario as it stands."""
        scenario = self._scenario(which)
        return fly_baseline(scenario, self.sequence.name, self._folder / which.key)

    def fly(self, mutant: Mutant, order: Sequence[Which], *, wanted: int = 1) -> Found:
        """Fly a mutant through scenarios, in this order, until so many as are wanted notice."""
        tables = tables_of(mutant.sequence)
        crews: dict[tuple[int, ...], Mapping[str, FlightLogic]] = {}
        found = Found(mutant.id)
        for which in order:
            if self._recording(which).first_difference(tables, first_event(mutant.shows)) is None:
                found.same.append(which.key)
                continue
            scenario = self._scenario(which)
            crew = tuple(map(id, scenario.sequences.values()))
            if crew not in crews:
                crews[crew] = _manned(scenario, mutant.sequence)
            record = self._record(replace(scenario, sequences=crews[crew]))
            shortfalls = compare(scenario.expect, record)
            if not shortfalls:
                found.lived.append(which.key)
                continue
            found.killers[which.key] = shortfalls[0].what
            if len(found.killers) == wanted:
                break
        return found

    def _record(self, scenario: Scenario) -> FlightRecord:
        self._next = scenario
        return next(self._records)

    def _take(self) -> Scenario | None:
        return self._next

    def _scenario(self, which: Which) -> Scenario:
        if which.path not in self._scenarios and self.look(which.path) is None:
            raise UsageError(f"{which.path}: has changed while it was flown")
        scenario = self._scenarios[which.path]
        if key_of(scenario.hashes) != which.key:
            raise UsageError(f"{which.path}: has changed while it was flown")
        return scenario

    def _recording(self, which: Which) -> Recording:
        if which.key not in self._recordings:
            given = read_given(self._folder / which.key)
            self._recordings[which.key] = Recording(tables_of(self.sequence), given)
        return self._recordings[which.key]


def _flies(scenario: Scenario, sequence: FlightLogic) -> bool:
    own = scenario.sequences.get(sequence.name)
    return (
        own is not None
        and own.digest == sequence.digest
        and own.path.resolve() == sequence.path.resolve()
    )


def first_event(shows: Shows) -> tuple[str, frozenset[str]] | None:
    """The event up to which nothing differs at all, as recordings want it; None: from the start."""
    return None if shows.what == "anywhere" or shows.remembered else (shows.what, shows.names)


def _manned(scenario: Scenario, logic: FlightLogic) -> Mapping[str, FlightLogic]:
    """The scenario's sequences with a changed one among them.

    Where the inputs come from a log they stand in its columns, whatever the file says.
    """
    own = scenario.sequences[logic.name]
    if own.inputs != logic.inputs:
        logic = replace(logic, inputs=own.inputs)
    return MappingProxyType({**scenario.sequences, own.name: logic})
