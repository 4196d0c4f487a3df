"""Reads a scenario file and everything that it names, and ties it all together."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Mapping
from fnmatch import fnmatchcase
from pathlib import Path
from typing import TypeVar

from sequencer.checks import Requirement, build_requirements, load_requirements
from sequencer.documents import Document, Loc, located
from sequencer.errors import InputError, nearest
from sequencer.scenario.cells import read_covers
from sequencer.scenario.computer_faults import check_stall
from sequencer.scenario.connections import as_flown
from sequencer.scenario.expect import Expectation, Window
from sequencer.scenario.extend import read_extended
from sequencer.scenario.labels import labels_of
from sequencer.scenario.model import Link, Scenario, Wires
from sequencer.scenario.names import Names
from sequencer.scenario.plans import crew_actions, planned_faults, world_faults
from sequencer.scenario.schema import LinkTable, ScenarioFile
from sequencer.scenario.signals import signals_of
from sequencer.sequence import Sequence, check_messages, load_sequence
from sequencer.units import exact, unit
from sequencer.vehicle import Vehicle, load_vehicle
from sequencer.vehicle.logger import Logger
from sequencer.world.assemble import Places, assemble

__all__ = ["SUFFIX", "load_scenario"]

SUFFIX = ".scenario.toml"

#: two computers whose rates have no small common multiple would make the world crawl
_FASTEST_HZ = 2000
_SLOWEST_HZ = 100

_T = TypeVar("_T")


def load_scenario(path: str | Path) -> Scenario:
    """The scenario in `path`, with vehicle, sequences and requirements read and resolved.

    Raises InputError (file, line, what, nearest valid choice) for whatever cannot be used.
    """
    path = Path(path)
    document = read_extended(path)
    tables = document.validate(ScenarioFile)
    folder = path.parent
    top = tables.scenario

    vehicle = _file(document, ("scenario", "vehicle"), folder / top.vehicle, load_vehicle)
    sequences = _sequences(document, tables, folder, vehicle)
    vehicle = as_flown(document, tables, vehicle, sequences)
    rate = _world_rate(document, sequences)
    resolved, rows = world_faults(document, tables.faults, vehicle, rate)
    params, places = assemble(
        vehicle, tables.weather, resolved, rate_hz=rate, seed=top.seed, flight=0
    )
    wires = {name: _wires(logic, vehicle, places) for name, logic in sequences.items()}
    inputs = _input_signals(sequences, wires)
    signals = signals_of(sequences, places.motors, inputs)
    labels = labels_of(sequences, places, [fault.name for fault in tables.faults])
    names = Names(document, signals, labels, sequences)
    requirements = _requirements(names, tables, folder)
    faults = planned_faults(names, tables.faults, rows)
    return Scenario(
        name=path.name.removesuffix(SUFFIX),
        path=path,
        title=top.title,
        reason=top.reason,
        covers=read_covers(document, top.covers, tables.faults),
        tags=tuple(top.tags),
        vehicle=vehicle,
        sequences=sequences,
        wires=wires,
        places=places,
        params=params,
        rate_hz=rate,
        stop_ticks=max(1, math.ceil(round(top.stop_s * rate, 6))),
        after_touchdown_s=top.after_touchdown_s,
        link=_link(tables.link),
        crew=crew_actions(names, tables.crew, places),
        faults=faults,
        requirements=requirements,
        input_signals=inputs,
        expect=_expect(names, tables, requirements),
        hashes=_hashes(document, vehicle, sequences),
    )


def _file(document: Document, place: Loc, path: Path, load: Callable[[Path], _T]) -> _T:
    """Load a file that the scenario names; one that is not there is the scenario's fault."""
    try:
        return load(path)
    except InputError as error:
        if error.file == str(path) and error.line is None:
            near = None if error.nearest is None else Path(error.nearest).name
            raise document.error(place, f"'{path.name}': {error.what}", nearest=near) from None
        raise


def _sequences(
    document: Document, tables: ScenarioFile, folder: Path, vehicle: Vehicle
) -> dict[str, Sequence]:
    found: dict[str, Sequence] = {}
    for number, name in enumerate(tables.scenario.sequences):
        place: Loc = ("scenario", "sequences", number)
        logic = _file(document, place, folder / name, load_sequence)
        if logic.name in found:
            raise document.error(place, f"computer '{logic.name}' has a sequence already")
        if logic.name not in vehicle.computers:
            raise document.error(
                place,
                f"'{name}' is for computer '{logic.name}', which the vehicle does not have",
                nearest=nearest(logic.name, vehicle.computers),
            )
        found[logic.name] = logic
    check_messages(found)
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


def _wires(logic: Sequence, vehicle: Vehicle, places: Places) -> Wires:
    """Which sensors a sequence reads and which channels and servos it drives.

    What is missing is the fault of the pair sequence and vehicle; the message names both.
    """
    computer = logic.name
    sensors = []
    for name, source in logic.inputs.items():
        if source.message is not None:
            sensors.append(-1)
            continue
        full = f"{computer}.{name}"
        index = places.sensors.get(full)
        if index is None:
            choices = [
                key.split(".", 1)[1] for key in places.sensors if key.startswith(f"{computer}.")
            ]
            what = f"input '{name}' of computer '{computer}' has no sensor in {vehicle.path.name}"
            raise located(logic.path, ("inputs", name), what, nearest(name, choices))
        has = unit(places.sensor_units[full]).dimension
        if unit(source.unit).dimension != has:
            raise located(
                logic.path,
                ("inputs", name),
                f"input '{name}' is declared in {source.unit}, but the sensor in "
                f"{vehicle.path.name} gives {places.sensor_units[full]}",
            )
        sensors.append(index)
    wiring = vehicle.wiring.get(computer, {})
    channels, servos = [], []
    for name, function in logic.functions.items():
        wire = wiring.get(name)
        if wire is None:
            raise located(
                logic.path,
                ("functions", name),
                f"function '{name}' of computer '{computer}' is not wired in {vehicle.path.name}",
                nearest(name, [each for each in wiring if each not in logic.functions]),
            )
        if function.kind == "servo" and wire.servo is not None:
            servos.append(places.servos[wire.servo])
        elif function.kind != "servo" and wire.channels:
            channels.append(tuple(places.channels[channel] for channel in wire.channels))
        else:
            what = "a servo" if wire.servo is not None else "a channel"
            raise located(
                vehicle.path,
                ("wiring", computer, name),
                f"function '{name}' of computer '{computer}' is a {function.kind} in its "
                f"sequence, but is wired to {what}",
            )
    return Wires(
        tuple(sensors),
        tuple(channels),
        tuple(servos),
        power=list(vehicle.computers).index(computer),
        logger=_logger(logic, vehicle),
    )


def _logger(logic: Sequence, vehicle: Vehicle) -> Logger | None:
    """The computer's logger; refuse one whose writes leave it no tick."""
    logger = vehicle.computers[logic.name].logger
    if logger is not None and logger.stall_every_s is not None:
        try:
            check_stall(logger.stall_every_s, logic, "stall_every_s")
        except InputError as error:
            place = ("computers", logic.name, "logger", "stall_every_s")
            raise located(vehicle.path, place, error.what) from None
    return logger


def _link(table: LinkTable) -> Link:
    return Link(exact(table.delay_s), table.loses, table.repeats, table.parts_at_m)


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


def _requirements(names: Names, tables: ScenarioFile, folder: Path) -> tuple[Requirement, ...]:
    document = names.document
    found: list[Requirement] = []
    for number, name in enumerate(tables.scenario.requirements):
        place = ("scenario", "requirements", number)
        shared = _file(
            document,
            place,
            folder / name,
            lambda file: load_requirements(file, names.signals, names.labels),
        )
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
    return (*found, *own)


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
        may_rest=frozenset(rule.name for rule in requirements if rule.may_rest),
    )


def _hashes(
    document: Document, vehicle: Vehicle, sequences: Mapping[str, Sequence]
) -> dict[str, str]:
    hashes = {
        "scenario": hashlib.sha256(document.digest.encode()).hexdigest(),
        "vehicle": vehicle.digest,
        "wiring": vehicle.wiring_digest,
    }
    hashes.update({f"sequence {name}": logic.digest for name, logic in sequences.items()})
    return hashes
