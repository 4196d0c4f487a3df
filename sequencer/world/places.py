"""Where everything with a name stands in the world's arrays."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sequencer.vehicle import Vehicle

__all__ = ["Places", "places_of"]


@dataclass(frozen=True, slots=True)
class Places:
    """Where everything with a name stands in the world's arrays.

    Tuples are in the order of the indices. What belongs to a computer is named with it:
    "pad.P1", "flight.ascent_y", "flight.baro"; crew switches have plain names.

    sensor_units    full name -> symbol of the unit in the vehicle file, "bool" for 0 or 1
    """

    motors: tuple[str, ...]
    loads: tuple[str, ...]
    parachutes: tuple[str, ...]
    computers: tuple[str, ...]
    gimbals: tuple[str, ...]
    channels: Mapping[str, int]
    servos: Mapping[str, int]
    sensors: Mapping[str, int]
    switches: Mapping[str, int]
    sensor_units: Mapping[str, str]


def places_of(vehicle: Vehicle) -> Places:
    """Indices of everything that a vehicle has."""
    return Places(
        motors=tuple(vehicle.motors),
        loads=tuple(vehicle.loads),
        parachutes=tuple(vehicle.parachutes),
        computers=tuple(vehicle.computers),
        gimbals=vehicle.gimbals,
        channels={name: index for index, name in enumerate(vehicle.channels)},
        servos={name: index for index, name in enumerate(vehicle.servos)},
        sensors={name: index for index, name in enumerate(vehicle.sensors)},
        switches={name: index for index, name in enumerate(vehicle.switches)},
        sensor_units={name: each.unit or "bool" for name, each in vehicle.sensors.items()},
    )
