"""The words of a flight record: every kind of event, and every signal of the world.

docs/events.md is `as_markdown()` of these tables; a test keeps it true and says how to write it
anew.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["EVENT_KINDS", "FLIGHT_OVER", "SIGNALS", "EventKind", "SignalKind", "as_markdown"]

#: label of the event after which nothing more can come: it closes what has no deadline of its own
FLIGHT_OVER = "ended flight"
_AN_EXIT = "COMPUTER.EXIT"


@dataclass(frozen=True, slots=True)
class EventKind:
    """One kind of event.

    source    who writes it: "computer", "world" or "scenario"
    meaning   one sentence
    about     what the name of such an event stands for; "" where it has none. Names of exits and
              names that the scenario gives may hold blanks ("crew launch on"), all others are one
              word
    """

    source: str
    meaning: str
    about: str = ""

    @property
    def one_word(self) -> bool:
        """Whether no name of this kind holds blanks."""
        return self.source != "scenario" and self.about != _AN_EXIT


@dataclass(frozen=True, slots=True)
class SignalKind:
    """One signal of the world: its unit (a symbol of `sequencer.units`) and what it is."""

    unit: str
    meaning: str


EVENT_KINDS: Mapping[str, EventKind] = {
    "entered": EventKind("computer", "A state was entered.", "COMPUTER.STATE"),
    "took": EventKind("computer", "An exit was taken.", _AN_EXIT),
    "fired": EventKind("computer", "A function was switched on.", "COMPUTER.FUNCTION"),
    "ended": EventKind(
        "computer",
        "The pulse of a function is over; `ended flight` (detail: over) says that the flight is.",
        "COMPUTER.FUNCTION, or flight",
    ),
    "cut": EventKind("computer", "A pulse was cut short.", "COMPUTER.FUNCTION"),
    "blocked": EventKind(
        "computer", "A command was dropped, an inhibit being in place.", "COMPUTER.FUNCTION"
    ),
    "ignored": EventKind(
        "computer", "A function was commanded that is on already.", "COMPUTER.FUNCTION"
    ),
    "moved": EventKind("computer", "A servo was sent to a position.", "COMPUTER.FUNCTION"),
    "set": EventKind("computer", "A flag became true.", "COMPUTER.FLAG"),
    "cleared": EventKind("computer", "A flag became false.", "COMPUTER.FLAG"),
    "booted": EventKind("computer", "A computer started, or started anew.", "COMPUTER"),
    "late": EventKind("computer", "A tick was late and left out.", "COMPUTER"),
    "dropped": EventKind(
        "computer",
        "A message was not taken, being no newer than the one before.",
        "COMPUTER.SENDER",
    ),
    "corrupt": EventKind(
        "computer",
        "A message failed the check of its receiver and was not taken.",
        "COMPUTER.SENDER",
    ),
    "log_full": EventKind("computer", "The memory of the logger is used up.", "COMPUTER"),
    "log_cut": EventKind(
        "computer", "The power went, and what the logger had not written is lost.", "COMPUTER"
    ),
    "brown_out": EventKind(
        "world", "The voltage was too low for too long: a computer went down.", "COMPUTER"
    ),
    "umbilical_parted": EventKind("world", "The cable between the computers came off."),
    "released": EventKind("world", "The hold-down let go."),
    "liftoff": EventKind("world", "The vehicle left its seat."),
    "lit": EventKind("world", "A motor came alight (thrust onset).", "MOTOR"),
    "burst": EventKind("world", "A motor burst.", "MOTOR"),
    "burnout": EventKind("world", "A motor has burnt out.", "MOTOR"),
    "ejected": EventKind("world", "The ejection charge of a motor went off.", "MOTOR"),
    "acted": EventKind("world", "A load did its work and is spent.", "LOAD"),
    "separated": EventKind("world", "The two parts came apart."),
    "apogee": EventKind("world", "The highest point."),
    "deployed": EventKind("world", "A parachute left the vehicle.", "PARACHUTE"),
    "opened": EventKind("world", "A parachute is full.", "PARACHUTE"),
    "obstacle": EventKind("world", "The vehicle struck an obstacle."),
    "touchdown": EventKind("world", "First contact with the ground after liftoff."),
    "booster_down": EventKind("world", "The spent stage reached the ground."),
    "crew": EventKind("scenario", "A switch at the pad was operated.", "SWITCH on, SWITCH off"),
    "fault_begun": EventKind("scenario", "A fault set in.", "FAULT"),
    "fault_ended": EventKind("scenario", "A fault went away.", "FAULT"),
}

SIGNALS: Mapping[str, SignalKind] = {
    "height_m": SignalKind("m", "height of the lowest point above the ground"),
    "east_m": SignalKind("m", "position east of the pad"),
    "north_m": SignalKind("m", "position north of the pad"),
    "up_m": SignalKind("m", "position of the centre of mass above the pad"),
    "speed_m_s": SignalKind("m/s", "speed over the ground, all directions"),
    "vertical_speed_m_s": SignalKind("m/s", "speed upward"),
    "airspeed_m_s": SignalKind("m/s", "speed through the air"),
    "sideways_speed_m_s": SignalKind("m/s", "horizontal speed over the ground"),
    "tilt_deg": SignalKind("deg", "angle between the long axis and the vertical"),
    "rate_x_deg_s": SignalKind("deg/s", "roll rate"),
    "rate_y_deg_s": SignalKind("deg/s", "body rate about y"),
    "rate_z_deg_s": SignalKind("deg/s", "body rate about z"),
    "acceleration_m_s2": SignalKind("m/s2", "specific force, magnitude"),
    "axial_m_s2": SignalKind("m/s2", "specific force along the long axis"),
    "thrust_n": SignalKind("N", "thrust of all motors together"),
    "hold_down_n": SignalKind("N", "force in the hold-down"),
    "dynamic_pressure_pa": SignalKind("Pa", "dynamic pressure"),
    "angle_of_attack_deg": SignalKind("deg", "angle between the long axis and the airflow"),
    "mass_kg": SignalKind("kg", "mass of what the flight computer rides on"),
    "wind_m_s": SignalKind("m/s", "wind at the vehicle"),
    "mast_wind_m_s": SignalKind("m/s", "wind at the mast beside the pad"),
    "distance_m": SignalKind("m", "distance between the two bodies after separation"),
    "touchdown_speed_m_s": SignalKind("m/s", "speed downwards at touchdown, from then on"),
    "touchdown_sideways_m_s": SignalKind("m/s", "sideways speed at touchdown, from then on"),
    "touchdown_tilt_deg": SignalKind("deg", "tilt at touchdown, from then on"),
}

_HEAD = """\
# Events and signals

This page is made from the tables in `sequencer/record/vocabulary.py`: change those, not this.

## Events

Requirements, scenarios and expectations call an event by its kind and, where it has one, its
name: `entered flight.ascent`, `lit A1`, `liftoff`. In requirements a `*` in the name stands for
any run of characters: `fired flight.*`, `fired pad.ascent_*`.

| kind | name | written by | meaning |
| --- | --- | --- | --- |
"""

_MIDDLE = """
## Signals

One value per world tick; NaN where there is none. The name carries the unit. Beside these are
recorded

- for every motor `thrust_MOTOR_n` (N),
- for every computer `battery_COMPUTER_v` (V), the lowest voltage at its battery's terminals within
  the tick, and `battery_COMPUTER_a` (A), the largest current out of it,
- for every load `current_LOAD_a` (A), the largest current through it within the tick: an igniter
  may open after a fifth of a millisecond,
- for every sensor and switch that a sequence reads `COMPUTER_INPUT`, as the sensor answers, in the
  unit that the sequence declares.

So there are `thrust_A1_n`, `battery_pad_v`, `current_igniter_A1_a`, `flight_baro`, `pad_arm_key`.

Not recorded, but worked out from the events when a requirement (or a program) reads them, are the
truths `COMPUTER_FLAG` for every flag of a sequence and `COMPUTER_in_STATE` for every state:
`pad_counting`, `flight_in_coast`. What happens on a tick shows on that tick. A computer without
power (`brown_out`, or a fault `reboot`) is in no state and its flags read 0 until it has booted;
then those that are retained are what they were. Names that would mean two things are refused when
the scenario is read.

| signal | unit | meaning |
| --- | --- | --- |
"""


def as_markdown() -> str:
    """The text of docs/events.md."""
    events = "".join(
        f"| `{kind}` | {entry.about or 'none'} | {entry.source} | {entry.meaning} |\n"
        for kind, entry in EVENT_KINDS.items()
    )
    signals = "".join(
        f"| `{name}` | {signal.unit} | {signal.meaning} |\n" for name, signal in SIGNALS.items()
    )
    return _HEAD + events + _MIDDLE + signals
