"""The vehicle file as typed tables; names in it are resolved by `sequencer.vehicle.load`."""

from __future__ import annotations

from functools import reduce
from operator import or_
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from sequencer.documents import Strict
from sequencer.vehicle import capacity
from sequencer.vehicle.sensors import TABLES, SensorTable

__all__ = [
    "AeroFile",
    "AeroTable",
    "ChannelTable",
    "ComputerTable",
    "CurveTable",
    "FinsTable",
    "GeometryTable",
    "GimbalServoTable",
    "GroundTable",
    "LoadTable",
    "MechanismServoTable",
    "MotorTable",
    "NoseTable",
    "ObstacleTable",
    "ParachuteTable",
    "PartTable",
    "ServoTable",
    "TransitionTable",
    "VehicleFile",
    "VehicleTable",
]

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Seconds = Annotated[float, Field(ge=0, le=600)]
Word = Annotated[str, Field(min_length=1, max_length=100)]
Text = Annotated[str, Field(min_length=1, max_length=2000)]
#: Names are joined with a dot ("flight.baro") and stand in conditions.
Name = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_]*$", max_length=60)]


class VehicleTable(Strict):
    """[vehicle]"""

    name: Name
    about: Text


class PartTable(Strict):
    """[parts.NAME]: one rigid body, without propellant. Stations are measured from the nose tip."""

    carries_computer: bool = False
    mass_kg: Positive
    centre_station_m: NotNegative
    axial_kg_m2: Positive
    transverse_kg_m2: Positive
    tail_station_m: Positive


class CurveTable(Strict):
    """[curves.NAME]: shape of a thrust curve, % of burn time against % of mean thrust."""

    points_percent: Annotated[
        tuple[tuple[NotNegative, NotNegative], ...],
        Field(min_length=3, max_length=capacity.CURVE_POINTS),
    ]


class MotorTable(Strict):
    """[motors.NAME]"""

    part: Word
    gimbal: Name | None = None
    nozzle_station_m: Positive
    grain_station_m: Positive
    offset_y_m: float = 0.0
    offset_z_m: float = 0.0
    total_impulse_n_s: Positive
    burn_time_s: Annotated[float, Field(gt=0, le=60)]
    curve: Word
    propellant_kg: Positive
    ignition_delay_s: Seconds
    plugged: bool = False
    eject_delay_s: Seconds | None = None
    ejects: Word | None = None
    cant_y_deg: Annotated[float, Field(ge=-30, le=30)] = 0.0
    cant_z_deg: Annotated[float, Field(ge=-30, le=30)] = 0.0


class ParachuteTable(Strict):
    """[parachutes.NAME]"""

    part: Word
    drag_area_m2: Positive
    inflation_s: Positive
    attach_station_m: NotNegative
    self_deploy_delay_s: Seconds | None = None


class AeroTable(Strict):
    """[aero.CONFIGURATION]: forces as areas times dynamic pressure; stations from the nose tip."""

    drag_area_nose_m2: Positive
    drag_area_tail_m2: Positive
    side_area_m2: Positive
    slope_nose_m2: NotNegative | None = None
    slope_tail_m2: NotNegative
    centre_nose_m: NotNegative | None = None
    centre_tail_m: NotNegative
    centre_side_m: NotNegative
    damping_pitch_m4: NotNegative
    damping_roll_m4: NotNegative


class AeroFile(Strict):
    """[aero]: the stack; the stage alone; the stage with fins out; the stage with legs out.

    Each of the last two is the stage with that one change: what fins and legs change adds up when
    both are out, and in proportion while they move.
    """

    stack: AeroTable
    stage: AeroTable | None = None
    fins_out: AeroTable | None = None
    legs_out: AeroTable | None = None


class NoseTable(Strict):
    """[geometry.nose]"""

    shape: Literal["cone", "ogive"]
    length_m: Positive
    diameter_m: Positive


class TransitionTable(Strict):
    """[[geometry.transitions]]: a conical shoulder or boat tail."""

    station_m: NotNegative
    length_m: Positive
    front_diameter_m: Positive
    rear_diameter_m: Positive


class FinsTable(Strict):
    """[geometry.fins]: trapezoidal fins, all alike; station_m of the leading edge at the root."""

    count: Literal[3, 4]
    station_m: NotNegative
    root_m: Positive
    tip_m: NotNegative
    span_m: Positive
    sweep_m: NotNegative
    body_diameter_m: Positive


class GeometryTable(Strict):
    """[geometry]: outer shape of the stack, for slope and centre of pressure nose first."""

    nose: NoseTable
    transitions: tuple[TransitionTable, ...] = ()
    fins: FinsTable | None = None


class ChannelTable(Strict):
    """[computers.NAME.channels.NAME]: an output that switches the battery to what is plugged in."""

    resistance_ohm: NotNegative


class GimbalServoTable(Strict):
    """[computers.NAME.servos.NAME] that turns a gimbal."""

    role: Literal["gimbal_y", "gimbal_z"]
    gimbal: Word
    low_deg: Annotated[float, Field(ge=-45, le=0)]
    high_deg: Annotated[float, Field(ge=0, le=45)]
    rate_deg_s: Positive
    lag_s: NotNegative = 0.0
    dead_band_deg: NotNegative = 0.0
    bias_deg: float = 0.0
    start_deg: float = 0.0


class MechanismServoTable(Strict):
    """[computers.NAME.servos.NAME] that moves fins or legs from 0 (stowed) to 1 (out)."""

    role: Literal["fins", "legs"]
    rate_per_s: Positive
    lag_s: NotNegative = 0.0
    dead_band: NotNegative = 0.0
    bias: float = 0.0
    start: Annotated[float, Field(ge=0, le=1)] = 0.0


ServoTable = Annotated[GimbalServoTable | MechanismServoTable, Field(discriminator="role")]

if TYPE_CHECKING:
    AnySensor = SensorTable
else:
    AnySensor = Annotated[reduce(or_, TABLES.values()), Field(discriminator="kind")]


class ComputerTable(Strict):
    """[computers.NAME]"""

    battery_v: Annotated[float, Field(gt=0, le=100)]
    channels: dict[Name, ChannelTable] = {}
    servos: dict[Name, ServoTable] = {}
    sensors: dict[Name, AnySensor] = {}
    switches: tuple[Name, ...] = ()


class LoadTable(Strict):
    """[loads.NAME]: what is plugged into a channel; it does one thing when it gets current."""

    plug: Word
    lights: Word | None = None
    separates: Literal[True] | None = None
    deploys: Word | None = None
    releases: Literal[True] | None = None
    signals: Literal[True] | None = None
    resistance_ohm: Positive
    delay_s: Seconds = 0.0


class ObstacleTable(Strict):
    """[[ground.obstacles]]: an upright cylinder near the pad."""

    east_m: float
    north_m: float
    radius_m: Positive
    height_m: Positive


class GroundTable(Strict):
    """[ground]: what holds the vehicle, the pad around it, and what a touchdown may be like."""

    hold_down: bool
    rail_length_m: NotNegative = 0.0
    rail_tilt_deg: Annotated[float, Field(ge=0, le=30)] = 0.0
    rail_azimuth_deg: Annotated[float, Field(ge=0, lt=360)] = 0.0
    pad_altitude_m: Annotated[float, Field(ge=-400, le=5000)] = 0.0
    mast_height_m: Positive
    leg_length_m: NotNegative = 0.0
    leg_radius_m: NotNegative = 0.0
    leg_speed_m_s: Positive
    crash_speed_m_s: Positive
    crash_tilt_deg: Annotated[float, Field(gt=0, le=90)]
    parachute_speed_m_s: Positive
    obstacles: Annotated[tuple[ObstacleTable, ...], Field(max_length=capacity.OBSTACLES)] = ()


Wired = dict[Name, Word | tuple[Word, ...]]


class SeparationTable(Strict):
    """[separation]: speeds at which the two parts leave each other, along and across the axis."""

    push_m_s: Annotated[float, Field(ge=0, le=20)] = 0.0
    sideways_m_s: Annotated[float, Field(ge=0, le=20)] = 0.0


class VehicleFile(Strict):
    """The whole file."""

    vehicle: VehicleTable
    parts: dict[Name, PartTable]
    curves: dict[Name, CurveTable]
    motors: dict[Name, MotorTable]
    parachutes: dict[Name, ParachuteTable] = {}
    aero: AeroFile
    geometry: GeometryTable | None = None
    computers: dict[Name, ComputerTable]
    loads: dict[Name, LoadTable] = {}
    wiring: dict[Word, Wired] = {}
    separation: SeparationTable = SeparationTable()
    ground: GroundTable
