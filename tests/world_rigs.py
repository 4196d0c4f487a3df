"""PARAMS records put together by hand, and worlds flown without any computer."""

from __future__ import annotations

import math

import numpy as np

from sequencer.world import PARAMS, LoadKind, Mode, SensorKind, ServoRole, World, empty

G = 9.80665
VOLTS = 7.4  # of every battery unless a test says otherwise, without internal resistance
BOOST = [(0.0, 0.0), (0.04, 1.6), (0.10, 1.3), (0.25, 1.0), (0.90, 0.85), (1.0, 0.0)]


def rig(mass=0.75, axial=0.001, transverse=0.02, **values):
    """A record for one rigid body without air forces, standing free on the pad, 1 m long."""
    params = empty(PARAMS)[0]
    params["rate_hz"] = 100
    params["substeps"] = 10
    params["gravity"] = G
    params["part_mass"][0] = mass
    params["part_station"][0] = 0.5
    params["part_axial"][0] = axial
    params["part_transverse"][0] = transverse
    params["part_tail"] = 1.0
    params["motor_gimbal"] = -1
    params["motor_eject_delay"] = np.inf
    params["parachute_self_delay"] = np.inf
    params["load_channel"] = -1
    params["sensor_period"] = 1
    params["sensor_low"] = -np.inf
    params["sensor_high"] = np.inf
    params["batteries"] = 2
    params["battery_points"] = 1
    params["battery_volts_at"][:, 0] = VOLTS
    params["battery_charge"] = 1.0
    params["battery_capacity"] = np.inf
    params["battery_sense"] = 1.0
    params["mast_height"] = 2.0
    for name, value in values.items():
        params[name] = value
    return params


def _next(params, count):
    params[count] += 1
    return int(params[count]) - 1


def add_motor(params, points, propellant=0.0, part=0, station=1.0, **values):
    """Thrust table of (s, N) points; the rest by field name without its prefix."""
    m = _next(params, "motors")
    times, thrusts = zip(*points, strict=True)
    params["motor_points"][m] = len(points)
    params["motor_time"][m, : len(points)] = times
    params["motor_thrust"][m, : len(points)] = thrusts
    params["motor_impulse"][m] = np.trapezoid(thrusts, times)
    params["motor_propellant"][m] = propellant
    params["motor_part"][m] = part
    params["motor_station"][m] = station
    params["motor_grain_station"][m] = values.pop("grain", station - 0.05)
    for name, value in values.items():
        params[f"motor_{name}"][m] = value
    return m


def curve(impulse, burn, points=BOOST):
    """A relative curve scaled to an impulse (N s) and a burn time (s)."""
    area = np.trapezoid([f for _, f in points], [t for t, _ in points])
    return [(t * burn, f * impulse / (area * burn)) for t, f in points]


def add_load(params, kind, target=0, channel=None, delay=0.0, resistance=1.4, **values):
    """A load, on a channel of its own of 0.1 ohm unless one is given.

    It acts after `delay` s of the current that it gets alone.
    """
    if channel is None:
        channel = _next(params, "channels")
        params["channel_resistance"][channel] = 0.1
    amps = VOLTS / (params["channel_resistance"][channel] + resistance)
    i = _next(params, "loads")
    params["load_channel"][i] = channel
    params["load_kind"][i] = kind
    params["load_target"][i] = target
    params["load_resistance"][i] = resistance
    params["load_energy"][i] = amps * amps * resistance * delay
    for name, value in values.items():
        params[f"load_{name}"][i] = value
    return i


def add_battery(params, battery, volts, resistance=0.0, **values):
    """One of constant open-circuit voltage; the rest by field name without its prefix."""
    params["battery_volts_at"][battery, 0] = volts
    params["battery_resistance"][battery] = resistance
    for name, value in values.items():
        params[f"battery_{name}"][battery] = value


def _add(params, count, prefix, values):
    i = _next(params, count)
    for name, value in values.items():
        params[f"{prefix}_{name}"][i] = value
    return i


def add_servo(params, role, low=-1.0, high=1.0, rate=np.inf, **values):
    return _add(
        params, "servos", "servo", {"role": role, "low": low, "high": high, "rate": rate, **values}
    )


def add_sensor(params, kind, place=0, **values):
    return _add(params, "sensors", "sensor", {"kind": kind, "place": place, **values})


def add_parachute(params, area, body=0, station=0.0, inflation=0.0, **values):
    values = {"area": area, "body": body, "station": station, "inflation": inflation, **values}
    return _add(params, "parachutes", "parachute", values)


def add_fault(params, kind, place=0, size=0.0):
    return _add(params, "faults", "fault", {"kind": kind, "place": place, "size": size})


def uniform_air(params, drag_k=None):
    """Air of one density at all heights, kg/m3: so hot that its column has no weight.

    `drag_k` sets the drag areas at both ends so that drag is drag_k * speed^2.
    """
    params["temperature_offset"] = 1e11
    density = 101325.0 / (8314.32 / 28.9644 * (288.15 + 1e11))
    if drag_k is not None:
        params["aero_axial_nose"] = 2.0 * drag_k / density
        params["aero_axial_tail"] = 2.0 * drag_k / density
    return density


def in_the_air(params, height, velocity=(0.0, 0.0, 0.0), attitude=None, rates=(0.0, 0.0, 0.0)):
    """A world whose body 0 is free with its centre of mass at `height`, nose up."""
    world = World(params)
    state = world.state
    state["mode"] = Mode.FREE
    state["lifted"] = 1
    state["released"] = 1
    state["position"] = (0.0, 0.0, height)
    state["velocity"] = velocity
    state["rates"] = rates
    if attitude is not None:
        state["attitude"] = attitude
    return world


def steps(world, seconds):
    """Step the world on for a time, s."""
    for _ in range(round(seconds * int(world.params["rate_hz"]))):
        world.step()
    return world.out


def light(world, motor):
    """Set a motor burning now, as if its delay had just run out."""
    world.state["lit"][motor] = 2
    world.state["motor_clock"][motor] = 0.0


def history(world, seconds):
    """Every tick's `out` from now on, shape (ticks + 1,), the first being the present."""
    count = round(seconds * int(world.params["rate_hz"]))
    kept = np.empty(count + 1, dtype=world.out.dtype)
    kept[0] = world.out
    for name in ("position", "velocity", "attitude", "rates"):
        kept[0][name] = world.state[name]  # a test may just have set them
    for i in range(count):
        kept[i + 1] = world.step()
    return kept


def two_stage(**values):
    """A vehicle of the kind the demo flies: booster with three motors, stage that lands on two.

    Channels and loads 0..2 light the ascent motors, 3 parts the bodies, 4 deploys the stage's
    parachute, 5 and 6 light the landing motors, 7 releases the hold-down. Servos: gimbal y and z
    of the ascent (gimbal 0) and of the landing (gimbal 1), fins, legs. Parachute 1 is the
    booster's.
    """
    params = rig(
        holds_down=1,
        leg_length=0.12,
        leg_radius=0.2,
        separation_push=0.5,
        **values,
    )
    params["substeps"] = 4
    params["part_mass"] = (0.58, 0.42)
    params["part_station"] = (0.45, 0.95)
    params["part_axial"] = (0.0006, 0.0004)
    params["part_transverse"] = (0.022, 0.006)
    params["part_tail"] = (0.80, 1.15)
    params["aero_axial_nose"] = (0.0028, 0.0025, 0.004, 0.004)
    params["aero_axial_tail"] = (0.004, 0.004, 0.026, 0.006)
    params["aero_side"] = (0.09, 0.06, 0.07, 0.065)
    params["aero_slope_nose"] = (0.055, 0.012, 0.012, 0.012)
    params["aero_slope_tail"] = (0.02, 0.012, 0.06, 0.012)
    params["aero_centre_nose"] = (0.90, 0.30, 0.30, 0.30)
    params["aero_centre_tail"] = (0.70, 0.60, 0.10, 0.60)
    params["aero_centre_side"] = (0.62, 0.44, 0.30, 0.46)
    params["aero_damping_pitch"] = (0.004, 0.0015, 0.004, 0.002)
    params["aero_damping_roll"] = 0.0001
    for i in range(3):
        angle = 2.0 * math.pi * i / 3
        add_motor(
            params,
            curve(34.0, 4.5),
            propellant=0.020,
            part=1,
            station=1.15,
            grain=1.10,
            y=0.02 * math.cos(angle),
            z=0.02 * math.sin(angle),
            gimbal=0,
            delay=0.03,
        )
        add_load(params, LoadKind.MOTOR, i, delay=0.01)
    add_load(params, LoadKind.SEPARATION, delay=0.01)
    add_load(params, LoadKind.PARACHUTE, 0, delay=0.01)
    for i in range(2):
        add_motor(
            params,
            curve(14.0, 2.8),
            propellant=0.010,
            station=0.80,
            grain=0.74,
            y=0.02 - 0.04 * i,
            gimbal=1,
            delay=0.03,
        )
        add_load(params, LoadKind.MOTOR, 3 + i, delay=0.01)
    add_load(params, LoadKind.HOLD_DOWN)
    limit = math.radians(5.0)
    for gimbal in range(2):
        for role in (ServoRole.GIMBAL_Y, ServoRole.GIMBAL_Z):
            rate = math.radians(200)
            add_servo(params, role, -limit, limit, rate, lag=0.02, target=gimbal)
    add_servo(params, ServoRole.FINS, low=0.0, high=1.0, rate=3.0)
    add_servo(params, ServoRole.LEGS, low=0.0, high=1.0, rate=3.0)
    add_parachute(params, 0.3, station=0.05, inflation=0.3)
    add_parachute(params, 0.2, body=1, station=0.8, inflation=0.3, self_delay=0.5)
    return params


def all_sensors(params):
    """One noisy sensor of every kind."""
    for axis in range(3):
        add_sensor(params, SensorKind.ACCELERATION, axis, noise=0.2, lag=0.005, quantum=0.01)
        add_sensor(params, SensorKind.RATE, axis, noise=0.01, bias=0.002)
    add_sensor(params, SensorKind.BAROMETER, noise=0.3, period=4)
    add_sensor(params, SensorKind.RANGE, noise=0.02, high=30.0, cutoff=0.9, plume=1, period=2)
    for kind in (
        SensorKind.HOLD_DOWN_FORCE,
        SensorKind.FLAME,
        SensorKind.BATTERY,
        SensorKind.WIND,
        SensorKind.SWITCH,
        SensorKind.SERVO,
        SensorKind.SEPARATED,
        SensorKind.PRESSURE,
    ):
        add_sensor(params, kind, noise=0.05)
    add_sensor(params, SensorKind.CONTINUITY, 0, high=100.0)
    return params


def whole_flight(world, after=None, seconds=14.0):
    """The two-stage vehicle from pad to ground by a timetable; yields `out` after every tick.

    Ignition at 0.2 s, release at 0.5, separation at 5.5, fins out, parachute at 6.3.
    `after(tick, world)` may change commands before each tick.
    """
    timetable = {20: (0, 1, 2), 50: (7,), 550: (3,), 630: (4,)}
    out = []
    for tick in range(round(seconds * int(world.params["rate_hz"]))):
        for channel in timetable.get(tick, ()):
            world.commands["channel"][channel] = 1
        if tick == 560:
            world.commands["servo"][4:6] = 1.0
        if after is not None:
            after(tick, world)
        out.append(world.step().copy())
    return np.array(out)
