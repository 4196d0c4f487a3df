"""Resolves computers, what they own, what is plugged in, and the wiring of a vehicle file."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

from sequencer.documents import Document, Loc
from sequencer.units import unit
from sequencer.vehicle import capacity, circuits
from sequencer.vehicle.logger import logger
from sequencer.vehicle.lookup import at_most, known, si, unknown
from sequencer.vehicle.model import Channel, Computer, Sensor, Servo, Wire
from sequencer.vehicle.schema import (
    ComputerTable,
    GimbalServoTable,
    MechanismServoTable,
    VehicleFile,
)
from sequencer.vehicle.sensors import KINDS, SensorTable, number_key

__all__ = ["Electrics", "electrics", "wire", "wiring"]

#: of a barometer: neither means anything without the other
_BAY = ("bay_pressure_pa", "bay_decay_s")


@dataclass(slots=True)
class Electrics:
    """Everything that belongs to a computer, by full name."""

    computers: dict[str, Computer] = field(default_factory=dict)
    channels: dict[str, Channel] = field(default_factory=dict)
    servos: dict[str, Servo] = field(default_factory=dict)
    sensors: dict[str, Sensor] = field(default_factory=dict)
    switches: list[str] = field(default_factory=list)

    @property
    def roles(self) -> dict[str, str]:
        """Role of a servo -> its name (the last one of gimbals)."""
        return {servo.role: name for name, servo in self.servos.items()}


def electrics(document: Document, file: VehicleFile, gimbals: Collection[str]) -> Electrics:
    """Computers with their channels, servos, sensors and switches."""
    if not file.computers:
        raise document.error(("computers",), "a vehicle has at least one computer")
    at_most(document, ("computers",), file.computers, capacity.COMPUTERS, "computers")
    found = Electrics()
    crew = list(dict.fromkeys(each for table in file.computers.values() for each in table.switches))
    for name, table in file.computers.items():
        for word, channel in table.channels.items():
            at: Loc = ("computers", name, "channels", word)
            made = circuits.channel(document, at, name, channel, crew)
            found.channels[made.name] = made
        _servos(document, name, table, gimbals, found)
    for name, table in file.computers.items():
        _sensors(document, file, name, table, found)
        found.computers[name] = Computer(
            name=name,
            battery=circuits.battery(document, ("computers", name, "battery"), table.battery),
            channels=tuple(f"{name}.{each}" for each in table.channels),
            servos=tuple(f"{name}.{each}" for each in table.servos),
            sensors=tuple(f"{name}.{each}" for each in (*table.sensors, *table.switches)),
            logger=logger(table.logger),
        )
    last: Loc = ("computers", list(file.computers)[-1])
    at_most(document, (*last, "channels"), found.channels, capacity.CHANNELS, "channels")
    at_most(document, (*last, "servos"), found.servos, capacity.SERVOS, "servos")
    at_most(document, (*last, "sensors"), found.sensors, capacity.SENSORS, "sensors and switches")
    at_most(document, (*last, "switches"), found.switches, capacity.SWITCHES, "switches")
    return found


def _servos(
    document: Document, name: str, table: ComputerTable, gimbals: Collection[str], found: Electrics
) -> None:
    """Servos of one computer."""
    for word, servo in table.servos.items():
        full = f"{name}.{word}"
        at: Loc = ("computers", name, "servos", word)
        if word in table.channels:
            raise document.error(at, f"'{word}' is both a channel and a servo of '{name}'")
        gimbal = servo.gimbal if isinstance(servo, GimbalServoTable) else None
        if gimbal is not None:
            known(document, (*at, "gimbal"), "gimbal", gimbal, gimbals)
        for other in found.servos.values():
            if (other.role, other.gimbal) == (servo.role, gimbal):
                moved = servo.role if gimbal is None else f"{servo.role} of '{gimbal}'"
                raise document.error((*at, "role"), f"servo '{other.name}' moves {moved} already")
        made = _servo(full, name, servo)
        if not made.low <= made.start <= made.high:
            raise document.error((*at, "start_deg"), f"servo '{word}' starts outside its travel")
        if made.low == made.high:
            raise document.error((*at, "low_deg"), f"servo '{word}' has no travel")
        if made.stall_a < made.moving_a:
            raise document.error(
                (*at, "moving_a"),
                f"servo '{word}' draws {made.moving_a:g} A moving, more than stalled "
                f"(stall_a {made.stall_a:g})",
            )
        found.servos[full] = made


def _servo(full: str, computer: str, table: GimbalServoTable | MechanismServoTable) -> Servo:
    """A gimbal's angles become radians; fins and legs go from 0 to 1."""
    if isinstance(table, GimbalServoTable):
        names = {f"{key}_rad": key for key in ("low", "high", "dead_band", "bias", "start")}
        return Servo(name=full, computer=computer, **si(table, names | {"rate_rad_s": "rate"}))
    values = si(table, {"rate_per_s": "rate"})
    return Servo(name=full, computer=computer, gimbal=None, low=0.0, high=1.0, **values)


def _sensors(
    document: Document, file: VehicleFile, name: str, table: ComputerTable, found: Electrics
) -> None:
    """Sensors and switches of one computer."""
    for word, sensor in table.sensors.items():
        full = f"{name}.{word}"
        at: Loc = ("computers", name, "sensors", word)
        place = _place(document, at, file, name, sensor, found)
        found.sensors[full] = _sensor(document, at, full, name, sensor, place)
    for index, word in enumerate(table.switches):
        at = ("computers", name, "switches", index)
        full = f"{name}.{word}"
        if full in found.sensors:
            other = "sensor" if word in table.sensors else "switch"
            raise document.error(at, f"'{word}' is already the name of a {other} of '{name}'")
        if word not in found.switches:
            found.switches.append(word)
        found.sensors[full] = Sensor(full, name, "switch", None, word, None)


def _sensor(
    document: Document, at: Loc, full: str, computer: str, table: SensorTable, place: str | None
) -> Sensor:
    row = KINDS[table.kind]
    if row.unit is None:
        return Sensor(full, computer, table.kind, None, place, table.rate_hz)
    factor = unit(row.unit)
    numbers: dict[str, Any] = {}
    for number in ("noise", "bias", "quantum", "low", "high"):
        value = table.number(number)
        if value is not None:
            numbers[number] = factor.span_to_si(value)
    if numbers.get("low", -math.inf) >= numbers.get("high", math.inf):
        raise document.error(
            (*at, number_key("low", row.unit)), f"sensor '{full}' has its low end above its high"
        )
    values = si(table)
    for one, other in (_BAY, _BAY[::-1]):
        if values.get(one) and not values.get(other):
            raise document.error((*at, one), f"sensor '{full}' has '{one}' but no '{other}'")
    special = ("tilt_cutoff_rad", "plume_blinds", *_BAY)
    extra = {key: values[key] for key in special if key in values}
    return Sensor(
        full,
        computer,
        table.kind,
        row.unit,
        place,
        table.rate_hz,
        lag_s=values["lag_s"],
        **numbers,
        **extra,
    )


def _place(
    document: Document,
    at: Loc,
    file: VehicleFile,
    computer: str,
    table: SensorTable,
    found: Electrics,
) -> str | None:
    """Full name of what a sensor looks at."""
    key = KINDS[table.kind].place
    named = table.place
    if key is None or named is None:
        return None
    if key == "axis":
        return named
    if key == "motor":
        return known(document, (*at, key), "motor", named, file.motors)
    own = file.computers[computer]
    choices: Collection[str] = own.channels if key == "channel" else own.servos
    full = f"{computer}.{known(document, (*at, key), f'{key} of {computer!r}', named, choices)}"
    if key == "channel" and found.channels[full].test_current_a == 0.0:
        raise document.error(
            (*at, key), f"channel '{named}' has no test_current_a to measure its continuity with"
        )
    if key == "servo":
        is_gimbal = found.servos[full].gimbal is not None
        if is_gimbal != (table.kind == "gimbal"):
            wanted = "gimbal" if is_gimbal else "mechanism"
            raise document.error(
                (*at, "kind"),
                f"servo '{named}' has the role {found.servos[full].role}: its sensor is of kind "
                f"'{wanted}'",
            )
    return full


def wiring(document: Document, file: VehicleFile, found: Electrics) -> dict[str, dict[str, Wire]]:
    """For every computer: which function of its sequence drives what."""
    wires: dict[str, dict[str, Wire]] = {name: {} for name in file.computers}
    for computer, table in file.wiring.items():
        known(document, ("wiring", computer), "computer", computer, file.computers)
        moved: dict[str, str] = {}
        for function, given in table.items():
            at: Loc = ("wiring", computer, function)
            made = wire(document, at, computer, given, found.channels, found.servos)
            if made.servo is not None:
                if made.servo in moved:
                    raise document.error(
                        at, f"servo '{given}' already belongs to function '{moved[made.servo]}'"
                    )
                moved[made.servo] = function
            wires[computer][function] = made
    return wires


def wire(
    document: Document,
    at: Loc,
    computer: str,
    given: str | tuple[str, ...],
    channels: Collection[str],
    servos: Collection[str],
) -> Wire:
    """What one function drives, as a [wiring.COMPUTER] table gives it at `at`.

    channels, servos   full names of all that the vehicle has

    Raises InputError for what is not the computer's, stands twice, or mixes servos and channels.
    """
    owned = [*channels, *servos]
    choices = [name.partition(".")[2] for name in owned if name.partition(".")[0] == computer]
    names = (given,) if isinstance(given, str) else given
    if not names:
        raise document.error(at, f"function '{at[-1]}' is wired to nothing")
    full: list[str] = []
    for index, name in enumerate(names):
        place = at if isinstance(given, str) else (*at, index)
        if name not in choices:
            raise unknown(document, place, f"channel or servo of '{computer}'", name, choices)
        full.append(f"{computer}.{name}")
        if full.count(full[-1]) > 1:
            raise document.error(place, f"channel '{name}' stands twice")
    moved = [name for name in full if name in servos]
    if not moved:
        return Wire(channels=tuple(full))
    if len(full) > 1:
        raise document.error(at, f"a servo stands alone, not in a list ('{at[-1]}')")
    return Wire(servo=moved[0])
