"""What a scenario's computers are connected to: a simulated vehicle, or a recorded log.

Both give the same: inputs with an index each, switches, what faults can hit, and the record of
numbers that a world is made from. `sequencer.scenario.stream` makes the site of a log.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sequencer.documents import Document, located
from sequencer.errors import InputError, nearest
from sequencer.record import SIGNALS
from sequencer.scenario.computer_faults import check_stall
from sequencer.scenario.connections import as_flown
from sequencer.scenario.model import Recording, Wires
from sequencer.scenario.schema import ScenarioFile
from sequencer.scenario.wired import wired_functions
from sequencer.sequence import Sequence as FlightLogic
from sequencer.units import unit
from sequencer.vehicle import Vehicle
from sequencer.vehicle.logger import Logger
from sequencer.world.assemble import assemble
from sequencer.world.faults import Reach, reach_of
from sequencer.world.places import Places, places_of

__all__ = ["Rows", "Site", "vehicle_site"]

#: faults as `sequencer.world.faults.resolve_fault` gives them
Rows = Sequence[tuple[int, int, float]]


@dataclass(frozen=True, slots=True)
class Site:
    """Everything that depends on where the inputs come from.

    sequences   as they run here: an input that a log gives is no message any more
    full_name   the name that `reach` knows a place by, from what a scenario may write
    signals     name -> unit of what is recorded beside the inputs
    facts       labels of events that the world itself can make
    hashes      of what the site was made from
    assemble    rows of faults -> one PARAMS record
    """

    source: Vehicle | Recording
    sequences: Mapping[str, FlightLogic]
    places: Places
    wires: Mapping[str, Wires]
    reach: Reach
    full_name: Callable[[str], str]
    signals: Mapping[str, str]
    hashes: Mapping[str, str]
    assemble: Callable[[Rows], np.void]


def vehicle_site(
    document: Document,
    tables: ScenarioFile,
    sequences: Mapping[str, FlightLogic],
    vehicle: Vehicle,
    rate_hz: int,
) -> Site:
    """The site of a simulated vehicle.

    Raises InputError for a sequence that does not fit the vehicle, and for what the scenario
    connects otherwise and cannot.
    """
    for number, (logic, name) in enumerate(
        zip(sequences.values(), tables.scenario.sequences, strict=True)
    ):
        if logic.name not in vehicle.computers:
            raise document.error(
                ("scenario", "sequences", number),
                f"'{name}' is for computer '{logic.name}', which the vehicle does not have",
                nearest=nearest(logic.name, vehicle.computers),
            )
    vehicle = as_flown(document, tables, vehicle, sequences)
    places = places_of(vehicle)
    signals = {name: entry.unit for name, entry in SIGNALS.items()}
    signals |= {f"thrust_{motor}_n": "N" for motor in places.motors}
    for computer in places.computers:
        signals |= {f"battery_{computer}_v": "V", f"battery_{computer}_a": "A"}
    signals |= {f"current_{load}_a": "A" for load in places.loads}

    def numbers(faults: Rows) -> np.void:
        seed = tables.scenario.seed
        params, _ = assemble(vehicle, tables.weather, faults, rate_hz=rate_hz, seed=seed)
        return params

    return Site(
        source=vehicle,
        sequences=sequences,
        places=places,
        wires={name: _wires(logic, vehicle, places) for name, logic in sequences.items()},
        reach=reach_of(vehicle),
        full_name=str,
        signals=signals,
        hashes={"vehicle": vehicle.digest, "wiring": vehicle.wiring_digest},
        assemble=numbers,
    )


def _wires(logic: FlightLogic, vehicle: Vehicle, places: Places) -> Wires:
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
    wired = wired_functions(logic, vehicle)
    channels = [
        tuple(places.channels[channel] for channel in wire.channels)
        for wire in wired
        if wire.servo is None
    ]
    servos = [places.servos[wire.servo] for wire in wired if wire.servo is not None]
    return Wires(
        tuple(sensors),
        tuple(channels),
        tuple(servos),
        power=list(vehicle.computers).index(computer),
        logger=_logger(logic, vehicle),
    )


def _logger(logic: FlightLogic, vehicle: Vehicle) -> Logger | None:
    """The computer's logger; refuse one whose writes leave it no tick."""
    logger = vehicle.computers[logic.name].logger
    if logger is not None and logger.stall_every_s is not None:
        try:
            check_stall(logger.stall_every_s, logic, "stall_every_s")
        except InputError as error:
            place = ("computers", logic.name, "logger", "stall_every_s")
            raise located(vehicle.path, place, error.what) from None
    return logger
