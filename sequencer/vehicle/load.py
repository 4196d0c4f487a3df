"""Reads a vehicle file."""

from __future__ import annotations

from pathlib import Path

from sequencer.documents import read_document
from sequencer.errors import nearest
from sequencer.vehicle import airframe, circuits, electrics
from sequencer.vehicle.model import Vehicle
from sequencer.vehicle.schema import VehicleFile

__all__ = ["load_vehicle"]


def load_vehicle(path: str | Path) -> Vehicle:
    """The vehicle that a ``*.vehicle.toml`` file describes, every name resolved, everything SI.

    Raises InputError with file, line and the nearest valid choice for whatever cannot be used.
    """
    document = read_document(path)
    file = document.validate(VehicleFile)
    parts = airframe.parts(document, file)
    motors, gimbals = airframe.motors(document, file, parts)
    owned = electrics.electrics(document, file, gimbals)
    turned = [servo.gimbal for servo in owned.servos.values() if servo.gimbal is not None]
    for name, motor in motors.items():
        if motor.gimbal is not None and motor.gimbal not in turned:
            what = f"no servo turns gimbal '{motor.gimbal}' of motor '{name}'"
            near = nearest(motor.gimbal, turned)
            raise document.error(("motors", name, "gimbal"), what, nearest=near)
    ground = airframe.ground(document, file)
    plugged = circuits.loads(document, file, owned.channels, len(parts))
    circuits.check_tests(document, owned.channels, plugged)
    return Vehicle(
        name=file.vehicle.name,
        about=file.vehicle.about,
        path=document.path,
        parts=parts,
        motors=motors,
        gimbals=gimbals,
        parachutes=airframe.parachutes(document, file, parts),
        aero=airframe.aero(document, file, parts, owned.roles),
        computers=owned.computers,
        channels=owned.channels,
        servos=owned.servos,
        sensors=owned.sensors,
        switches=tuple(owned.switches),
        loads=plugged,
        wiring=electrics.wiring(document, file, owned),
        separation_push_m_s=file.separation.push_m_s,
        separation_sideways_m_s=file.separation.sideways_m_s,
        ground=ground,
    )
