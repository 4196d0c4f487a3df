"""Reads a scenario file and everything that it names, and ties it all together."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Mapping
from fnmatch import fnmatchcase
from functools import partial
from pathlib import Path
from typing import Any, TypeVar, cast

from sequencer.checks import Requirement, build_requirements, load_requirements
from sequencer.documents import Document, Loc, read_document
from sequencer.errors import InputError, nearest
from sequencer.scenario.cells import read_covers
from sequencer.scenario.dispersions import resolve_dispersions
from sequencer.scenario.expect import Expectation, Window
from sequencer.scenario.extend import read_extended
from sequencer.scenario.labels import labels_of
from sequencer.scenario.model import Link, Recording, Scenario, Wires
from sequencer.scenario.names import Names
from sequencer.scenario.plans import crew_actions, planned_faults, world_faults
from sequencer.scenario.schema import LONGEST_S, LinkTable, ScenarioFile
from sequencer.scenario.signals import signals_of
from sequencer.scenario.site import Site, vehicle_site
from sequencer.scenario.stream import stream_site
from sequencer.scenario.stream_file import read_log
from sequencer.sequence import Sequence, check_messages, load_sequence
from sequencer.units import exact
from sequencer.vehicle import Vehicle, load_vehicle

__all__ = ["SUFFIX", "Shelf", "build_scenario", "load_scenario"]

SUFFIX = ".scenario.toml"
_SHARED = ".requirements.toml"

#: two computers whose rates have no small common multiple would make the world crawl
_FASTEST_HZ = 2000
_SLOWEST_HZ = 100

_T = TypeVar("_T")


def load_scenario(path: str | Path) -> Scenario:
    """The scenario in `path`, with vehicle, sequences and requirements read and resolved.

    Raises InputError (file, line, what, nearest valid choice) for whatever cannot be used.
    """
    return build_scenario(Path(path), read_extended(Path(path)), Shelf())


def build_scenario(path: Path, document: Document, shelf: Shelf) -> Scenario:
    """The scenario that a document in `path` describes; files that it names come from a shelf.

    Raises InputError as `load_scenario` does.
    """
    tables = document.validate(ScenarioFile)
    folder = path.parent
    top = tables.scenario

    site, rate = _site(document, tables, folder, shelf)
    sequences = site.sequences
    resolved, rows = world_faults(document, tables.faults, site, rate)
    inputs = _input_signals(sequences, site.wires)
    signals = signals_of(sequences, site.signals, inputs)
    flies = isinstance(site.source, Vehicle)
    planned = [fault.name for fault in tables.faults]
    labels = labels_of(sequences, site.places, planned, flies=flies)
    names = Names(document, signals, labels, sequences, flies)
    requirements, digests = _requirements(names, tables, folder, shelf)
    faults = planned_faults(names, tables.faults, rows, site)
    params, link = site.assemble(resolved), _link(tables.link, flies=flies)
    return Scenario(
        name=path.name.removesuffix(SUFFIX),
        path=path,
        title=top.title,
        reason=top.reason,
        covers=read_covers(document, top.covers, tables.faults),
        tags=tuple(top.tags),
        source=site.source,
        sequences=sequences,
        wires=site.wires,
        places=site.places,
        params=params,
        rate_hz=rate,
        stop_ticks=_stop(document, top.stop_s, site.source, rate),
        after_touchdown_s=top.after_touchdown_s,
        link=link,
        crew=crew_actions(names, tables.crew, site.places),
        faults=faults,
        requirements=requirements,
        input_signals=inputs,
        expect=_expect(names, tables, requirements),
        hashes=_hashes(document, site) | digests,
        dispersions=resolve_dispersions(document, tables, site, params, faults, link, rate),
    )


class Shelf:
    """Files that scenarios name, each read once: for whoever builds many scenarios of them."""

    def __init__(self) -> None:
        self._read: dict[Path, Any] = {}

    def take(self, path: Path, load: Callable[[Path], _T]) -> _T:
        """What `load` made of a file. Raises InputError as that does."""
        if path not in self._read:
            self._read[path] = load(path)
        return cast("_T", self._read[path])


def _site(document: Document, tables: ScenarioFile, folder: Path, shelf: Shelf) -> tuple[Site, int]:
    """What the computers are connected to, and the rate of its ticks."""
    top = tables.scenario
    if tables.stream is not None:
        sequences = _sequences(document, tables, folder, shelf)
        rate = _world_rate(document, sequences)
        place: Loc = ("stream", "file")
        log = _file(
            shelf,
            document,
            place,
            folder / tables.stream.file,
            partial(read_log, separator=tables.stream.separator),
        )
        site = stream_site(document, tables.stream, sequences, log, rate)
    else:
        for key in ("vehicle", "stop_s"):
            if getattr(top, key) is None:
                raise document.error(("scenario",), f"'{key}' is missing in [scenario]")
        place = ("scenario", "vehicle")
        vehicle = _file(shelf, document, place, folder / str(top.vehicle), load_vehicle)
        sequences = _sequences(document, tables, folder, shelf)
        rate = _world_rate(document, sequences)
        site = vehicle_site(document, tables, sequences, vehicle, rate)
    check_messages(site.sequences)
    return site, rate


def _stop(
    document: Document, stop_s: float | None, source: Vehicle | Recording, rate_hz: int
) -> int:
    """Ticks of the record at most: to `stop_s`, or to the end of the log if that is sooner."""
    most = math.inf if stop_s is None else max(1, math.ceil(round(stop_s * rate_hz, 6)))
    if isinstance(source, Recording):
        most = min(most, source.last_tick + 1)
        if most > LONGEST_S * rate_hz:
            raise document.error(
                ("stream", "file"),
                f"the log lasts {source.last_tick / rate_hz:.1f} s, which is more than "
                f"{LONGEST_S}: say with stop_s where the record ends",
            )
    return int(most)


def _file(
    shelf: Shelf, document: Document, place: Loc, path: Path, load: Callable[[Path], _T]
) -> _T:
    """Load a file that the scenario names; one that is not there is the scenario's fault."""
    try:
        return shelf.take(path, load)
    except InputError as error:
        if error.file == str(path) and error.line is None:
            near = None if error.nearest is None else Path(error.nearest).name
            raise document.error(place, f"'{path.name}': {error.what}", nearest=near) from None
        raise


def _sequences(
    document: Document, tables: ScenarioFile, folder: Path, shelf: Shelf
) -> dict[str, Sequence]:
    found: dict[str, Sequence] = {}
    for number, name in enumerate(tables.scenario.sequences):
        place: Loc = ("scenario", "sequences", number)
        logic = _file(shelf, document, place, folder / name, load_sequence)
        if logic.name in found:
            raise document.error(place, f"computer '{logic.name}' has a sequence already")
        found[logic.name] = logic
    return found


def _world_rate(document: Document, sequences: Mapping[str, Sequence]) -> int:
    rate = math.lcm(*(logic.rate_hz for logic in sequences.values()))
    if rate > _FASTEST_HZ:
        rates = " and ".join(str(logic.rate_hz) for logic in sequences.values())
        raise document.error(
            ("scenario", "sequences"),
            f"rates {rates} Hz meet only at {rate} Hz; the world steps at most {_FASTEST_HZ} Hz",
        )
    return rate * math.ceil(_SLOWEST_HZ / rate)


def _link(table: LinkTable, *, flies: bool) -> Link:
    parts_at_m = table.parts_at_m if flies else None
    return Link(exact(table.delay_s), table.loses, table.repeats, parts_at_m)


def _input_signals(
    sequences: Mapping[str, Sequence], wires: Mapping[str, Wires]
) -> tuple[tuple[str, str, int], ...]:
    """(signal name, unit, sensor index) of what each computer reads from its sensors."""
    return tuple(
        (f"{computer}_{name}", source.unit, sensor)
        for computer, logic in sequences.items()
        for (name, source), sensor in zip(
            logic.inputs.items(), wires[computer].sensors, strict=True
        )
        if sensor >= 0
    )


def _requirements(
    names: Names, tables: ScenarioFile, folder: Path, shelf: Shelf
) -> tuple[tuple[Requirement, ...], dict[str, str]]:
    """All requirements, and the digests of the files that some of them come from."""
    document = names.document
    found: list[Requirement] = []
    digests: dict[str, str] = {}
    for number, name in enumerate(tables.scenario.requirements):
        place = ("scenario", "requirements", number)
        file = _file(shelf, document, place, folder / name, read_document)
        shared = load_requirements(file, names.signals, names.labels)
        digests[f"requirements {name.removesuffix(_SHARED)}"] = file.digest
        taken = {requirement.name for requirement in found}
        for requirement in shared:
            if requirement.name in taken:
                raise document.error(
                    place, f"'{name}' has another requirement named '{requirement.name}'"
                )
        found.extend(shared)

    def complain(loc: Loc, what: str, *, nearest: str | None = None) -> InputError:
        return document.error(("requirements", *loc), what, nearest=nearest)

    own = build_requirements(
        tables.requirements,
        complain,
        names.signals,
        known_events=names.labels,
        taken={requirement.name for requirement in found},
    )
    return (*found, *own), digests


def _expect(
    names: Names, tables: ScenarioFile, requirements: tuple[Requirement, ...]
) -> Expectation:
    table = tables.expect
    known = [requirement.name for requirement in requirements]
    for key in ("breaks", "not_exercised", "not_decided"):
        for number, pattern in enumerate(getattr(table, key)):
            if not any(fnmatchcase(name, pattern) for name in known):
                raise names.document.error(
                    ("expect", key, number),
                    f"no requirement is named '{pattern}'",
                    nearest=nearest(pattern, known),
                )
    for number, label in enumerate(table.order):
        names.label(("expect", "order", number), label)
    for number, pattern in enumerate(table.never):
        names.pattern(("expect", "never", number), pattern)
    for number, window in enumerate(table.events):
        names.label(("expect", "events", number, "event"), window.event)
    return Expectation(
        outcome=table.outcome,
        order=tuple(table.order),
        windows=tuple(
            Window(window.event, window.between_s[0], window.between_s[1])
            for window in table.events
        ),
        never=tuple(table.never),
        breaks=tuple(table.breaks),
        not_exercised=tuple(table.not_exercised),
        not_decided=tuple(table.not_decided),
        faults=tuple(fault.name for fault in tables.faults),
        crew=tuple(f"{action.switch} {'on' if action.on else 'off'}" for action in tables.crew),
        may_rest=frozenset(rule.name for rule in requirements if rule.may_rest),
    )


def _hashes(document: Document, site: Site) -> dict[str, str]:
    hashes = {"scenario": hashlib.sha256(document.digest.encode()).hexdigest(), **site.hashes}
    hashes.update({f"sequence {name}": logic.digest for name, logic in site.sequences.items()})
    return hashes
