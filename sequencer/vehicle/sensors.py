"""The kinds of sensor: one table, from which schema, checks and documentation follow.

A sensor of the vehicle file has, besides what its kind looks at, these keys, whose unit is that of
the kind: `noise` (standard deviation), `bias`, `quantum` (0 for none), `low` and `high` (it clips
there), and `lag_s` (first order). A kind without a unit answers 0 or 1 and has none of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Field, create_model

from sequencer.documents import Strict
from sequencer.units import SUFFIXES

__all__ = ["KINDS", "NUMBERS", "SensorKindRow", "SensorTable", "number_key"]


@dataclass(frozen=True, slots=True)
class SensorKindRow:
    """One kind of sensor.

    unit      of its answer, None where it answers 0 or 1
    place     key that says what it looks at: "axis", "motor", "channel", "servo", or None
    """

    measures: str
    unit: str | None
    place: str | None = None


#: Word of the file -> what it is. A switch is no entry here: `switches` of a computer lists them.
KINDS: Mapping[str, SensorKindRow] = {
    "acceleration": SensorKindRow("specific force along a body axis", "m/s2", "axis"),
    "rate": SensorKindRow("turning rate about a body axis", "deg/s", "axis"),
    "barometer": SensorKindRow("pressure height above the pad", "m"),
    "pressure": SensorKindRow("static pressure", "Pa"),
    "range": SensorKindRow("distance to the ground along the tail", "m"),
    "hold_down_force": SensorKindRow("pull on the hold-down, upwards positive", "N"),
    "flame": SensorKindRow("whether a motor burns", None, "motor"),
    "continuity": SensorKindRow("resistance seen through a channel", "ohm", "channel"),
    "battery": SensorKindRow("voltage of the computer's battery", "V"),
    "wind": SensorKindRow("horizontal wind speed at the mast", "m/s"),
    "gimbal": SensorKindRow("angle of a gimbal's servo", "deg", "servo"),
    "mechanism": SensorKindRow("position of fins or legs, 0 stowed to 1 out", "1", "servo"),
    "separated": SensorKindRow("whether the break wire between the parts is parted", None),
}

#: in any unit: beyond every pressure, force or rate that a sensor here can see
_LARGEST = 1e9

#: Numbers that a sensor with a unit may be given: name -> (constraint, default).
NUMBERS: Mapping[str, tuple[Any, float | None]] = {
    "noise": (Field(ge=0, le=_LARGEST), 0.0),
    "bias": (Field(ge=-_LARGEST, le=_LARGEST), 0.0),
    "quantum": (Field(ge=0, le=_LARGEST), 0.0),
    "low": (Field(ge=-_LARGEST, le=_LARGEST), None),
    "high": (Field(ge=-_LARGEST, le=_LARGEST), None),
}


def number_key(number: str, unit: str) -> str:
    """Key of the vehicle file: "noise" of a sensor in m/s2 is written `noise_m_s2`."""
    for suffix, symbol in SUFFIXES.items():
        if symbol == unit:
            return number + suffix
    return number


class SensorTable(Strict):
    """What every sensor has. rate_hz is how often it answers."""

    kind: str
    rate_hz: Annotated[int, Field(ge=1, le=1000)]

    def number(self, number: str) -> float | None:
        """One of NUMBERS as the file gives it, in the unit of the kind."""
        unit = KINDS[self.kind].unit
        key = None if unit is None else number_key(number, unit)
        value = None if key is None else getattr(self, key)
        return None if value is None else float(value)

    @property
    def place(self) -> str | None:
        """What it looks at, as the file names it."""
        key = KINDS[self.kind].place
        return None if key is None else str(getattr(self, key))


def _table(word: str, row: SensorKindRow) -> type[SensorTable]:
    fields: dict[str, Any] = {"kind": (Literal[word], ...)}
    if row.unit is not None:
        fields["lag_s"] = (Annotated[float, Field(ge=0, le=60)], 0.0)
        for number, (constraint, default) in NUMBERS.items():
            kind = float if default is not None else float | None
            fields[number_key(number, row.unit)] = (Annotated[kind, constraint], default)
    if row.place == "axis":
        fields["axis"] = (Literal["x", "y", "z"], ...)
    elif row.place is not None:
        fields[row.place] = (Annotated[str, Field(min_length=1)], ...)
    if word == "range":
        # beyond this tilt no echo comes back; a burning motor's plume may blind it
        fields["tilt_cutoff_deg"] = (Annotated[float, Field(gt=0, le=90)], 90.0)
        fields["plume_blinds"] = (bool, False)
    if word in ("barometer", "pressure"):
        # what a parachute's charge puts on the port, and the time in which it falls to 1/e
        fields["bay_pressure_pa"] = (Annotated[float, Field(ge=0, le=1_000_000)], 0.0)
        fields["bay_decay_s"] = (Annotated[float, Field(ge=0, le=60)], 0.0)
    return create_model(f"{word.title().replace('_', '')}Sensor", __base__=SensorTable, **fields)


TABLES: Mapping[str, type[SensorTable]] = {word: _table(word, row) for word, row in KINDS.items()}
