"""What is known of the circuits behind functions and inputs, when the vehicle is."""

from __future__ import annotations

from sequencer.lint.subject import Subject
from sequencer.sequence import Sequence
from sequencer.vehicle import Vehicle
from sequencer.vehicle.model import Channel, Load, Sensor

__all__ = [
    "channels_of",
    "continuity_inputs",
    "is_switch",
    "loads_on",
    "motors_of",
    "needs_vehicle",
    "no_motor",
    "sensor_of",
    "switches_of",
]


def needs_vehicle(subject: Subject) -> str | None:
    """What a rule about circuits or sensors lacks."""
    return None if subject.vehicle is not None else "no vehicle is known"


def sensor_of(subject: Subject, logic: Sequence, put: str) -> Sensor | None:
    """The sensor or switch behind an input; None for a message, or where no vehicle is known."""
    entry = logic.inputs[put]
    if subject.vehicle is None or entry.message is not None:
        return None
    return subject.vehicle.sensors.get(f"{logic.name}.{put}")


def is_switch(subject: Subject, logic: Sequence, put: str) -> bool:
    """Whether an input is a switch of the crew.

    Without a vehicle, every truth that is neither a message nor refreshed at a rate may be one.
    """
    entry = logic.inputs[put]
    if entry.message is not None:
        return False
    if subject.vehicle is None:
        return entry.unit == "bool" and entry.period_s is None
    sensor = sensor_of(subject, logic, put)
    return sensor is not None and sensor.kind == "switch"


def channels_of(subject: Subject, logic: Sequence, function: str) -> tuple[Channel, ...]:
    """Channels that a function drives; empty where no vehicle is known."""
    if subject.vehicle is None:
        return ()
    wire = subject.vehicle.wiring.get(logic.name, {}).get(function)
    return () if wire is None else tuple(subject.vehicle.channels[name] for name in wire.channels)


def loads_on(vehicle: Vehicle, channel: Channel) -> tuple[Load, ...]:
    """What is plugged into a channel."""
    return tuple(load for load in vehicle.loads.values() if load.channel == channel.name)


def switches_of(subject: Subject, logic: Sequence, function: str) -> tuple[str, ...]:
    """Switches of the crew that stand in every circuit of a function."""
    circuits = [
        (*channel.closed_by, *channel.opened_by)
        for channel in channels_of(subject, logic, function)
    ]
    if not circuits:
        return ()
    return tuple(name for name in circuits[0] if all(name in other for other in circuits))


def continuity_inputs(subject: Subject, logic: Sequence, channel: Channel) -> tuple[str, ...]:
    """Inputs of a sequence that read the continuity of a channel."""
    return tuple(
        put
        for put in logic.inputs
        if (sensor := sensor_of(subject, logic, put)) is not None
        and sensor.kind == "continuity"
        and sensor.place == channel.name
    )


def motors_of(logic: Sequence) -> tuple[str, ...]:
    """Functions that light a motor."""
    return tuple(one.name for one in logic.functions.values() if one.kind == "igniter")


def no_motor(subject: Subject) -> str | None:
    """What a rule about motors lacks."""
    some = any(motors_of(logic) for logic in subject.sequences.values())
    return None if some else "no sequence lights a motor"
