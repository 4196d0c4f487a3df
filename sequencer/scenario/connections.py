"""The vehicle as it flies in one scenario: what is connected otherwise than its file says."""

from __future__ import annotations

from collections.abc import Mapping

from sequencer.documents import Document, Loc
from sequencer.scenario.schema import ScenarioFile
from sequencer.sequence import Sequence
from sequencer.vehicle import Vehicle, rewired
from sequencer.vehicle.circuits import unsafe_test
from sequencer.vehicle.electrics import wire
from sequencer.vehicle.lookup import known
from sequencer.vehicle.model import Wire

__all__ = ["as_flown"]


def as_flown(
    document: Document, tables: ScenarioFile, vehicle: Vehicle, sequences: Mapping[str, Sequence]
) -> Vehicle:
    """`vehicle` with the scenario's [wiring.COMPUTER] and [plugs] in place of its own.

    Raises InputError at the scenario's line for a name that does not exist, for a function that
    would drive the wrong sort of thing, and for a load that its new channel must not test.
    """
    if not tables.wiring and not tables.plugs:
        return vehicle
    for load, channel in tables.plugs.items():
        at: Loc = ("plugs", load)
        known(document, at, "load", load, vehicle.loads)
        known(document, at, "channel", channel, vehicle.channels)
        what = unsafe_test(vehicle.channels[channel], vehicle.loads[load])
        if what is not None:
            raise document.error(at, what)
    wires: dict[str, dict[str, Wire]] = {}
    for computer, table in tables.wiring.items():
        logic = sequences[known(document, ("wiring", computer), "computer", computer, sequences)]
        wires[computer] = {
            function: _wire(document, ("wiring", computer, function), vehicle, logic, given)
            for function, given in table.items()
        }
    flown = rewired(vehicle, plugs=tables.plugs, wires=wires)
    for computer, changed in wires.items():
        _check_servos(document, computer, changed, flown)
    return flown


def _wire(
    document: Document,
    at: Loc,
    vehicle: Vehicle,
    logic: Sequence,
    given: str | tuple[str, ...],
) -> Wire:
    name = str(at[-1])
    known(document, at, f"function of '{logic.name}'", name, logic.functions)
    made = wire(document, at, logic.name, given, vehicle.channels, vehicle.servos)
    kind = logic.functions[name].kind
    if (kind == "servo") != (made.servo is not None):
        driven = "a channel" if made.servo is None else "a servo"
        raise document.error(
            at, f"function '{name}' of '{logic.name}' is of kind {kind}, but is wired to {driven}"
        )
    return made


def _check_servos(
    document: Document, computer: str, changed: Mapping[str, Wire], flown: Vehicle
) -> None:
    """No servo may obey two functions; only what the scenario changed can have made it so."""
    wiring = flown.wiring[computer]
    for name, made in changed.items():
        if made.servo is None:
            continue
        also = [each for each in wiring if each != name and wiring[each].servo == made.servo]
        if also:
            raise document.error(
                ("wiring", computer, name),
                f"servo '{made.servo}' already belongs to function '{also[0]}'",
            )
