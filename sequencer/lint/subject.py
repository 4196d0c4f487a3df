"""What is looked at: sequences that fly together, and the vehicle that they fly, if it is known."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from sequencer.documents import Document, Loc, read_document
from sequencer.errors import InputError, UsageError, nearest
from sequencer.scenario import SUFFIX
from sequencer.scenario.connections import as_flown
from sequencer.scenario.extend import read_extended
from sequencer.scenario.finding import find_scenarios
from sequencer.scenario.schema import ScenarioFile
from sequencer.sequence import Sequence, resolve_sequence
from sequencer.vehicle import Vehicle, load_vehicle

__all__ = ["SEQUENCE", "VEHICLE", "Subject", "read_subjects"]

SEQUENCE = ".sequence.toml"
VEHICLE = ".vehicle.toml"


@dataclass(frozen=True, slots=True, eq=False)
class Subject:
    """Sequences that fly together.

    sequences   by name of their computer
    documents   every file by its path, for the lines of keys
    vehicle     None where it is not known
    whole       whether nothing else flies with them: the set is that of a scenario
    rewired     the scenario whose wiring counts before that of the vehicle, if there is one
    words       every name that requirements and expectations speak of; None where no scenario is
                known
    """

    sequences: Mapping[str, Sequence]
    documents: Mapping[Path, Document]
    vehicle: Vehicle | None = None
    whole: bool = False
    words: frozenset[str] | None = None
    rewired: Document | None = None
    memory: dict[object, object] = field(default_factory=dict, repr=False)

    def line(self, file: Path, at: Loc | int) -> int:
        """Line of a place in a file of the subject; 1 where nothing is known of it."""
        if isinstance(at, int):
            return at
        document = self.documents.get(file)
        return (document.line(at) if document is not None else None) or 1

    @property
    def complete(self) -> bool:
        """Whether every computer from which a message is read is among the sequences."""
        return all(
            entry.message[0] in self.sequences
            for logic in self.sequences.values()
            for entry in logic.inputs.values()
            if entry.message is not None
        )


@dataclass(slots=True)
class _Reader:
    """Reads each file once, however many scenarios name it."""

    documents: dict[Path, Document] = field(default_factory=dict)
    sequences: dict[Path, Sequence] = field(default_factory=dict)
    vehicles: dict[Path, Vehicle] = field(default_factory=dict)

    def document(self, path: Path) -> Document:
        if path not in self.documents:
            self.documents[path] = read_document(path)
        return self.documents[path]

    def sequence(self, path: Path) -> Sequence:
        if path not in self.sequences:
            self.sequences[path] = resolve_sequence(self.document(path))
        return self.sequences[path]

    def vehicle(self, path: Path) -> Vehicle:
        if path not in self.vehicles:
            self.vehicles[path] = load_vehicle(path)
            self.document(path)
        return self.vehicles[path]


def read_subjects(paths: Iterable[str | Path]) -> tuple[Subject, ...]:
    """The subjects that a command line names.

    Sequence files, with or without a vehicle file among them, are one subject. A vehicle alone, a
    scenario and a folder stand for the sets of sequences and vehicle that scenarios name, each
    once; what a single scenario connects otherwise than its vehicle says counts for it.

    Raises InputError for a file that cannot be used, UsageError for one that is none of these.
    """
    reader = _Reader()
    sequences: list[Path] = []
    vehicles: list[Path] = []
    scenarios: dict[Path, bool] = {}  # whether it is named itself
    for given in map(Path, paths):
        if given.is_dir():
            scenarios |= {path: False for path in find_scenarios([given]) if path not in scenarios}
        elif given.name.endswith(SEQUENCE):
            sequences.append(given)
        elif given.name.endswith(VEHICLE):
            vehicles.append(given)
        elif given.name.endswith(SUFFIX):
            scenarios[given] = True
        elif not given.exists() and not given.is_symlink():
            raise InputError("no such file or folder", file=given)
        else:
            raise UsageError(
                f"{given}: not a sequence, a vehicle, a scenario or a folder "
                f"(names end in {SEQUENCE}, {VEHICLE}, {SUFFIX})"
            )
    if len(vehicles) > 1:
        raise UsageError(f"{vehicles[1]}: sequences fly one vehicle, and {vehicles[0]} is named")
    if vehicles and not sequences:
        scenarios |= dict.fromkeys(_flying(reader, vehicles[0]), False)
    found = list(_of_scenarios(reader, scenarios))
    if sequences:
        found.append(_of_sequences(reader, sequences, vehicles[0] if vehicles else None))
    return tuple(found)


def _of_sequences(reader: _Reader, paths: list[Path], vehicle: Path | None) -> Subject:
    logics: dict[str, Sequence] = {}
    for path in dict.fromkeys(paths):
        logic = reader.sequence(path)
        if logic.name in logics:
            raise UsageError(
                f"{path}: computer '{logic.name}' has a sequence already, "
                f"{logics[logic.name].path}; a scenario or its folder says which fly together"
            )
        logics[logic.name] = logic
    flown = None if vehicle is None else reader.vehicle(vehicle)
    for logic in logics.values():
        if flown is not None and logic.name not in flown.computers:
            raise reader.document(logic.path).error(
                ("sequence", "name"),
                f"computer '{logic.name}' does not stand in {flown.path.name}",
                nearest=nearest(logic.name, flown.computers),
            )
    return Subject(logics, reader.documents, flown)


def _of_scenarios(reader: _Reader, scenarios: Mapping[Path, bool]) -> Iterator[Subject]:
    """The sets that scenarios name; those of scenarios that are only in a folder, each once."""
    sets: dict[tuple[Path | None, tuple[Path, ...]], list[Path]] = {}
    words: dict[Path, frozenset[str]] = {}
    for path, alone in scenarios.items():
        document = read_extended(path)
        tables = document.validate(ScenarioFile)
        top = tables.scenario
        words[path] = _words(reader, document, tables)
        files = tuple(_beside(document, i, name) for i, name in enumerate(top.sequences))
        vehicle = None
        if top.vehicle is not None and tables.stream is None:
            vehicle = _named(document, ("scenario", "vehicle"), top.vehicle)
        if alone:
            yield _scenario(reader, path, document, tables, vehicle, files, words[path])
        else:
            sets.setdefault((vehicle, files), []).append(path)
    for (vehicle, files), members in sets.items():
        if vehicle is None and any(files == other and v is not None for v, other in sets):
            continue  # a log flown with what flies on a vehicle too
        logics = {logic.name: logic for logic in map(reader.sequence, files)}
        flown = None if vehicle is None else reader.vehicle(vehicle)
        spoken = frozenset[str]().union(*(words[member] for member in members))
        # what a log gives may be a message that nobody in the set sends
        whole = flown is not None
        yield Subject(logics, reader.documents, flown, whole=whole, words=spoken)


def _scenario(
    reader: _Reader,
    path: Path,
    document: Document,
    tables: ScenarioFile,
    vehicle: Path | None,
    files: tuple[Path, ...],
    words: frozenset[str],
) -> Subject:
    """The set of one scenario, wired as it flies there."""
    logics = {logic.name: logic for logic in map(reader.sequence, files)}
    flown = None if vehicle is None else reader.vehicle(vehicle)
    if flown is not None:
        flown = as_flown(document, tables, flown, logics)
        reader.documents[path] = document
    return Subject(
        logics,
        reader.documents,
        flown,
        whole=flown is not None,
        words=words,
        rewired=document,
    )


def _flying(reader: _Reader, vehicle: Path) -> list[Path]:
    """Scenarios beside a vehicle file that fly it."""
    reader.vehicle(vehicle)
    own = vehicle.resolve()
    found = []
    for path in sorted(vehicle.parent.glob(f"*{SUFFIX}")):
        top = read_extended(path).validate(ScenarioFile).scenario
        if top.vehicle is not None and (path.parent / top.vehicle).resolve() == own:
            found.append(path)
    if not found:
        raise UsageError(f"{vehicle}: no scenario beside it flies it; name its sequences as well")
    return found


def _beside(document: Document, number: int, name: str) -> Path:
    return _named(document, ("scenario", "sequences", number), name)


def _named(document: Document, place: Loc, name: str) -> Path:
    """A file that a scenario names. Raises InputError at the scenario's line if it is not there."""
    path = document.path.parent / name
    if not path.exists():
        near = nearest(name, sorted(each.name for each in path.parent.glob("*.toml")))
        raise document.error(place, f"'{name}': no such file", nearest=near)
    return path


def _words(reader: _Reader, document: Document, tables: ScenarioFile) -> frozenset[str]:
    """All words that the requirements and expectations of a scenario speak of."""
    spoken: set[str] = set()
    for key in ("requirements", "expect", "faults", "crew"):
        _collect(document.data.get(key), spoken)
    for number, name in enumerate(tables.scenario.requirements):
        place = ("scenario", "requirements", number)
        _collect(reader.document(_named(document, place, name)).data, spoken)
    return frozenset(spoken)


def _collect(data: object, into: set[str]) -> None:
    if isinstance(data, str):
        into.update(re.findall(r"[a-z][a-z0-9_.]*", data))
    elif isinstance(data, Mapping):
        for key, value in data.items():
            if key != "reason":
                _collect(value, into)
    elif isinstance(data, list):
        for value in data:
            _collect(value, into)
