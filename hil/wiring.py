"""How a computer of a vehicle is wired, as its firmware has to know it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from sequencer.documents import located
from sequencer.errors import UsageError, nearest
from sequencer.scenario.wired import wired_functions
from sequencer.sequence import Sequence as FlightLogic
from sequencer.vehicle import Vehicle

__all__ = ["MOST_CHANNELS", "Wiring", "wiring_of"]

#: that a board can measure, docs/link.md
MOST_CHANNELS: Final = 24
#: functions that a permit is for: hold-down, horn and lights stay off on a bench
_FIRING: Final = frozenset({"igniter", "separation", "parachute"})


@dataclass(frozen=True, slots=True)
class Wiring:
    """What a board is built for.

    digest     SHA-256 (hex), `Vehicle.firmware_wiring`
    channels   names of the computer's channels, in the order of the vehicle file
    pulses     of each function that is no servo, in their order: the channels that it fires, a bit
               each; none for hold-down, horn and lights
    """

    digest: str
    channels: tuple[str, ...]
    pulses: tuple[int, ...]


def wiring_of(sequence: FlightLogic, vehicle: Vehicle) -> Wiring:
    """The wiring of the computer that a sequence is for.

    Raises InputError if the vehicle has no such computer, for a function that is not wired or is
    wired to what it cannot drive, and UsageError for more channels than a board can tell.
    """
    computer = vehicle.computers.get(sequence.name)
    if computer is None:
        what = f"is for computer '{sequence.name}', which {vehicle.path.name} does not have"
        at = ("sequence", "name")
        raise located(sequence.path, at, what, nearest(sequence.name, vehicle.computers))
    if len(computer.channels) > MOST_CHANNELS:
        raise UsageError(
            f"{vehicle.path}: computer '{sequence.name}' has {len(computer.channels)} channels, "
            f"and a board can tell {MOST_CHANNELS}"
        )
    wires = wired_functions(sequence, vehicle)
    return Wiring(
        vehicle.firmware_wiring(sequence.name),
        tuple(name.partition(".")[2] for name in computer.channels),
        tuple(
            sum(1 << computer.channels.index(channel) for channel in wire.channels)
            * (function.kind in _FIRING)
            for function, wire in zip(sequence.functions.values(), wires, strict=True)
            if wire.servo is None
        ),
    )
