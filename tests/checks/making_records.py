"""Small hand-made records and requirements for the tests of this folder."""

from __future__ import annotations

import json

import numpy as np

from sequencer.checks import RequirementTable, build_requirements, judge
from sequencer.errors import InputError
from sequencer.record import Event, FlightRecord, Signal

#: signals that the requirements of these tests may read
UNITS = {
    "height_m": "m",
    "low_m": "m",
    "speed_m_s": "m/s",
    "tilt_deg": "deg",
    "angle_of_attack_deg": "deg",
    "angle_rad": "rad",
    "flight.armed": "bool",
    "a": "bool",
    "b": "bool",
    "c": "bool",
}


def record(events="", ticks=100, rate_hz=10, **signals):
    """A record from a text such as "10 liftoff, 35 fired flight.horn" (ticks, labels)."""
    made = []
    for item in filter(None, (part.strip() for part in events.split(","))):
        tick, kind, *name = item.split(" ")
        made.append(Event(int(tick), kind, *name))
    made.sort(key=lambda event: event.tick)  # stable: the text orders events of one tick
    values = {
        name.replace("flight_", "flight."): np.asarray(given, dtype=float)
        for name, given in signals.items()
    }
    if values:
        ticks = len(next(iter(values.values())))
    kept = {name: Signal(name, UNITS[name], given) for name, given in values.items()}
    return FlightRecord("hand-made", rate_hz, ticks, tuple(made), kept, "landed")


def requirement(**keys):
    """One requirement from the keys of its table."""
    table = {"name": "it", "reason": "a test", **keys}
    return build_requirements(
        [RequirementTable.model_validate_json(json.dumps(table))], complain, UNITS
    )[0]


def complain(loc, what, *, nearest=None):
    return InputError(f"{loc}: {what}", nearest=nearest)


def verdict(flown, **keys):
    """The verdict on one requirement."""
    return judge(flown, [requirement(**keys)])[0]


def outcome(flown, **keys):
    """(status, margin) of one requirement, the margin rounded to hide the last bits."""
    found = verdict(flown, **keys)
    return found.status, None if found.margin is None else round(found.margin, 9)
