"""The rocket as resolved, immutable data: what `load_vehicle` gives and the world is built from.

Names carry their unit; everything is SI, angles are radians. Stations are distances from the nose
tip, positive towards the tail. Things refer to each other by name; what belongs to a computer is
named with it ("flight.baro"). The order of a mapping is that of the file and is part of the
vehicle, since the world's random numbers go by place.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from sequencer.vehicle.circuit_model import Battery, Channel, HotWire, Load
from sequencer.vehicle.classes import installed_impulse
from sequencer.vehicle.logger import Logger

__all__ = [
    "CONFIGURATIONS",
    "Aero",
    "Battery",
    "Channel",
    "Computer",
    "Ejection",
    "Ground",
    "HotWire",
    "Load",
    "Motor",
    "Obstacle",
    "Parachute",
    "Part",
    "Sensor",
    "Servo",
    "Vehicle",
    "Wire",
]

#: Aerodynamic configurations in the order of `Vehicle.aero`. What fins and legs change against the
#: bare stage adds up when both are out.
CONFIGURATIONS = ("stack", "stage", "fins_out", "legs_out")


@dataclass(frozen=True, slots=True)
class Part:
    """One rigid body without propellant; inertias about its own centre of mass."""

    name: str
    mass_kg: float
    centre_station_m: float
    axial_kg_m2: float
    transverse_kg_m2: float
    tail_station_m: float


@dataclass(frozen=True, slots=True)
class Ejection:
    """What a motor's ejection charge does `delay_s` after burnout: None separates the parts."""

    delay_s: float
    parachute: str | None


@dataclass(frozen=True, slots=True)
class Motor:
    """A solid motor. `thrust` are (s since thrust onset, N), straight lines between.

    cant      misalignment of the nozzle as a gimbal angle
    ejection  None when the motor is plugged
    """

    name: str
    part: str
    gimbal: str | None
    nozzle_station_m: float
    grain_station_m: float
    offset_y_m: float
    offset_z_m: float
    total_impulse_n_s: float
    burn_time_s: float
    thrust: tuple[tuple[float, float], ...]
    propellant_kg: float
    ignition_delay_s: float
    ejection: Ejection | None
    cant_y_rad: float
    cant_z_rad: float


@dataclass(frozen=True, slots=True)
class Parachute:
    """A parachute. `self_deploy_delay_s` after separation, None where it only opens when fired."""

    name: str
    part: str
    drag_area_m2: float
    inflation_s: float
    attach_station_m: float
    self_deploy_delay_s: float | None


@dataclass(frozen=True, slots=True)
class Aero:
    """One configuration. Areas times dynamic pressure are forces; slopes are per rad.

    nose, tail, side   nose first, tail first, sideways
    damping            torque = -damping * air density * speed * rate
    """

    drag_area_nose_m2: float
    drag_area_tail_m2: float
    side_area_m2: float
    slope_nose_m2: float
    slope_tail_m2: float
    centre_nose_m: float
    centre_tail_m: float
    centre_side_m: float
    damping_pitch_m4: float
    damping_roll_m4: float


@dataclass(frozen=True, slots=True)
class Servo:
    """A servo; positions in rad, or 0..1 for fins and legs; rates per second.

    role     "gimbal_y", "gimbal_z", "fins", "legs"; a gimbal's has the name of its gimbal
    moving_a, stall_a   current while it moves, and while it pushes against something
    """

    name: str
    computer: str
    role: str
    gimbal: str | None
    low: float
    high: float
    rate: float
    lag_s: float
    dead_band: float
    bias: float
    start: float
    moving_a: float = 0.0
    stall_a: float = 0.0


@dataclass(frozen=True, slots=True)
class Sensor:
    """A sensor, or a crew switch as its computer reads it. Numbers are SI.

    kind        key of sequencer.vehicle.sensors.KINDS, or "switch"
    unit        symbol of what the file gives it in, None for one that answers 0 or 1
    place       axis, or full name of the motor, channel, servo or switch it looks at
    rate_hz     answers per second; None: as often as the world moves
    tilt_cutoff_rad, plume_blinds    of a rangefinder
    bay_pressure_pa, bay_decay_s     of a barometer: what a parachute's charge puts on its port
    """

    name: str
    computer: str
    kind: str
    unit: str | None
    place: str | None
    rate_hz: int | None
    noise: float = 0.0
    bias: float = 0.0
    quantum: float = 0.0
    low: float = -math.inf
    high: float = math.inf
    lag_s: float = 0.0
    tilt_cutoff_rad: float = math.pi / 2.0
    plume_blinds: bool = False
    bay_pressure_pa: float = 0.0
    bay_decay_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Computer:
    """A computer and the full names of what it owns."""

    name: str
    battery: Battery
    channels: tuple[str, ...]
    servos: tuple[str, ...]
    sensors: tuple[str, ...]
    logger: Logger | None = None


@dataclass(frozen=True, slots=True)
class Wire:
    """What one function drives: channels, or a servo (full names)."""

    channels: tuple[str, ...] = ()
    servo: str | None = None


@dataclass(frozen=True, slots=True)
class Obstacle:
    """An upright cylinder near the pad."""

    east_m: float
    north_m: float
    radius_m: float
    height_m: float


@dataclass(frozen=True, slots=True)
class Ground:
    """The pad, and what a touchdown may be like.

    rail_azimuth_rad      clockwise from north, where the rail leans to
    leg_speed_m_s         downwards, up to which the legs take a landing
    crash_speed_m_s       downwards, above which nothing survives without a parachute
    crash_tilt_rad        at touchdown, above which the legs do not even touch first
    parachute_speed_m_s   downwards, up to which a landing under the parachute is a recovery
    """

    hold_down: bool
    rail_length_m: float
    rail_tilt_rad: float
    rail_azimuth_rad: float
    pad_altitude_m: float
    mast_height_m: float
    leg_length_m: float
    leg_radius_m: float
    leg_speed_m_s: float
    crash_speed_m_s: float
    crash_tilt_rad: float
    parachute_speed_m_s: float
    obstacles: tuple[Obstacle, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Vehicle:
    """The whole vehicle.

    parts       the one with the flight computer first
    gimbals     names, in the order in which motors first name them
    aero        one per CONFIGURATIONS
    switches    of the crew; several computers may read the same one
    wiring      computer -> function of its sequence -> what that drives
    separation_push_m_s, separation_sideways_m_s
                speeds at which the two parts leave each other, along the axis and across it
    """

    name: str
    about: str
    path: Path
    parts: tuple[Part, ...]
    motors: Mapping[str, Motor]
    gimbals: tuple[str, ...]
    parachutes: Mapping[str, Parachute]
    aero: tuple[Aero, Aero, Aero, Aero]
    computers: Mapping[str, Computer]
    channels: Mapping[str, Channel]
    servos: Mapping[str, Servo]
    sensors: Mapping[str, Sensor]
    switches: tuple[str, ...]
    loads: Mapping[str, Load]
    wiring: Mapping[str, Mapping[str, Wire]]
    separation_push_m_s: float
    separation_sideways_m_s: float
    ground: Ground

    @property
    def carrier(self) -> Part:
        """The part that carries the flight computer."""
        return self.parts[0]

    @property
    def propellant_kg(self) -> float:
        """Propellant of all motors."""
        return math.fsum(motor.propellant_kg for motor in self.motors.values())

    @property
    def mass_kg(self) -> float:
        """Mass on the pad, propellant included."""
        return math.fsum(part.mass_kg for part in self.parts) + self.propellant_kg

    @property
    def installed_impulse_n_s(self) -> float:
        """Total impulse of all motors: what decides about distances."""
        return installed_impulse(motor.total_impulse_n_s for motor in self.motors.values())

    @property
    def digest(self) -> str:
        """SHA-256 (hex) of everything that flies: all but names of files, wiring and plugs."""
        loads = [replace(load, channel="") for load in self.loads.values()]
        return _digest(
            self.name,
            *(_plain(each) for each in (self.parts, self.motors, self.parachutes, self.aero)),
            *(_plain(each) for each in (self.computers, self.channels, self.servos, self.sensors)),
            _plain(loads),
            self.switches,
            (self.separation_push_m_s, self.separation_sideways_m_s),
            asdict(self.ground),
        )

    @property
    def wiring_digest(self) -> str:
        """SHA-256 (hex) of which function drives what, and what is plugged in where."""
        plugs = {name: load.channel for name, load in self.loads.items()}
        wiring = {computer: self._wires(computer) for computer in sorted(self.wiring)}
        return _digest(wiring, dict(sorted(plugs.items())))

    def firmware_wiring(self, computer: str) -> str:
        """SHA-256 (hex) of the wiring that one computer's firmware is built for.

        Which function drives what, and the computer's channels in their order. What is plugged in
        is no part of it: that changes no firmware.
        """
        return _digest(computer, self._wires(computer), self.computers[computer].channels)

    def _wires(self, computer: str) -> dict[str, object]:
        wires = self.wiring.get(computer, {})
        return {name: asdict(wires[name]) for name in sorted(wires)}


def _plain(things: object) -> list[object]:
    values = things.values() if isinstance(things, Mapping) else things
    return [asdict(each) for each in values]  # type: ignore[attr-defined]


def _digest(*content: object) -> str:
    text = json.dumps(content, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
