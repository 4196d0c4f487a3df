"""Turns a vehicle, its weather and its faults into the world's record of numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from sequencer.documents import located
from sequencer.errors import InputError
from sequencer.vehicle import Vehicle
from sequencer.vehicle.model import Motor, Sensor
from sequencer.world.assemble_circuits import fill_circuits
from sequencer.world.fill import fill
from sequencer.world.layout import (
    FAULTS,
    PARAMS,
    LoadKind,
    SensorKind,
    ServoRole,
    empty,
)
from sequencer.world.places import Places, places_of
from sequencer.world.weather import Gust, Weather, Wind, wind_from

__all__ = ["LONGEST_STEP_S", "assemble", "assemble_recorded", "fill_air"]

#: The integration step is never longer than this.
LONGEST_STEP_S = 0.0025

_ICE_K = 273.15
_GRAVITY = 9.80665  # m/s2, standard gravity (3rd CGPM, 1901)

_SENSOR_KINDS: Mapping[str, SensorKind] = {
    "acceleration": SensorKind.ACCELERATION,
    "rate": SensorKind.RATE,
    "barometer": SensorKind.BAROMETER,
    "pressure": SensorKind.PRESSURE,
    "range": SensorKind.RANGE,
    "hold_down_force": SensorKind.HOLD_DOWN_FORCE,
    "flame": SensorKind.FLAME,
    "continuity": SensorKind.CONTINUITY,
    "battery": SensorKind.BATTERY,
    "wind": SensorKind.WIND,
    "gimbal": SensorKind.SERVO,
    "mechanism": SensorKind.SERVO,
    "separated": SensorKind.SEPARATED,
    "switch": SensorKind.SWITCH,
}

_ROLES: Mapping[str, ServoRole] = {
    "gimbal_y": ServoRole.GIMBAL_Y,
    "gimbal_z": ServoRole.GIMBAL_Z,
    "fins": ServoRole.FINS,
    "legs": ServoRole.LEGS,
}


def assemble(
    vehicle: Vehicle,
    weather: Weather,
    faults: Sequence[tuple[int, int, float]] = (),
    *,
    rate_hz: int,
    seed: int = 1,
    flight: int = 0,
) -> tuple[np.void, Places]:
    """One record of PARAMS, and where everything stands in it.

    faults     rows of `sequencer.world.faults.resolve_fault`, at most as many as the world has
    rate_hz    world ticks per second
    seed, flight   key of all random numbers

    Raises InputError for a sensor whose rate does not divide that of the world.
    """
    if len(faults) > FAULTS:
        raise InputError(f"{len(faults)} faults, of which there may be at most {FAULTS}")
    places = places_of(vehicle)
    params = empty(PARAMS)[0]
    fill(
        params,
        rate_hz=rate_hz,
        substeps=max(1, math.ceil(1.0 / (LONGEST_STEP_S * rate_hz))),
        seed=seed,
        flight=flight,
        gravity=_GRAVITY,
        faults=len(faults),
        fault_kind=[kind for kind, _, _ in faults],
        fault_place=[place for _, place, _ in faults],
        fault_size=[size for _, _, size in faults],
    )
    _air(params, weather)
    _airframe(params, vehicle)
    _motors(params, vehicle, places)
    fill_circuits(params, vehicle, places)
    _servos(params, vehicle, places)
    _parachutes(params, vehicle, places)
    _ground(params, vehicle)
    _sensors(params, vehicle, places, rate_hz)
    return params, places


def _air(params: np.void, weather: Weather) -> None:
    fill(
        params,
        temperature_offset=weather.temperature_offset_k,
        pressure_offset=weather.pressure_offset_pa,
        temperature_levels=len(weather.temperatures),
        temperature_height=[each.height_m for each in weather.temperatures],
        temperature_kelvin=[each.celsius + _ICE_K for each in weather.temperatures],
        turbulence_w20=weather.turbulence_w20_m_s,
    )
    fill_air(params, weather.wind, weather.gusts)


def fill_air(params: np.void, wind: Wind, gusts: Sequence[Gust]) -> None:
    """Set how the air moves in a record of PARAMS: the mean wind and the gusts."""
    profile = wind.profile()
    from_gusts = [wind_from(gust.speed_m_s, gust.from_deg) for gust in gusts]
    fill(
        params,
        wind_levels=len(profile),
        wind_height=[height for height, _, _ in profile],
        wind_east=[east for _, east, _ in profile],
        wind_north=[north for _, _, north in profile],
        gusts=len(gusts),
        gust_start=[gust.start_s for gust in gusts],
        gust_length=[gust.length_s for gust in gusts],
        gust_east=[east for east, _ in from_gusts],
        gust_north=[north for _, north in from_gusts],
        gust_up=[gust.up_m_s for gust in gusts],
    )


def _airframe(params: np.void, vehicle: Vehicle) -> None:
    parts, aero = vehicle.parts, vehicle.aero
    fill(
        params,
        part_mass=[part.mass_kg for part in parts],
        part_station=[part.centre_station_m for part in parts],
        part_axial=[part.axial_kg_m2 for part in parts],
        part_transverse=[part.transverse_kg_m2 for part in parts],
        part_tail=[part.tail_station_m for part in parts],
        separation_push=vehicle.separation_push_m_s,
        separation_sideways=vehicle.separation_sideways_m_s,
        aero_axial_nose=[each.drag_area_nose_m2 for each in aero],
        aero_axial_tail=[each.drag_area_tail_m2 for each in aero],
        aero_side=[each.side_area_m2 for each in aero],
        aero_slope_nose=[each.slope_nose_m2 for each in aero],
        aero_slope_tail=[each.slope_tail_m2 for each in aero],
        aero_centre_nose=[each.centre_nose_m for each in aero],
        aero_centre_tail=[each.centre_tail_m for each in aero],
        aero_centre_side=[each.centre_side_m for each in aero],
        aero_damping_pitch=[each.damping_pitch_m4 for each in aero],
        aero_damping_roll=[each.damping_roll_m4 for each in aero],
    )


def _part_index(vehicle: Vehicle, name: str) -> int:
    return [part.name for part in vehicle.parts].index(name)


def _motors(params: np.void, vehicle: Vehicle, places: Places) -> None:
    motors = list(vehicle.motors.values())
    fill(
        params,
        motors=len(motors),
        motor_part=[_part_index(vehicle, each.part) for each in motors],
        motor_gimbal=[
            -1 if each.gimbal is None else places.gimbals.index(each.gimbal) for each in motors
        ],
        motor_station=[each.nozzle_station_m for each in motors],
        motor_grain_station=[each.grain_station_m for each in motors],
        motor_y=[each.offset_y_m for each in motors],
        motor_z=[each.offset_z_m for each in motors],
        motor_cant_y=[each.cant_y_rad for each in motors],
        motor_cant_z=[each.cant_z_rad for each in motors],
        motor_propellant=[each.propellant_kg for each in motors],
        motor_impulse=[each.total_impulse_n_s for each in motors],
        motor_points=[len(each.thrust) for each in motors],
        motor_delay=[each.ignition_delay_s for each in motors],
    )
    for index, motor in enumerate(motors):
        points = len(motor.thrust)
        params["motor_time"][index, :points] = [time for time, _ in motor.thrust]
        params["motor_thrust"][index, :points] = [thrust for _, thrust in motor.thrust]
        delay, kind, target = _ejection(motor, places)
        params["motor_eject_delay"][index] = delay
        params["motor_eject_kind"][index] = kind
        params["motor_eject_target"][index] = target


def _ejection(motor: Motor, places: Places) -> tuple[float, int, int]:
    if motor.ejection is None:
        return math.inf, LoadKind.SIGNAL, 0
    if motor.ejection.parachute is None:
        return motor.ejection.delay_s, LoadKind.SEPARATION, 0
    target = places.parachutes.index(motor.ejection.parachute)
    return motor.ejection.delay_s, LoadKind.PARACHUTE, target


def _servos(params: np.void, vehicle: Vehicle, places: Places) -> None:
    servos = list(vehicle.servos.values())
    fill(
        params,
        servos=len(servos),
        servo_role=[_ROLES[each.role] for each in servos],
        servo_target=[
            0 if each.gimbal is None else places.gimbals.index(each.gimbal) for each in servos
        ],
        servo_low=[each.low for each in servos],
        servo_high=[each.high for each in servos],
        servo_rate=[each.rate for each in servos],
        servo_lag=[each.lag_s for each in servos],
        servo_dead_band=[each.dead_band for each in servos],
        servo_bias=[each.bias for each in servos],
        servo_start=[each.start for each in servos],
        servo_battery=[places.computers.index(each.computer) for each in servos],
        servo_moving=[each.moving_a for each in servos],
        servo_stall=[each.stall_a for each in servos],
    )


def _parachutes(params: np.void, vehicle: Vehicle, places: Places) -> None:
    parachutes = [vehicle.parachutes[name] for name in places.parachutes]
    fill(
        params,
        parachutes=len(parachutes),
        parachute_body=[_part_index(vehicle, each.part) for each in parachutes],
        parachute_area=[each.drag_area_m2 for each in parachutes],
        parachute_inflation=[each.inflation_s for each in parachutes],
        parachute_station=[each.attach_station_m for each in parachutes],
        parachute_self_delay=[
            math.inf if each.self_deploy_delay_s is None else each.self_deploy_delay_s
            for each in parachutes
        ],
    )


def _ground(params: np.void, vehicle: Vehicle) -> None:
    ground = vehicle.ground
    fill(
        params,
        pad_altitude=ground.pad_altitude_m,
        mast_height=ground.mast_height_m,
        rail_length=ground.rail_length_m,
        rail_tilt=ground.rail_tilt_rad,
        rail_azimuth=ground.rail_azimuth_rad,
        holds_down=int(ground.hold_down),
        leg_length=ground.leg_length_m,
        leg_radius=ground.leg_radius_m,
        obstacles=len(ground.obstacles),
        obstacle_east=[each.east_m for each in ground.obstacles],
        obstacle_north=[each.north_m for each in ground.obstacles],
        obstacle_radius=[each.radius_m for each in ground.obstacles],
        obstacle_height=[each.height_m for each in ground.obstacles],
    )


def _sensors(params: np.void, vehicle: Vehicle, places: Places, rate_hz: int) -> None:
    sensors = list(vehicle.sensors.values())
    fill(
        params,
        sensors=len(sensors),
        sensor_kind=[_SENSOR_KINDS[each.kind] for each in sensors],
        sensor_place=[_sensor_place(each, places) for each in sensors],
        sensor_period=[_period(each, vehicle, rate_hz) for each in sensors],
        sensor_noise=[each.noise for each in sensors],
        sensor_bias=[each.bias for each in sensors],
        sensor_quantum=[each.quantum for each in sensors],
        sensor_low=[each.low for each in sensors],
        sensor_high=[each.high for each in sensors],
        sensor_lag=[each.lag_s for each in sensors],
        sensor_cutoff=[math.cos(each.tilt_cutoff_rad) for each in sensors],
        sensor_plume=[int(each.plume_blinds) for each in sensors],
        sensor_bay_pressure=[each.bay_pressure_pa for each in sensors],
        sensor_bay_decay=[each.bay_decay_s for each in sensors],
    )


def _sensor_place(sensor: Sensor, places: Places) -> int:
    if sensor.kind == "battery":
        return places.computers.index(sensor.computer)
    if sensor.place is None:
        return 0
    if sensor.kind == "flame":
        return places.motors.index(sensor.place)
    if sensor.kind in ("acceleration", "rate"):
        return "xyz".index(sensor.place)
    return {
        "continuity": places.channels,
        "gimbal": places.servos,
        "mechanism": places.servos,
        "switch": places.switches,
    }[sensor.kind][sensor.place]


def _period(sensor: Sensor, vehicle: Vehicle, rate_hz: int) -> int:
    """World ticks between answers. Raises InputError if that is no whole number."""
    if sensor.rate_hz is None:
        return 1
    if rate_hz % sensor.rate_hz:
        divisors = [rate for rate in range(1, rate_hz + 1) if rate_hz % rate == 0]
        near = min(divisors, key=lambda rate: abs(rate - sensor.rate_hz))  # type: ignore[operator]
        raise located(
            vehicle.path,
            ("computers", sensor.computer, "sensors", sensor.name.partition(".")[2], "rate_hz"),
            f"sensor '{sensor.name}' answers at {sensor.rate_hz} Hz, which does not divide the "
            f"world's {rate_hz} Hz; the nearest that does is {near} Hz",
        )
    return rate_hz // sensor.rate_hz


def assemble_recorded(
    sensors: int, faults: Sequence[tuple[int, int, float]] = (), *, rate_hz: int
) -> np.void:
    """One record of PARAMS for answers that were recorded: nothing but sensors without limits.

    sensors, faults, rate_hz    how many; rows as for `assemble`; world ticks per second
    """
    params: np.void = empty(PARAMS)[0]
    fill(
        params,
        rate_hz=rate_hz,
        substeps=1,
        sensors=sensors,
        sensor_period=[1] * sensors,
        sensor_low=[-math.inf] * sensors,
        sensor_high=[math.inf] * sensors,
        faults=len(faults),
        fault_kind=[kind for kind, _, _ in faults],
        fault_place=[place for _, place, _ in faults],
        fault_size=[size for _, _, size in faults],
    )
    return params
