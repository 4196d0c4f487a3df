"""Whether a vehicle's wiring gives every function of a sequence something that it can drive."""

from __future__ import annotations

from sequencer.documents import located
from sequencer.errors import nearest
from sequencer.sequence import Sequence as FlightLogic
from sequencer.vehicle.model import Vehicle, Wire

__all__ = ["wired_functions"]


def wired_functions(logic: FlightLogic, vehicle: Vehicle) -> tuple[Wire, ...]:
    """What the functions of a sequence drive, in their order.

    Raises InputError for one that is not wired, or is wired to what it cannot drive.
    """
    computer = logic.name
    wiring = vehicle.wiring.get(computer, {})
    found = []
    for name, function in logic.functions.items():
        wire = wiring.get(name)
        if wire is None:
            raise located(
                logic.path,
                ("functions", name),
                f"function '{name}' of computer '{computer}' is not wired in {vehicle.path.name}",
                nearest(name, [each for each in wiring if each not in logic.functions]),
            )
        if (function.kind == "servo") != (wire.servo is not None):
            what = "a servo" if wire.servo is not None else "a channel"
            raise located(
                vehicle.path,
                ("wiring", computer, name),
                f"function '{name}' of computer '{computer}' is a {function.kind} in its "
                f"sequence, but is wired to {what}",
            )
        found.append(wire)
    return tuple(found)
