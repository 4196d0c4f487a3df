"""The world's memory, laid out flat: what the kernel reads, keeps, obeys and reports.

Four NumPy record types, one record of each per flight. Sizes are fixed, counts say how much is
used, so the same compiled step serves every vehicle. SI units throughout. Frames: earth is
east-north-up with its origin on the ground under the pad; body has x forward (towards the nose).
Quaternions are scalar first, body to earth. *Stations* are distances from the nose tip, positive
towards the tail, so a point at station s has body x = centre_of_mass_station - s.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Final

import numpy as np

from sequencer.vehicle.capacity import (
    BATTERY_POINTS,
    CHANNELS,
    COMPUTERS,
    LOADS,
    MOTORS,
    OBSTACLES,
    PARACHUTES,
    PARTS,
    SENSORS,
    SERVOS,
    SWITCHES,
)
from sequencer.vehicle.capacity import CURVE_POINTS as POINTS

__all__ = [
    "COMMANDS",
    "NOT_BEGUN",
    "OUT",
    "PARAMS",
    "REMEMBERED",
    "STATE",
    "FaultKind",
    "LoadKind",
    "Mode",
    "SensorKind",
    "ServoRole",
    "empty",
]

FAULTS: Final = 8
GUSTS: Final = 6
LEVELS: Final = 12  # of a wind profile
REMEMBERED: Final = 64  # measurements of each sensor that are kept for stale answers
NOT_BEGUN: Final = -1  # tick of a state that has not been put on its pad yet
BODIES: Final = PARTS  # 0 carries the flight computer; 1 is the spent stage after separation
CONFIGS: Final = 4  # aerodynamic: 0 stack, 1 stage, 2 stage with fins out, 3 stage with legs out


class Mode(IntEnum):
    """What holds body 0."""

    CLAMPED = 0
    RAIL = 1
    FREE = 2
    DOWN = 3


class LoadKind(IntEnum):
    """What a load does when it gets its current; `load_target` says to which one."""

    MOTOR = 0  # lights motor `load_target`
    SEPARATION = 1
    PARACHUTE = 2  # deploys parachute `load_target`
    HOLD_DOWN = 3
    SIGNAL = 4  # horn, light: nothing moves


class ServoRole(IntEnum):
    """What a servo moves."""

    GIMBAL_Y = 0  # positive angle: positive torque about body y; `servo_target` is the gimbal
    GIMBAL_Z = 1
    FINS = 2  # position 0 stowed .. 1 out
    LEGS = 3


class SensorKind(IntEnum):
    """What a sensor measures; `sensor_place` is the axis, motor, channel or switch it looks at."""

    ACCELERATION = 0  # specific force along body axis 0 x, 1 y, 2 z, m/s2
    RATE = 1  # about body axis 0..2, rad/s
    BAROMETER = 2  # pressure height above the pad, m
    RANGE = 3  # along body -x to the ground, m
    HOLD_DOWN_FORCE = 4  # N, positive when the vehicle pulls up
    FLAME = 5  # 1 when motor `place` burns, else 0
    CONTINUITY = 6  # resistance seen through channel `place`, ohm
    BATTERY = 7  # V; `place` is the computer's battery
    WIND = 8  # horizontal wind speed at the pad's mast, m/s
    SWITCH = 9  # crew switch `place`, 0 or 1
    SERVO = 10  # position of servo `place`
    SEPARATED = 11  # break wire between the stages: 1 once parted
    PRESSURE = 12  # static pressure, Pa


class FaultKind(IntEnum):
    """What a fault changes (its tap); `fault_place` and `fault_size` say where and how much."""

    NONE = 0
    IGNITER_OPEN = 1  # load: no current at all, continuity open
    IGNITER_BESIDE = 2  # load: carries current, lights nothing
    IGNITER_LATE = 3  # load: size s later
    MOTOR_THRUST = 4  # motor: thrust times size
    CHANNEL_DEAD = 5  # channel: never conducts, continuity open
    CHANNEL_SHORTED_ON = 6  # channel: always conducts
    SENSOR_FROZEN = 7  # sensor: keeps answering with its last value
    SENSOR_SILENT = 8  # sensor: no longer refreshed
    SENSOR_BIAS = 9  # sensor: size added
    SENSOR_SPIKE = 10  # sensor: reads size instead
    SENSOR_NAN = 11  # sensor: answers NaN
    SEPARATION_HUNG = 12  # separation does not happen while active
    SEPARATION_LATE = 13  # size s later
    PARACHUTE_FAILS = 14  # parachute: stays packed
    PARACHUTE_LATE = 15  # parachute: size s later
    SERVO_STUCK = 16  # servo: stays where it is
    HOLD_DOWN_STUCK = 17
    BATTERY_LOW = 18  # battery `place`: size V
    IGNITER_SHORTED = 19  # load: a short; never acts, continuity reads nearly nothing
    IGNITER_SHORTS_AFTER = 20  # load: acts, and is a short from then on
    MOTOR_CHUFF = 21  # motor: burns in puffs, one every size s, cold for half of it
    MOTOR_BURST = 22  # motor: the case bursts; thrust, propellant and ejection charge are gone
    EJECTION_EARLY = 23  # motor: size s earlier
    EJECTION_LATE = 24  # motor: size s later
    CHANNEL_INTERMITTENT = 25  # channel: conducts in the first half of every size s only
    CHANNEL_RESISTANCE = 26  # channel: size ohm more
    WRONG_MAP = 27  # channel: what is commanded to it acts on channel `size`, and the reverse
    BATTERY_COLD = 28  # battery `place`: size K colder than the air
    BATTERY_DISCONNECTED = 29  # battery `place`
    BATTERY_SENSED = 30  # battery `place`: its divider gives size times the voltage
    BATTERY_RESISTANCE = 31  # battery `place`: internal resistance times size
    SENSOR_STALE = 32  # sensor: answers with what it measured size s before
    SENSOR_CLIPPED = 33  # sensor: never reads beyond size, up or down
    SENSOR_SIGN = 34  # sensor: reads with the wrong sign
    SENSOR_SWAPPED = 35  # sensor: answers what sensor `size` measures, and the reverse
    SENSOR_BLOCKED = 36  # sensor: port nearly closed, follows with a time constant of size s


_F = "f8"
_I = "i8"

PARAMS: Final = np.dtype(
    [
        # clock and chance
        ("rate_hz", _I),  # world ticks per second
        ("substeps", _I),  # integration steps per tick
        ("seed", "u8"),
        ("flight", "u8"),
        # air
        ("gravity", _F),
        ("pad_altitude", _F),  # geopotential height of the pad above sea level, m
        ("temperature_offset", _F),  # K from the standard atmosphere
        ("pressure_offset", _F),  # Pa at sea level from the standard atmosphere
        ("wind_levels", _I),
        ("wind_height", _F, (LEVELS,)),
        ("wind_east", _F, (LEVELS,)),
        ("wind_north", _F, (LEVELS,)),
        ("turbulence_w20", _F),  # m/s at 20 ft: MIL-F-8785C low-altitude model; 0 for none
        ("gusts", _I),  # 1 - cosine gusts
        ("gust_start", _F, (GUSTS,)),  # s
        ("gust_length", _F, (GUSTS,)),  # s, rise and fall together
        ("gust_east", _F, (GUSTS,)),
        ("gust_north", _F, (GUSTS,)),
        ("gust_up", _F, (GUSTS,)),
        ("mast_height", _F),
        ("temperature_levels", _I),  # 0: that of the standard atmosphere
        ("temperature_height", _F, (LEVELS,)),  # above the pad
        ("temperature_kelvin", _F, (LEVELS,)),  # straight lines between
        # masses: part 0 stays with the flight computer, part 1 leaves at separation
        ("part_mass", _F, (BODIES,)),  # without propellant
        ("part_station", _F, (BODIES,)),  # centre of mass
        ("part_axial", _F, (BODIES,)),  # own moments of inertia, kg m2
        ("part_transverse", _F, (BODIES,)),
        ("part_tail", _F, (BODIES,)),  # station of the rear end
        # motors
        ("motors", _I),
        ("motor_part", _I, (MOTORS,)),
        ("motor_gimbal", _I, (MOTORS,)),  # -1 for fixed
        ("motor_station", _F, (MOTORS,)),  # of the nozzle: where thrust acts
        ("motor_grain_station", _F, (MOTORS,)),
        ("motor_y", _F, (MOTORS,)),
        ("motor_z", _F, (MOTORS,)),
        ("motor_cant_y", _F, (MOTORS,)),  # misalignment, rad, as a gimbal angle
        ("motor_cant_z", _F, (MOTORS,)),
        ("motor_propellant", _F, (MOTORS,)),
        ("motor_impulse", _F, (MOTORS,)),  # N s, scatter included
        ("motor_points", _I, (MOTORS,)),
        ("motor_time", _F, (MOTORS, POINTS)),  # s since thrust onset
        ("motor_thrust", _F, (MOTORS, POINTS)),  # N, scatter included, straight lines between
        ("motor_delay", _F, (MOTORS,)),  # s from current to thrust onset
        ("motor_eject_delay", _F, (MOTORS,)),  # s after burnout; inf when plugged
        ("motor_eject_kind", _I, (MOTORS,)),  # LoadKind.SEPARATION or PARACHUTE
        ("motor_eject_target", _I, (MOTORS,)),
        # channels and what is plugged into them
        ("channels", _I),
        ("channel_resistance", _F, (CHANNELS,)),  # switch and connectors
        ("channel_wire", _F, (CHANNELS,)),  # copper, at 20 C
        ("channel_battery", _I, (CHANNELS,)),
        ("channel_closed_by", _I, (CHANNELS,)),  # bits of switches: keys in series
        ("channel_opened_by", _I, (CHANNELS,)),  # bits of switches: safe plugs
        ("loads", _I),
        ("load_channel", _I, (LOADS,)),
        ("load_kind", _I, (LOADS,)),
        ("load_target", _I, (LOADS,)),
        ("load_resistance", _F, (LOADS,)),
        ("load_energy", _F, (LOADS,)),  # J above the air's heat until it acts; 0: at once
        ("load_spread", _F, (LOADS,)),  # standard deviation of that energy, as a fraction of it
        ("load_loss", _F, (LOADS,)),  # share of its heat that it loses, per s
        ("load_loss_wind", _F, (LOADS,)),  # the same per s and m/s of airspeed
        ("load_capacity", _F, (LOADS,)),  # of a hot wire, J/K; 0 for an igniter
        ("load_burns_at", _F, (LOADS,)),  # of a hot wire, C: stands for load_energy
        ("load_hold", _F, (LOADS,)),  # s for which it has to stay that hot
        ("load_shorts", _I, (LOADS,)),  # 1: a short once it has acted, else open
        # batteries, one per computer
        ("batteries", _I),
        ("battery_points", _I, (COMPUTERS,)),
        ("battery_charge_at", _F, (COMPUTERS, BATTERY_POINTS)),  # 0..1
        ("battery_volts_at", _F, (COMPUTERS, BATTERY_POINTS)),  # open circuit
        ("battery_charge", _F, (COMPUTERS,)),  # at the start, 0..1
        ("battery_capacity", _F, (COMPUTERS,)),  # A s; inf: never runs down
        ("battery_resistance", _F, (COMPUTERS,)),  # at 20 C
        ("battery_factor_points", _I, (COMPUTERS,)),  # 0: the same at all temperatures
        ("battery_celsius_at", _F, (COMPUTERS, BATTERY_POINTS)),
        ("battery_factor_at", _F, (COMPUTERS, BATTERY_POINTS)),  # of battery_resistance
        ("battery_sense", _F, (COMPUTERS,)),  # what its divider makes of a volt
        ("battery_draw", _F, (COMPUTERS,)),  # of the computer itself, A
        ("battery_brown_out", _F, (COMPUTERS,)),  # V
        ("battery_brown_out_time", _F, (COMPUTERS,)),  # s below it until the power is lost
        # servos
        ("servos", _I),
        ("servo_role", _I, (SERVOS,)),
        ("servo_target", _I, (SERVOS,)),
        ("servo_low", _F, (SERVOS,)),
        ("servo_high", _F, (SERVOS,)),
        ("servo_rate", _F, (SERVOS,)),  # per second
        ("servo_lag", _F, (SERVOS,)),  # s
        ("servo_dead_band", _F, (SERVOS,)),
        ("servo_bias", _F, (SERVOS,)),
        ("servo_start", _F, (SERVOS,)),
        ("servo_battery", _I, (SERVOS,)),
        ("servo_moving", _F, (SERVOS,)),  # A while it moves
        ("servo_stall", _F, (SERVOS,)),  # A while it is held back from where it should go
        # separation
        ("separation_push", _F),  # speed at which the two bodies are pushed apart, m/s
        ("separation_sideways", _F),  # the same across the axis: body 0 goes along its y
        # aerodynamics by configuration; forces are areas (m2) times dynamic pressure
        ("aero_axial_nose", _F, (CONFIGS,)),  # drag area nose first
        ("aero_axial_tail", _F, (CONFIGS,)),  # drag area tail first
        ("aero_side", _F, (CONFIGS,)),  # drag area flying sideways
        ("aero_slope_nose", _F, (CONFIGS,)),  # normal-force slope times area, per rad
        ("aero_slope_tail", _F, (CONFIGS,)),
        ("aero_centre_nose", _F, (CONFIGS,)),  # stations of the centre of pressure
        ("aero_centre_tail", _F, (CONFIGS,)),
        ("aero_centre_side", _F, (CONFIGS,)),
        ("aero_damping_pitch", _F, (CONFIGS,)),  # torque = -d * rho * speed * rate, m4
        ("aero_damping_roll", _F, (CONFIGS,)),
        # parachutes
        ("parachutes", _I),
        ("parachute_body", _I, (PARACHUTES,)),
        ("parachute_area", _F, (PARACHUTES,)),  # drag area, m2
        ("parachute_inflation", _F, (PARACHUTES,)),  # s
        ("parachute_station", _F, (PARACHUTES,)),  # where the line is attached
        ("parachute_self_delay", _F, (PARACHUTES,)),  # s after separation; inf if only fired
        # ground
        ("rail_length", _F),  # 0 for a hold-down only
        ("rail_tilt", _F),  # rad from vertical
        ("rail_azimuth", _F),  # rad, clockwise from north
        ("holds_down", _I),  # 1: stays until released; 0: free to go as soon as it can
        ("leg_length", _F),
        ("leg_radius", _F),  # of the foot circle
        ("obstacles", _I),  # upright cylinders
        ("obstacle_east", _F, (OBSTACLES,)),
        ("obstacle_north", _F, (OBSTACLES,)),
        ("obstacle_radius", _F, (OBSTACLES,)),
        ("obstacle_height", _F, (OBSTACLES,)),
        # sensors
        ("sensors", _I),
        ("sensor_kind", _I, (SENSORS,)),
        ("sensor_place", _I, (SENSORS,)),
        ("sensor_period", _I, (SENSORS,)),  # world ticks between refreshes
        ("sensor_phase", _I, (SENSORS,)),
        ("sensor_noise", _F, (SENSORS,)),  # standard deviation
        ("sensor_bias", _F, (SENSORS,)),
        ("sensor_quantum", _F, (SENSORS,)),  # 0 for none
        ("sensor_low", _F, (SENSORS,)),
        ("sensor_high", _F, (SENSORS,)),
        ("sensor_lag", _F, (SENSORS,)),  # s, first order
        ("sensor_cutoff", _F, (SENSORS,)),  # range: least cosine of tilt that still returns
        ("sensor_plume", _I, (SENSORS,)),  # range: 1 if a burning motor blinds it
        ("sensor_bay_pressure", _F, (SENSORS,)),  # Pa that a parachute's charge puts on its port
        ("sensor_bay_decay", _F, (SENSORS,)),  # s in which that falls to 1/e
        # faults; whether each is active comes with the commands
        ("faults", _I),
        ("fault_kind", _I, (FAULTS,)),
        ("fault_place", _I, (FAULTS,)),
        ("fault_size", _F, (FAULTS,)),
    ],
    align=True,
)

STATE: Final = np.dtype(
    [
        ("tick", _I),
        ("mode", _I),
        ("position", _F, (3,)),  # centre of mass of body 0
        ("velocity", _F, (3,)),
        ("attitude", _F, (4,)),
        ("rates", _F, (3,)),
        ("specific_force", _F, (3,)),  # at the end of the last step, body axes
        ("rail_travel", _F),
        ("lit", _I, (MOTORS,)),  # 0 cold, 1 the delay runs, 2 burning, 3 burnt out, 4 burst
        ("motor_clock", _F, (MOTORS,)),  # s since thrust onset; negative while the delay runs
        ("motor_used", _F, (MOTORS,)),  # impulse already given, N s
        ("ejected", _I, (MOTORS,)),
        ("chuff_clock", _F, (MOTORS,)),  # s since its first puff began
        ("load_heat", _F, (LOADS,)),  # J above the air
        ("load_factor", _F, (LOADS,)),  # scatter of the energy that it needs
        ("load_held", _F, (LOADS,)),  # s for which it has been hot enough
        ("load_spent", _I, (LOADS,)),
        ("battery_charge", _F, (COMPUTERS,)),
        ("battery_low", _F, (COMPUTERS,)),  # s below the voltage that the computer needs
        ("powerless", _I, (COMPUTERS,)),
        ("release_ordered", _I),
        ("released", _I),
        ("separated", _I),
        ("separation_clock", _F),  # s since commanded; negative: not commanded
        ("part1_position", _F, (3,)),
        ("part1_velocity", _F, (3,)),
        ("part1_down", _I),
        ("part1_mass", _F),
        ("least_distance", _F),
        ("parachute_clock", _F, (PARACHUTES,)),  # s since deployed; -inf packed; else to come
        ("servo", _F, (SERVOS,)),
        ("servo_demand", _F, (SERVOS,)),
        ("servo_amps", _F, (SERVOS,)),
        ("airspeed", _F),  # of body 0 at the end of the last tick
        ("turbulence", _F, (5,)),  # filter states of unit variance: u, 2 of v, 2 of w
        ("hold_down_force", _F),
        ("lifted", _I),
        ("apogee", _I),
        ("highest", _F),
        ("down", _I),
        ("down_speed", _F),  # vertical, m/s, positive downwards
        ("down_sideways", _F),
        ("down_cosine", _F),  # of the tilt
        ("down_rate", _F),  # rad/s across the axis
        ("down_east", _F),
        ("down_north", _F),
        ("down_tick", _I),
        ("hit_obstacle", _I),
        # settled when the flight begins: what no tick changes
        ("sensor_share", _F, (SENSORS,)),  # of a step that a lagging sensor follows in one tick
        ("ground_reading", _F),  # of a barometer at the pad, m
        ("sensor_value", _F, (SENSORS,)),  # last answer, NaN before the first
        ("sensor_filter", _F, (SENSORS,)),
        ("sensor_started", _I, (SENSORS,)),
        # sensors: what faults need of the past
        ("remembered", _I, (SENSORS,)),  # measurements so far
        ("past_value", _F, (SENSORS, REMEMBERED)),  # the last of them, in a ring
        ("past_tick", _I, (SENSORS, REMEMBERED)),
        ("port_value", _F, (SENSORS,)),  # behind a blocked port, else the last measurement
        ("port_tick", _I, (SENSORS,)),
        ("bay_excess", _F, (SENSORS,)),  # Pa that charges have left on its port
        # scratch: written before it is read within every tick or integration step
        ("measured", _F, (SENSORS,)),  # what a sensor measured in this tick, if it did
        ("measured_fresh", _I, (SENSORS,)),
        ("stirred", _F, (3,)),  # turbulence of this tick, earth axes
        ("motor_factor", _F, (MOTORS,)),  # what a fault leaves of the thrust
        ("motor_cold", _I, (MOTORS,)),  # 1 between two puffs
        ("chuff_period", _F, (MOTORS,)),  # s; 0: burns evenly
        ("eject_shift", _F, (MOTORS,)),  # s by which a fault moves the ejection charge
        ("circuit_busy", _I),  # 1: a channel is on, or a load is still warm
        ("channel_on", _I, (CHANNELS,)),  # 0 off, 1 by its computer, 2 whatever that does
        ("channel_ohm", _F, (CHANNELS,)),  # from the battery to the loads and back
        ("channel_siemens", _F, (CHANNELS,)),  # of its loads in parallel
        ("load_siemens", _F, (LOADS,)),
        ("load_needed", _F, (LOADS,)),  # J
        ("load_leak", _F, (LOADS,)),  # 1/s
        ("load_amps", _F, (LOADS,)),
        ("load_peak", _F, (LOADS,)),  # largest of this tick
        ("battery_open", _F, (COMPUTERS,)),  # V of the open circuit
        ("battery_inner", _F, (COMPUTERS,)),  # ohm
        ("battery_steady", _F, (COMPUTERS,)),  # A of the computer and its servos
        ("battery_siemens", _F, (COMPUTERS,)),  # of its channels
        ("battery_volts", _F, (COMPUTERS,)),  # at its terminals
        ("battery_amps", _F, (COMPUTERS,)),
        ("battery_least", _F, (COMPUTERS,)),  # lowest voltage of this tick
        ("battery_peak", _F, (COMPUTERS,)),  # largest current of this tick
        ("shape", _F, (10,)),  # aerodynamic figures of the present configuration
        ("motor_left", _F, (MOTORS,)),  # kg of propellant, and
        ("motor_push", _F, (MOTORS,)),  # N of thrust, of the moment that a row of budget is about
        ("budget", _F, (3, 13)),  # masses and thrust at the start, middle and end of a step
        ("before", _F, (13,)),  # motion: position, velocity, attitude, rates
        ("trial", _F, (13,)),
        ("slopes", _F, (4, 13)),
    ],
    align=True,
)

COMMANDS: Final = np.dtype(
    [
        ("channel", _I, (CHANNELS,)),  # 1 while the computer drives it
        ("servo", _F, (SERVOS,)),  # demanded position; NaN for "no demand yet"
        ("switch", _I, (SWITCHES,)),  # the crew's
        ("fault", _I, (FAULTS,)),  # 1 while active
    ],
    align=True,
)

OUT: Final = np.dtype(
    [
        # sensors, as the computers would read them
        ("value", _F, (SENSORS,)),
        ("fresh", _I, (SENSORS,)),
        # the truth, one number each, for records and checks
        ("position", _F, (3,)),
        ("velocity", _F, (3,)),
        ("attitude", _F, (4,)),
        ("rates", _F, (3,)),
        ("specific_force", _F, (3,)),
        ("height", _F),  # of the lowest point of the airframe (legs not counted) above ground
        ("vertical_speed", _F),
        ("tilt_cosine", _F),
        ("airspeed", _F),
        ("angle_of_attack", _F),  # rad
        ("dynamic_pressure", _F),
        ("mass", _F),
        ("centre_of_mass", _F),  # station
        ("thrust", _F, (MOTORS,)),
        ("thrust_total", _F),
        ("servo", _F, (SERVOS,)),
        ("hold_down_force", _F),
        ("wind", _F, (3,)),  # at body 0
        ("wind_mast", _F),
        ("parachute", _F, (PARACHUTES,)),  # opened fraction
        ("load_current", _F, (LOADS,)),  # A, largest within the tick
        ("battery", _F, (COMPUTERS,)),  # V at its terminals
        ("battery_least", _F, (COMPUTERS,)),  # V, lowest within the tick
        ("battery_current", _F, (COMPUTERS,)),  # A, largest within the tick
        ("part1_position", _F, (3,)),
        ("part1_velocity", _F, (3,)),
        ("distance", _F),  # between the two bodies, NaN before separation
        # facts; an event is a change from 0 to 1
        ("released", _I),
        ("lifted", _I),
        ("burning", _I, (MOTORS,)),
        ("burst", _I, (MOTORS,)),
        ("burnt", _I, (MOTORS,)),
        ("ejected", _I, (MOTORS,)),
        ("separated", _I),
        ("apogee", _I),
        ("deployed", _I, (PARACHUTES,)),
        ("opened", _I, (PARACHUTES,)),
        ("down", _I),
        ("part1_down", _I),
        ("hit_obstacle", _I),
        ("spent", _I, (LOADS,)),
        ("powerless", _I, (COMPUTERS,)),
    ],
    align=True,
)


def empty(layout: np.dtype, count: int = 1) -> np.ndarray:
    """`count` zeroed records of one of the layouts above, shape (count,)."""
    return np.zeros(count, dtype=layout)
