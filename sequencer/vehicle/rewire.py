"""The same vehicle, connected differently."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from sequencer.errors import UsageError, nearest
from sequencer.vehicle.circuits import unsafe_test
from sequencer.vehicle.model import Vehicle, Wire

__all__ = ["rewired"]


def rewired(
    vehicle: Vehicle,
    *,
    plugs: Mapping[str, str] | None = None,
    wires: Mapping[str, Mapping[str, Wire]] | None = None,
) -> Vehicle:
    """A copy of `vehicle` with some connections changed; all others stay.

    plugs   load -> full name of the channel that it is plugged into
    wires   computer -> function -> what it drives

    Raises UsageError for a name that does not exist, a wire to another computer's output, or a
    load whose new channel must not test it.
    """
    loads = dict(vehicle.loads)
    for name, channel in (plugs or {}).items():
        _known("load", name, loads)
        _known("channel", channel, vehicle.channels)
        what = unsafe_test(vehicle.channels[channel], loads[name])
        if what is not None:
            raise UsageError(what)
        loads[name] = replace(loads[name], channel=channel)
    wiring = {computer: dict(table) for computer, table in vehicle.wiring.items()}
    for computer, table in (wires or {}).items():
        _known("computer", computer, wiring)
        owner = vehicle.computers[computer]
        for function, wire in table.items():
            for channel in wire.channels:
                _known(f"channel of '{computer}'", channel, owner.channels)
            if wire.servo is not None:
                _known(f"servo of '{computer}'", wire.servo, owner.servos)
            wiring[computer][function] = wire
    return replace(vehicle, loads=loads, wiring=wiring)


def _known(what: str, name: str, choices: Mapping[str, object] | tuple[str, ...]) -> None:
    if name not in choices:
        near = nearest(name, choices)
        hint = f"; did you mean '{near}'?" if near else f" (known: {', '.join(choices)})"
        raise UsageError(f"unknown {what} '{name}'{hint}")
