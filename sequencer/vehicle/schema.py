"""The vehicle file as typed tables; names in it are resolved by `sequencer.vehicle.load`."""

from __future__ import annotations

from functools import reduce
from operator import or_
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field

from sequencer.documents import Strict
from sequencer.vehicle import capacity
from sequencer.vehicle.bounds import (
    MEANT,
    Amperes,
    Area,
    Damping,
    Inertia,
    Length,
    Mass,
    Name,
    Offset,
    Seconds,
    Speed,
    Station,
    Text,
    Word,
)
from sequencer.vehicle.circuit_schema import BatteryTable, ChannelTable, LoadTable
from sequencer.vehicle.logger import LoggerTable
from sequencer.vehicle.sensors import TABLES, SensorTable

__all__ = [
    "AeroFile",
    "AeroTable",
    "ComputerTable",
    "CurveTable",
    "FinsTable",
    "GeometryTable",
    "GimbalServoTable",
    "GroundTable",
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

Percent = Annotated[float, Field(ge=0, le=100_000)]
PositiveArea = Annotated[float, Field(gt=0, le=1000), MEANT]
Lag = Annotated[float, Field(ge=0, le=60)]


class VehicleTable(Strict):
    """[vehicle]"""

    name: Name
    about: Text


class PartTable(Strict):
    """[parts.NAME]: one rigid body, without propellant. Stations are measured from the nose tip."""

    carries_computer: bool = False
    mass_kg: Mass
    centre_station_m: Station
    axial_kg_m2: Inertia
    transverse_kg_m2: Inertia
    tail_station_m: Length


class CurveTable(Strict):
    """[curves.NAME]: shape of a thrust curve, % of burn time against % of mean thrust."""

    points_percent: Annotated[
        tuple[tuple[Percent, Percent], ...],
        Field(min_length=3, max_length=capacity.CURVE_POINTS),
    ]


class MotorTable(Strict):
    """[motors.NAME]"""

    part: Word
    gimbal: Name | None = None
    nozzle_station_m: Length
    grain_station_m: Length
    offset_y_m: Offset = 0.0
    offset_z_m: Offset = 0.0
    total_impulse_n_s: Annotated[float, Field(gt=0, le=1_000_000), MEANT]
    burn_time_s: Annotated[float, Field(gt=0, le=60), MEANT]
    curve: Word
    propellant_kg: Mass
    ignition_delay_s: Seconds
    plugged: bool = False
    eject_delay_s: Seconds | None = None
    ejects: Word | None = None
    cant_y_deg: Annotated[float, Field(ge=-30, le=30)] = 0.0
    cant_z_deg: Annotated[float, Field(ge=-30, le=30)] = 0.0


class ParachuteTable(Strict):
    """[parachutes.NAME]"""

    part: Word
    drag_area_m2: PositiveArea
    inflation_s: Annotated[float, Field(gt=0, le=60), MEANT]
    attach_station_m: Station
    self_deploy_delay_s: Seconds | None = None


class AeroTable(Strict):
    """[aero.CONFIGURATION]: forces as areas times dynamic pressure; stations from the nose tip."""

    drag_area_nose_m2: PositiveArea
    drag_area_tail_m2: PositiveArea
    side_area_m2: PositiveArea
    slope_nose_m2: Area | None = None
    slope_tail_m2: Area
    centre_nose_m: Station | None = None
    centre_tail_m: Station
    centre_side_m: Station
    damping_pitch_m4: Damping
    damping_roll_m4: Damping


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
    length_m: Length
    diameter_m: Length


class TransitionTable(Strict):
    """[[geometry.transitions]]: a conical shoulder or boat tail."""

    station_m: Station
    length_m: Length
    front_diameter_m: Length
    rear_diameter_m: Length


class FinsTable(Strict):
    """[geometry.fins]: trapezoidal fins, all alike; station_m of the leading edge at the root."""

    count: Literal[3, 4]
    station_m: Station
    root_m: Length
    tip_m: Station
    span_m: Length
    sweep_m: Station
    body_diameter_m: Length


class GeometryTable(Strict):
    """[geometry]: outer shape of the stack, for slope and centre of pressure nose first."""

    nose: NoseTable
    transitions: tuple[TransitionTable, ...] = ()
    fins: FinsTable | None = None


class GimbalServoTable(Strict):
    """[computers.NAME.servos.NAME] that turns a gimbal."""

    role: Literal["gimbal_y", "gimbal_z"]
    gimbal: Word
    low_deg: Annotated[float, Field(ge=-45, le=0)]
    high_deg: Annotated[float, Field(ge=0, le=45)]
    rate_deg_s: Annotated[float, Field(gt=0, le=100_000), MEANT]
    lag_s: Lag = 0.0
    dead_band_deg: Annotated[float, Field(ge=0, le=45)] = 0.0
    bias_deg: Annotated[float, Field(ge=-45, le=45)] = 0.0
    start_deg: Annotated[float, Field(ge=-45, le=45)] = 0.0
    moving_a: Amperes = 0.0
    stall_a: Amperes = 0.0


class MechanismServoTable(Strict):
    """[computers.NAME.servos.NAME] that moves fins or legs from 0 (stowed) to 1 (out)."""

    role: Literal["fins", "legs"]
    rate_per_s: Annotated[float, Field(gt=0, le=1000), MEANT]
    lag_s: Lag = 0.0
    dead_band: Annotated[float, Field(ge=0, le=1)] = 0.0
    bias: Annotated[float, Field(ge=-1, le=1)] = 0.0
    start: Annotated[float, Field(ge=0, le=1)] = 0.0
    moving_a: Amperes = 0.0
    stall_a: Amperes = 0.0


ServoTable = Annotated[GimbalServoTable | MechanismServoTable, Field(discriminator="role")]

if TYPE_CHECKING:
    AnySensor = SensorTable
else:
    AnySensor = Annotated[reduce(or_, TABLES.values()), Field(discriminator="kind")]


class ComputerTable(Strict):
    """[computers.NAME]"""

    battery: BatteryTable
    channels: dict[Name, ChannelTable] = {}
    servos: dict[Name, ServoTable] = {}
    sensors: dict[Name, AnySensor] = {}
    switches: tuple[Name, ...] = ()
    logger: LoggerTable | None = None


class ObstacleTable(Strict):
    """[[ground.obstacles]]: an upright cylinder near the pad."""

    east_m: Annotated[float, Field(ge=-10_000, le=10_000)]
    north_m: Annotated[float, Field(ge=-10_000, le=10_000)]
    radius_m: Annotated[float, Field(gt=0, le=10_000), MEANT]
    height_m: Annotated[float, Field(gt=0, le=10_000), MEANT]


class GroundTable(Strict):
    """[ground]: what holds the vehicle, the pad around it, and what a touchdown may be like."""

    hold_down: bool
    rail_length_m: Station = 0.0
    rail_tilt_deg: Annotated[float, Field(ge=0, le=30)] = 0.0
    rail_azimuth_deg: Annotated[float, Field(ge=0, lt=360)] = 0.0
    pad_altitude_m: Annotated[float, Field(ge=-400, le=5000)] = 0.0
    mast_height_m: Length
    leg_length_m: Station = 0.0
    leg_radius_m: Station = 0.0
    leg_speed_m_s: Speed
    crash_speed_m_s: Speed
    crash_tilt_deg: Annotated[float, Field(gt=0, le=90), MEANT]
    parachute_speed_m_s: Speed
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
