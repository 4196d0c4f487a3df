"""Whole flights, and what must hold in every one of them."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from world_rigs import (
    G,
    add_motor,
    add_parachute,
    add_servo,
    all_sensors,
    curve,
    history,
    in_the_air,
    light,
    rig,
    steps,
    two_stage,
    whole_flight,
)

from sequencer.errors import InternalError
from sequencer.world import Mode, ServoRole, World


def windy(**values):
    params = all_sensors(two_stage(turbulence_w20=4.0, seed=5, **values))
    params["wind_levels"] = 3
    params["wind_height"][:3] = (2.0, 20.0, 150.0)
    params["wind_east"][:3] = (1.0, 2.0, 3.0)
    params["wind_north"][:3] = (0.5, 1.0, 0.5)
    return params


def test_the_same_flight_twice_is_the_same_to_the_last_bit():
    first, second = (whole_flight(World(windy())) for _ in range(2))
    assert first.tobytes() == second.tobytes()


def test_another_flight_number_is_another_flight():
    first, second = (whole_flight(World(windy(flight=n)), seconds=2.0) for n in (0, 1))
    assert not np.array_equal(first["value"], second["value"])
    assert not np.array_equal(first["wind"], second["wind"])


def test_a_copy_goes_its_own_way():
    world = World(windy())
    whole_flight(world, seconds=3.0)
    twin = world.copy()
    there = steps(world, 1.0).copy()
    assert steps(twin, 1.0).tobytes() == there.tobytes()
    twin.commands["channel"][4] = 1
    steps(twin, 0.5)
    assert world.out["deployed"][0] == 0
    assert twin.out["deployed"][0] == 1


def test_the_truth_is_there_before_the_first_step():
    params = all_sensors(two_stage())
    out = World(params).out
    assert out["height"] == pytest.approx(0.0, abs=1e-12)
    assert out["tilt_cosine"] == pytest.approx(1.0)
    assert out["mass"] == pytest.approx(1.0 + 3 * 0.020 + 2 * 0.010)
    assert out["fresh"][: int(params["sensors"])].all()
    assert np.isnan(out["distance"])


def test_only_a_record_of_parameters_makes_a_world():
    with pytest.raises(InternalError, match="PARAMS"):
        World(np.zeros(3))


def test_the_order_of_events():
    kept = whole_flight(World(two_stage()), seconds=45.0)

    def first(name, index=None):
        column = kept[name] if index is None else kept[name][:, index]
        return int(np.argmax(column == 1)) if column.any() else None

    events = [
        first("burning", 0),
        first("released"),
        first("lifted"),
        first("burnt", 0),
        first("separated"),
        first("deployed", 0),
        first("opened", 0),
        first("apogee"),
        first("down"),
    ]
    assert None not in events
    assert events == sorted(events)
    assert first("deployed", 1) == first("separated") + 50
    assert first("part1_down") is not None
    assert 150.0 < kept["height"].max() < 200.0


def test_motors_burn_while_clamped_and_only_the_rest_lifts():
    long, short = World(two_stage()), World(two_stage())
    for world, wait in ((long, 1.5), (short, 0.1)):
        world.commands["channel"][:3] = 1
        steps(world, wait)
        assert world.out["height"] == pytest.approx(0.0, abs=1e-9)
        world.commands["channel"][7] = 1
        steps(world, 9.0)
    assert long.state["highest"] < 0.7 * short.state["highest"]


def test_mass_leaves_with_the_impulse():
    world = World(two_stage())
    world.commands["channel"][:3] = 1
    steps(world, 6.0)
    assert world.state["motor_used"][:3] == pytest.approx(34.0, rel=1e-9)
    assert world.out["mass"] == pytest.approx(1.0 + 2 * 0.010, rel=1e-9)
    assert (world.out["burnt"][:3] == 1).all()


def test_impulse_becomes_momentum_whatever_the_curve():
    params = rig(mass=0.7, gravity=0.0, substeps=4)
    add_motor(params, curve(14.0, 2.83))
    world = in_the_air(params, 100.0)
    light(world, 0)
    assert steps(world, 3.0)["velocity"][2] == pytest.approx(14.0 / 0.7, rel=2e-4)


@given(
    st.lists(st.floats(-8.0, 8.0), min_size=3, max_size=3),
    st.lists(st.floats(-30.0, 30.0), min_size=3, max_size=3),
    st.floats(0.0, math.pi),
)
def test_without_air_and_thrust_energy_and_momentum_stay(rates, velocity, tilt):
    params = rig(mass=0.7, axial=0.001, transverse=0.02, substeps=10)
    attitude = (math.cos(tilt / 2), 0.0, math.sin(tilt / 2), 0.0)
    world = in_the_air(params, 1e4, velocity=velocity, attitude=attitude, rates=rates)
    inertia = np.array([0.001, 0.02, 0.02])

    def energy(out):
        spin = 0.5 * inertia @ out["rates"] ** 2
        speed = 0.5 * 0.7 * out["velocity"] @ out["velocity"]
        return spin + speed + 0.7 * G * out["position"][2]

    kept = history(world, 1.0)
    spin = np.linalg.norm(kept["rates"] * inertia, axis=1)
    assert spin == pytest.approx(np.full_like(spin, spin[0]), rel=1e-6, abs=1e-12)
    assert energy(kept[-1]) == pytest.approx(energy(kept[0]), rel=1e-9)
    assert np.linalg.norm(kept["attitude"], axis=1) == pytest.approx(1.0, abs=1e-14)
    assert kept[-1]["velocity"] == pytest.approx(np.array(velocity) - (0, 0, G), abs=1e-9)


@given(st.integers(0, 20), st.floats(0.0, 12.0), st.floats(-1.0, 1.0))
def test_a_flight_in_any_weather_keeps_finite_and_a_unit_quaternion(seed, wind, fins):
    params = two_stage(seed=seed, turbulence_w20=wind)
    params["wind_levels"] = 1
    params["wind_east"][0] = wind
    world = World(params)
    world.commands["servo"][:4] = fins * 0.05
    kept = whole_flight(world, seconds=12.0)
    for name in ("position", "velocity", "attitude", "rates", "specific_force", "part1_position"):
        assert np.isfinite(kept[name]).all(), name
    assert np.linalg.norm(kept["attitude"], axis=1) == pytest.approx(1.0, abs=1e-12)
    assert kept["height"].min() > -0.05


@given(st.floats(0.0, 0.3), st.floats(-1.0, 1.0), st.floats(0.0, 5.0))
def test_separation_keeps_momentum(tilt, rate, push):
    params = two_stage()
    params["separation_push"] = push
    attitude = (math.cos(0.8 + tilt), 0.0, -math.sin(0.8 + tilt), 0.0)
    world = in_the_air(
        params, 100.0, velocity=(3.0, -1.0, 20.0), attitude=attitude, rates=(0.5, rate, -rate)
    )
    before = world.copy()
    world.commands["channel"][3] = 1
    params["separation_push"] = push
    for _ in range(20):
        world.step()
        before.step()
        if world.out["separated"]:
            break
    # the push and the parting come at the end of a substep: compare right there
    m0, m1 = world.out["mass"], float(world.state["part1_mass"])
    assert m0 + m1 == pytest.approx(before.out["mass"])
    total = m0 * world.out["velocity"] + m1 * world.out["part1_velocity"]
    centre = m0 * world.out["position"] + m1 * world.out["part1_position"]
    whole = m0 + m1
    # what the air does within one tick is the only difference
    assert total / whole == pytest.approx(before.out["velocity"], abs=0.05)
    assert centre / whole == pytest.approx(before.out["position"], abs=1e-3)
    assert world.out["rates"] == pytest.approx(before.out["rates"], abs=0.2)
    apart = np.linalg.norm(world.out["velocity"] - world.out["part1_velocity"])
    swing = math.hypot(rate, rate) * world.out["distance"]
    assert apart == pytest.approx(math.hypot(push, swing), abs=0.2)


def tail_first(fins):
    """Greatest angle of attack away from tail first of a stage that falls, fins at `fins`, rad."""
    params = two_stage()
    params["leg_length"] = 0.0
    attitude = (math.cos(math.pi / 4 - 0.05), 0.0, -math.sin(math.pi / 4 - 0.05), 0.0)
    world = in_the_air(params, 400.0, velocity=(0.0, 0.0, -15.0), attitude=attitude)
    world.state["separated"] = 1
    world.state["part1_down"] = 1
    world.state["servo"][4] = fins
    world.commands["servo"][4] = fins
    kept = history(world, 6.0)[1:]
    return math.pi - kept["angle_of_attack"].min(), -kept["velocity"][-1][2]


def test_a_stage_with_its_fins_stuck_closed_does_not_fall_tail_first():
    swing_out, speed_out = tail_first(1.0)
    swing_closed, _ = tail_first(0.0)
    assert swing_out < 0.25
    assert swing_closed > 1.0
    # drag area 0.026 m2 and 0.6 kg: about 19 m/s
    assert speed_out == pytest.approx(math.sqrt(2 * 0.6 * G / (1.19 * 0.026)), rel=0.05)


def test_a_stable_stack_turns_into_the_wind():
    params = two_stage()
    params["wind_levels"] = 1
    params["wind_east"][0] = 5.0
    world = World(params)
    kept = whole_flight(world, seconds=2.5)
    nose = kept[-1]["attitude"]
    east = 1.0 - 2.0 * (nose[2] ** 2 + nose[3] ** 2)
    assert east < -0.05
    assert kept[-1]["angle_of_attack"] < 0.3


def test_a_booster_still_burning_pushes_only_itself_after_separation():
    params = two_stage()
    world = in_the_air(params, 100.0, velocity=(0.0, 0.0, 20.0))
    for motor in range(3):
        light(world, motor)
    steps(world, 0.5)
    world.commands["channel"][3] = 1
    steps(world, 0.1)
    assert world.out["thrust_total"] == 0.0
    assert (world.out["thrust"][:3] > 5.0).all()
    slow, fast = world.out["velocity"][2], world.out["part1_velocity"][2]
    steps(world, 0.3)
    assert world.out["velocity"][2] < slow - 0.29 * G
    assert world.out["part1_velocity"][2] > fast + 2.0
    assert 0.0 <= world.state["least_distance"] < world.out["distance"]


def test_an_ejection_charge_acts_its_delay_after_burnout():
    params = rig(mass=0.5)
    add_parachute(params, 0.2, inflation=0.5)
    add_motor(params, [(0.0, 10.0), (1.0, 10.0)], eject_delay=0.7, eject_kind=2, eject_target=0)
    world = in_the_air(params, 300.0)
    light(world, 0)
    kept = history(world, 3.0)
    assert int(np.argmax(kept["burnt"][:, 0])) == 100
    assert int(np.argmax(kept["ejected"][:, 0])) == 170
    assert int(np.argmax(kept["deployed"][:, 0])) == 170
    assert int(np.argmax(kept["opened"][:, 0])) == 220
    opening = kept["parachute"][170:221, 0]
    assert (np.diff(opening) >= 0.0).all()
    assert np.abs(np.diff(opening, 2)).max() < 0.01  # grows smoothly


def test_an_ejection_charge_may_part_the_bodies():
    params = two_stage()
    params["motor_eject_delay"][0] = 0.5
    params["motor_eject_kind"][0] = 1
    world = in_the_air(params, 100.0, velocity=(0.0, 0.0, 5.0))
    light(world, 0)
    kept = history(world, 5.5)
    assert int(np.argmax(kept["separated"])) == int(np.argmax(kept["ejected"][:, 0])) == 500


@pytest.mark.parametrize("substeps", [1, 4])
def test_a_huge_parachute_at_high_speed_stays_stable(substeps):
    params = rig(mass=0.3, transverse=0.003, substeps=substeps)
    add_parachute(params, 5.0)
    world = in_the_air(params, 500.0, velocity=(20.0, 0.0, -80.0))
    world.state["parachute_clock"][0] = 0.0
    kept = history(world, 5.0)
    assert np.isfinite(kept["velocity"]).all()
    assert np.abs(kept["velocity"]).max() < 100.0
    assert kept["tilt_cosine"][-1] > 0.9  # hangs under its line
    assert -kept["velocity"][-1][2] < 2.0


def test_a_gimbal_turns_the_vehicle_and_centring_stops_the_turning_up():
    params = rig(mass=0.7, gravity=0.0)
    add_motor(params, [(0.0, 15.0), (5.0, 15.0)], gimbal=3)
    add_servo(params, ServoRole.GIMBAL_Y, target=3)
    world = in_the_air(params, 100.0)
    light(world, 0)
    world.commands["servo"][0] = 0.05
    assert steps(world, 0.2)["rates"][1] > 0.1
    world.commands["servo"][0] = 0.0
    steps(world, 0.01)
    rate = float(world.out["rates"][1])
    assert steps(world, 0.2)["rates"][1] == pytest.approx(rate, rel=1e-6)


def test_a_motor_beside_the_axis_turns_the_vehicle_by_its_lever():
    params = rig(mass=0.7, transverse=0.02, gravity=0.0)
    add_motor(params, [(0.0, 10.0), (5.0, 10.0)], y=0.02)
    world = in_the_air(params, 100.0)
    light(world, 0)
    # torque about z is -y F
    assert steps(world, 0.1)["rates"] == pytest.approx((0.0, 0.0, -0.02 * 10.0 / 0.02 * 0.1))


def test_the_wind_profile_and_a_gust_are_met_where_and_when_they_are():
    params = rig(holds_down=1, gusts=1)
    params["wind_levels"] = 2
    params["wind_height"][:2] = (10.0, 20.0)
    params["wind_east"][:2] = (2.0, 6.0)
    params["gust_start"][0], params["gust_length"][0] = 1.0, 2.0
    params["gust_north"][0], params["gust_up"][0] = 4.0, -1.0
    for height, east in ((5.0, 2.0), (15.0, 4.0), (50.0, 6.0)):
        world = in_the_air(params, height, velocity=(0.0, 0.0, 0.0))
        world.params["gravity"] = 0.0
        kept = history(world, 4.0)[1:]
        assert kept["wind"][:, 0] == pytest.approx(east)
        assert kept["wind"][:98, 1] == pytest.approx(0.0)
        assert kept["wind"][199] == pytest.approx((east, 4.0, -1.0))
        assert kept["wind"][149, 1] == pytest.approx(2.0)
        assert kept["wind"][300:, 1] == pytest.approx(0.0)


def test_mode_down_freezes_the_vehicle():
    world = World(two_stage())
    whole_flight(world, seconds=50.0)
    assert world.state["mode"] == Mode.DOWN
    where = world.out["position"].copy()
    steps(world, 1.0)
    assert (world.out["position"] == where).all()
    assert world.out["velocity"] == pytest.approx(0.0)
    assert world.out["specific_force"] @ world.out["specific_force"] == pytest.approx(G * G)
