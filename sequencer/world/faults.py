"""Faults that act inside the world: the word of a scenario, what it hits, what its size means."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from sequencer.errors import InputError, nearest
from sequencer.units import unit
from sequencer.vehicle import Vehicle
from sequencer.world.layout import REMEMBERED, FaultKind
from sequencer.world.proof import proof_of

__all__ = ["FAULTS", "FaultRow", "Reach", "Reading", "fault_places", "reach_of", "resolve_fault"]

#: stands for the unit of the sensor itself
_OF_SENSOR = "of the sensor"

#: from puff to puff: the world's steps are not much shorter
_SHORTEST_PUFF_S = 0.01

#: what no fault can do to a sensor that answers 0 or 1 -> why not
_MEASURES_ONLY: Mapping[FaultKind, str] = {
    FaultKind.SENSOR_BIAS: "nothing can be added to '{}', which reads 0 or 1",
    FaultKind.SENSOR_CLIPPED: "'{}' cannot be clipped: it reads 0 or 1",
    FaultKind.SENSOR_SIGN: "'{}' has no sign: it reads 0 or 1",
    FaultKind.SENSOR_BLOCKED: "'{}' has no port to be blocked: it reads 0 or 1",
}


@dataclass(frozen=True, slots=True)
class FaultRow:
    """One kind of fault.

    place    what a scenario's `place` names: "load", "motor", "channel", "sensor", "servo",
             "parachute", "computer", or the one thing itself: "separation", "hold_down"
    unit     of `size`, "of the sensor" where it is that of the sensor, None where it takes none
    other    what a scenario's `other` names where two places are mixed up, else None; the index
             of that place then stands in the row instead of a size
    """

    kind: FaultKind
    place: str
    unit: str | None
    about: str
    other: str | None = None


def _row(
    kind: FaultKind, place: str, symbol: str | None, about: str, other: str | None = None
) -> tuple[str, FaultRow]:
    return kind.name.lower(), FaultRow(kind, place, symbol, about, other)


#: Word of the scenario file -> what it means.
FAULTS: Mapping[str, FaultRow] = dict(
    (
        _row(FaultKind.IGNITER_OPEN, "load", None, "carries no current; continuity reads open"),
        _row(
            FaultKind.IGNITER_BESIDE,
            "load",
            None,
            "carries its current and passes every continuity check, but lights nothing",
        ),
        _row(FaultKind.IGNITER_LATE, "load", "s", "acts this much later than it should"),
        _row(FaultKind.IGNITER_SHORTED, "load", None, "is a short: never acts; continuity near 0"),
        _row(
            FaultKind.IGNITER_SHORTS_AFTER, "load", None, "acts, and is a short circuit afterwards"
        ),
        _row(FaultKind.MOTOR_THRUST, "motor", "1", "thrust is this many times what it should be"),
        _row(FaultKind.MOTOR_CHUFF, "motor", "s", "burns in puffs, one in every so many seconds"),
        _row(FaultKind.MOTOR_BURST, "motor", None, "bursts while it burns: no thrust from then on"),
        _row(FaultKind.EJECTION_EARLY, "motor", "s", "its ejection charge is this much early"),
        _row(FaultKind.EJECTION_LATE, "motor", "s", "its ejection charge is this much late"),
        _row(FaultKind.CHANNEL_DEAD, "channel", None, "never conducts; continuity reads open"),
        _row(FaultKind.CHANNEL_SHORTED_ON, "channel", None, "conducts whatever is commanded"),
        _row(
            FaultKind.CHANNEL_INTERMITTENT,
            "channel",
            "s",
            "conducts only in the first half of every so many seconds",
        ),
        _row(FaultKind.CHANNEL_RESISTANCE, "channel", "ohm", "has this much more resistance"),
        _row(
            FaultKind.WRONG_MAP,
            "channel",
            None,
            "what is commanded to it acts on the channel `other`, and the reverse",
            "channel",
        ),
        _row(FaultKind.SENSOR_FROZEN, "sensor", None, "keeps answering with its last value"),
        _row(FaultKind.SENSOR_SILENT, "sensor", None, "no longer answers"),
        _row(FaultKind.SENSOR_BIAS, "sensor", _OF_SENSOR, "reads this much more"),
        _row(FaultKind.SENSOR_SPIKE, "sensor", _OF_SENSOR, "reads this value instead"),
        _row(FaultKind.SENSOR_NAN, "sensor", None, "answers with NaN"),
        _row(FaultKind.SENSOR_STALE, "sensor", "s", "answers what it measured this much before"),
        _row(FaultKind.SENSOR_CLIPPED, "sensor", _OF_SENSOR, "never reads beyond this, up or down"),
        _row(FaultKind.SENSOR_SIGN, "sensor", None, "reads with the wrong sign"),
        _row(
            FaultKind.SENSOR_SWAPPED,
            "sensor",
            None,
            "answers what the sensor `other` measures, and the reverse",
            "sensor",
        ),
        _row(
            FaultKind.SENSOR_BLOCKED,
            "sensor",
            "s",
            "follows through a nearly closed port, with this time constant",
        ),
        _row(FaultKind.SEPARATION_HUNG, "separation", None, "the parts do not part"),
        _row(FaultKind.SEPARATION_LATE, "separation", "s", "the parts part this much later"),
        _row(FaultKind.PARACHUTE_FAILS, "parachute", None, "stays packed"),
        _row(FaultKind.PARACHUTE_LATE, "parachute", "s", "comes out this much later"),
        _row(FaultKind.SERVO_STUCK, "servo", None, "stays where it is"),
        _row(FaultKind.HOLD_DOWN_STUCK, "hold_down", None, "does not open"),
        _row(FaultKind.BATTERY_LOW, "computer", "V", "its battery has this open-circuit voltage"),
        _row(FaultKind.BATTERY_COLD, "computer", "K", "battery this much colder than the air"),
        _row(FaultKind.BATTERY_RESISTANCE, "computer", "1", "internal resistance times this"),
        _row(FaultKind.BATTERY_DISCONNECTED, "computer", None, "its battery has come off"),
        _row(FaultKind.BATTERY_SENSED, "computer", "1", "its divider gives this times the voltage"),
    )
)


@dataclass(frozen=True, slots=True)
class Reading:
    """What one sensor, or one input of a log, gives.

    unit      symbol of its unit, None for 0 or 1
    computer  who reads it
    rate_hz   answers per second; None: up to one in every tick of the world
    """

    unit: str | None
    computer: str
    rate_hz: int | None = None


@dataclass(frozen=True, slots=True)
class Reach:
    """What faults can hit.

    places    kind of place (`FaultRow.place`) -> names, in the order of the world's indices; of a
              log "sensor" alone
    sensors   by name
    proof     (kind, place) -> why that kind would change nothing there
    """

    places: Mapping[str, tuple[str, ...]]
    sensors: Mapping[str, Reading]
    proof: Mapping[tuple[FaultKind, str], str] = field(default_factory=dict)


def reach_of(vehicle: Vehicle) -> Reach:
    """What faults can hit in a simulated world."""
    return Reach(
        places={
            "load": tuple(vehicle.loads),
            "motor": tuple(vehicle.motors),
            "channel": tuple(vehicle.channels),
            "sensor": tuple(vehicle.sensors),
            "servo": tuple(vehicle.servos),
            "parachute": tuple(vehicle.parachutes),
            "computer": tuple(vehicle.computers),
            "separation": ("separation",) if len(vehicle.parts) > 1 else (),
            "hold_down": ("hold_down",) if vehicle.ground.hold_down else (),
        },
        sensors={
            name: Reading(each.unit, each.computer, each.rate_hz)
            for name, each in vehicle.sensors.items()
        },
        proof=proof_of(vehicle),
    )


def fault_places(kind: str, vehicle: Vehicle) -> tuple[str, ...]:
    """Names that `place` may take for this kind of fault, in the order of the world's indices."""
    return reach_of(vehicle).places[FAULTS[kind].place]


def resolve_fault(
    kind: str,
    place: str,
    size: float | None,
    world: Vehicle | Reach,
    other: str | None = None,
    *,
    world_hz: int = 1000,
) -> tuple[int, int, float]:
    """A fault as a row of numbers: FaultKind, index of its place, size in SI or index of `other`.

    world       the vehicle, or what can be hit where there is none
    world_hz    ticks of the world per second: as often do switches answer

    Raises InputError (without a place in a file) for an unknown kind or place, or a size or an
    `other` that is missing, not wanted, or impossible.
    """
    reach = world if isinstance(world, Reach) else reach_of(world)
    row = FAULTS.get(kind)
    if row is None:
        raise InputError(f"unknown fault '{kind}'", nearest=nearest(kind, FAULTS))
    if row.place not in reach.places:
        raise InputError(f"'{kind}' needs a vehicle, and the inputs come from a log")
    choices = reach.places[row.place]
    at = _index(row.place, place, choices)
    if (row.kind, place) in reach.proof:
        raise InputError(f"'{kind}' changes nothing: {reach.proof[row.kind, place]}")
    if row.kind in _MEASURES_ONLY and reach.sensors[place].unit is None:
        raise InputError(_MEASURES_ONLY[row.kind].format(place))
    if row.other is None:
        if other is not None:
            raise InputError(f"'{kind}' takes no other")
        amount = _size(kind, row, place, size, reach)
        _not_too_short(kind, row, amount, world_hz)
        if row.kind is FaultKind.SENSOR_STALE:
            _remembered(place, amount, reach, world_hz)
        return int(row.kind), at, amount
    if size is not None:
        raise InputError(f"'{kind}' takes no size")
    if other is None:
        raise InputError(f"'{kind}' needs an other {row.other}")
    second = _index(f"other {row.other}", other, choices)
    if second == at:
        raise InputError(f"'{kind}' needs an other {row.other} than '{place}'")
    if row.kind is FaultKind.SENSOR_SWAPPED:
        _swappable(place, other, reach)
    return int(row.kind), at, float(second)


def _index(what: str, name: str, choices: tuple[str, ...]) -> int:
    if name not in choices:
        near = nearest(name, choices)
        listed = "" if near else f" (known: {', '.join(choices) or 'none'})"
        raise InputError(f"unknown {what} '{name}'{listed}", nearest=near)
    return choices.index(name)


def _swappable(place: str, other: str, reach: Reach) -> None:
    """Raises InputError where two sensors do not measure the same kind of thing."""
    one, two = reach.sensors[place], reach.sensors[other]
    if one.unit != two.unit or one.computer != two.computer:
        raise InputError(
            f"'{other}' cannot be the other of '{place}': it measures in {two.unit or 'bool'} "
            f"for '{two.computer}', not in {one.unit or 'bool'} for '{one.computer}'"
        )


def _size(kind: str, row: FaultRow, place: str, size: float | None, reach: Reach) -> float:
    if row.unit is None:
        if size is not None:
            raise InputError(f"'{kind}' takes no size")
        return 0.0
    symbol = row.unit
    if symbol == _OF_SENSOR:
        symbol = reach.sensors[place].unit or "1"
    if size is None:
        meant = "a plain number" if symbol == "1" else f"in {symbol}"
        raise InputError(f"'{kind}' needs a size, {meant}")
    signed = row.unit == _OF_SENSOR and row.kind is not FaultKind.SENSOR_CLIPPED
    if not signed and size < 0.0:
        raise InputError(f"the size of '{kind}' is not negative (got {size:g})")
    return unit(symbol).span_to_si(size)


def _not_too_short(kind: str, row: FaultRow, amount: float, world_hz: int) -> None:
    """Raises InputError for a time so short that the fault would change nothing."""
    least = {
        FaultKind.MOTOR_CHUFF: _SHORTEST_PUFF_S,
        FaultKind.CHANNEL_INTERMITTENT: 2 / world_hz,  # a tick on and a tick off
    }.get(row.kind)
    if least is not None and amount < least:
        raise InputError(f"the size of '{kind}' is at least {least:g} s (got {amount:g})")
    if amount == 0.0 and row.kind is FaultKind.SENSOR_BLOCKED:
        raise InputError(f"the size of '{kind}' is positive (got 0)")


def _remembered(place: str, age_s: float, reach: Reach, world_hz: int) -> None:
    """Raises InputError where the world does not keep answers of a sensor for so long."""
    rate = reach.sensors[place].rate_hz or world_hz
    longest = (REMEMBERED - 1) / rate
    if age_s > longest:
        raise InputError(
            f"the size of 'sensor_stale' is at most {longest:g} s for '{place}', of whose answers, "
            f"{rate} a second, {REMEMBERED} are kept (got {age_s:g})"
        )
