"""Servos, circuits, parachutes: what is commanded and what moves."""

import math

import pytest
from world_rigs import (
    add_load,
    add_motor,
    add_parachute,
    add_sensor,
    add_servo,
    history,
    in_the_air,
    rig,
    steps,
    two_stage,
)

from sequencer.world import LoadKind, SensorKind, ServoRole, World


def servo(demand=None, seconds=0.5, **values):
    """History of one servo's position after a demand; tick 0 is before it."""
    params = rig(rate_hz=1000, substeps=1)
    add_servo(params, ServoRole.FINS, **values)
    world = World(params)
    if demand is not None:
        world.commands["servo"][0] = demand
    return history(world, seconds)["servo"][:, 0]


def test_without_a_demand_a_servo_keeps_its_start():
    assert (servo(start=0.3, bias=0.1) == 0.3).all()


def test_the_rate_is_limited():
    kept = servo(1.0, rate=2.0)
    assert kept[250] == pytest.approx(0.5)
    assert kept[500] == pytest.approx(1.0)
    assert abs(kept[1:] - kept[:-1]).max() <= 0.002 + 1e-12


def test_the_lag_is_of_first_order():
    kept = servo(0.5, lag=0.1)
    assert kept[100] == pytest.approx(0.5 * (1.0 - math.exp(-1.0)), rel=1e-9)


def test_within_the_dead_band_nothing_moves():
    assert (servo(0.05, dead_band=0.06) == 0.0).all()
    kept = servo(0.2, dead_band=0.06, lag=0.02)
    assert kept[-1] == pytest.approx(0.14, abs=1e-12)  # it stops where the band begins


@pytest.mark.parametrize("rate_hz", [100, 1000])
def test_rate_lag_and_dead_band_give_the_same_way_at_any_step(rate_hz):
    """Status [C]: 0.2 s at 2 per second bring it from 0.6 to lag * rate = 0.2 off its aim; from
    there on the error is 0.2 exp(-t / lag), until the band is reached.
    """
    params = rig(rate_hz=rate_hz, substeps=1)
    add_servo(params, ServoRole.FINS, rate=2.0, lag=0.1, dead_band=0.01)
    world = World(params)
    world.commands["servo"][0] = 0.6
    kept = history(world, 0.6)["servo"][:, 0]
    assert kept[rate_hz // 10] == pytest.approx(0.2, abs=1e-12)
    assert kept[rate_hz // 4] == pytest.approx(0.6 - 0.2 * math.exp(-0.5), abs=1e-12)
    assert kept[-1] == pytest.approx(0.59, abs=1e-12)


def test_the_bias_moves_the_position_and_the_travel_bounds_it():
    assert servo(0.5, bias=0.1)[-1] == pytest.approx(0.6)
    assert servo(0.95, bias=0.1)[-1] == 1.0
    assert servo(-5.0, low=-0.2)[-1] == -0.2


def test_the_last_demand_holds():
    params = rig()
    add_servo(params, ServoRole.FINS)
    world = World(params)
    world.commands["servo"][0] = 0.5
    world.step()
    world.commands["servo"][0] = math.nan
    assert steps(world, 0.1)["servo"][0] == 0.5


def test_loads_in_parallel_share_a_channel():
    params = rig(holds_down=1)
    channel = 0
    add_load(params, LoadKind.MOTOR, 0, resistance=1.4)
    add_load(params, LoadKind.MOTOR, 1, channel=channel, resistance=2.8)
    for _ in range(2):
        add_motor(params, [(0.0, 1.0), (1.0, 1.0)], delay=5.0)
    # 7.4 V over 0.1 + 1/(1/1.4 + 1/2.8) = 31/30 ohm: 222/31 A, of which two thirds take the first
    first, second, alone = 148 / 31, 74 / 31, 7.4 / 2.9
    params["load_energy"][0] = first**2 * 1.4 * 0.03
    params["load_energy"][1] = second**2 * 2.8 * 0.03 + alone**2 * 2.8 * 0.02
    add_sensor(params, SensorKind.CONTINUITY, channel, high=50.0)
    world = World(params)
    assert world.out["value"][0] == pytest.approx(31 / 30)
    world.commands["channel"][channel] = 1
    out = steps(world, 0.02)
    assert out["load_current"][:2] == pytest.approx((first, second))
    out = steps(world, 0.02)  # the first is burnt through at 0.03 s
    assert world.state["load_amps"][:2] == pytest.approx((0.0, alone))
    assert out["load_current"][:2] == pytest.approx((0.0, alone))
    assert out["value"][0] == pytest.approx(2.9)
    out = steps(world, 0.02)
    assert out["value"][0] == 50.0
    assert world.state["lit"][:2].tolist() == [1, 1]


def test_current_adds_up_over_pulses():
    params = rig(holds_down=1)
    add_motor(params, [(0.0, 1.0), (1.0, 1.0)])
    add_load(params, LoadKind.MOTOR, delay=0.04)
    world = World(params)
    for on in (1, 0, 1):
        world.commands["channel"][0] = on
        steps(world, 0.02)
    assert world.out["spent"][0] == 1


def test_a_horn_conducts_as_long_as_it_is_driven_and_never_burns_through():
    params = rig(holds_down=1)
    add_load(params, LoadKind.SIGNAL, resistance=20.0)
    world = World(params)
    world.commands["channel"][0] = 1
    out = steps(world, 3.0)
    assert out["load_current"][0] == pytest.approx(7.4 / 20.1)
    assert out["spent"][0] == 0


def test_a_motor_lights_once():
    params = rig(holds_down=1)
    add_motor(params, [(0.0, 5.0), (0.3, 5.0)])
    add_load(params, LoadKind.MOTOR)
    add_load(params, LoadKind.MOTOR)
    world = World(params)
    world.commands["channel"][0] = 1
    assert steps(world, 0.5)["burnt"][0] == 1
    world.commands["channel"][1] = 1
    out = steps(world, 0.5)
    assert (out["burning"][0], out["burnt"][0]) == (0, 1)
    assert world.state["motor_used"][0] == pytest.approx(1.5)


def test_a_fired_parachute_is_not_held_back_by_its_own_delay():
    params = two_stage()
    params["parachute_self_delay"][0] = 3.0
    world = in_the_air(params, 300.0, velocity=(0.0, 0.0, 5.0))
    world.commands["channel"][3] = 1
    assert steps(world, 1.0)["deployed"][0] == 0
    world.commands["channel"][4] = 1
    assert steps(world, 0.05)["deployed"][0] == 1


def test_a_parachute_at_the_nose_turns_the_nose_up():
    params = rig(mass=0.7, transverse=0.03)
    params["aero_side"] = 0.05
    params["aero_centre_side"] = 0.5
    add_parachute(params, 0.3, inflation=0.3, station=0.05)
    sideways = (1.0, 0.0, 0.0, 0.0)
    world = in_the_air(params, 300.0, attitude=sideways, velocity=(0.0, 0.0, -10.0))
    world.state["parachute_clock"][0] = 0.0
    assert world.state["attitude"][0] == 1.0
    assert steps(world, 6.0)["tilt_cosine"] > 0.9


def test_legs_reach_the_ground_before_the_tail():
    speeds = []
    for out in (0.0, 1.0):
        params = rig(mass=0.7, leg_length=0.5)
        add_servo(params, ServoRole.LEGS, start=out)
        world = in_the_air(params, 10.0)
        world.state["separated"] = 1
        world.state["part1_down"] = 1
        steps(world, 2.0)
        speeds.append(float(world.state["down_speed"]))
    fall = 2.0 * 9.80665
    assert speeds[0] == pytest.approx(math.sqrt(fall * 9.5), rel=1e-4)
    assert speeds[1] == pytest.approx(math.sqrt(fall * 9.0), rel=1e-4)
