"""What a fault cannot change, as the vehicle is made: who plans it there means something else."""

from __future__ import annotations

from collections.abc import Iterator

from sequencer.vehicle import Vehicle
from sequencer.world.layout import FaultKind

__all__ = ["proof_of"]

_OF_ACTING = (FaultKind.IGNITER_BESIDE, FaultKind.IGNITER_LATE, FaultKind.IGNITER_SHORTS_AFTER)
_OF_CHARGES = (FaultKind.EJECTION_EARLY, FaultKind.EJECTION_LATE)
_OF_RESISTANCE = (FaultKind.BATTERY_RESISTANCE, FaultKind.BATTERY_COLD)


def proof_of(vehicle: Vehicle) -> dict[tuple[FaultKind, str], str]:
    """(kind, place) -> why a fault of that kind would change nothing there."""
    return {(kind, place): why for kind, place, why in _proof(vehicle)}


def _proof(vehicle: Vehicle) -> Iterator[tuple[FaultKind, str, str]]:
    for name, load in vehicle.loads.items():
        if load.does == "signals":
            for kind in _OF_ACTING:
                yield kind, name, f"'{name}' only signals, it never acts"
    for name, motor in vehicle.motors.items():
        if motor.ejection is None:
            for kind in _OF_CHARGES:
                yield kind, name, f"'{name}' has no ejection charge"
    for name, computer in vehicle.computers.items():
        battery = computer.battery
        if battery.resistance_ohm == 0.0:
            for kind in _OF_RESISTANCE:
                yield kind, name, f"the battery of '{name}' has no resistance"
        elif not battery.resistance_at:
            why = f"the battery of '{name}' has one resistance at all temperatures"
            yield FaultKind.BATTERY_COLD, name, why
