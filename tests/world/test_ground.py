"""Pad, rail, hold-down, touchdown, obstacles."""

import math

import numpy as np
import pytest
from world_rigs import (
    G,
    add_load,
    add_motor,
    add_sensor,
    history,
    in_the_air,
    light,
    rig,
    steps,
    two_stage,
)

from sequencer.world import LoadKind, Mode, SensorKind, World


def on_pad(thrust, **values):
    params = rig(mass=1.0, **values)
    add_motor(params, [(0.0, thrust), (3.0, thrust)])
    add_load(params, LoadKind.MOTOR)
    add_load(params, LoadKind.HOLD_DOWN)
    return params


def test_upright_the_vehicle_stands_with_its_tail_at_the_origin():
    world = World(rig(part_station=(0.4, 0.0)))
    assert world.out["position"] == pytest.approx((0.0, 0.0, 0.6))
    assert world.out["attitude"] == pytest.approx((math.sqrt(0.5), 0.0, -math.sqrt(0.5), 0.0))
    assert world.out["height"] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("azimuth", "east", "north"), [(0.0, 0.0, 1.0), (90.0, 1.0, 0.0), (225.0, -0.7071, -0.7071)]
)
def test_a_tilted_rail_points_to_its_azimuth(azimuth, east, north):
    tilt = math.radians(10.0)
    world = World(rig(rail_tilt=tilt, rail_azimuth=math.radians(azimuth)))
    lean = 0.5 * math.sin(tilt)
    assert world.out["position"] == pytest.approx(
        (lean * east, lean * north, 0.5 * math.cos(tilt)), abs=1e-5
    )
    assert world.out["tilt_cosine"] == pytest.approx(math.cos(tilt))
    assert world.out["specific_force"][0] == pytest.approx(G * math.cos(tilt))
    assert np.linalg.norm(world.out["specific_force"]) == pytest.approx(G)


def test_a_hold_down_holds_until_it_is_released():
    world = World(on_pad(20.0, holds_down=1))
    world.commands["channel"][0] = 1
    out = steps(world, 0.5)
    assert (out["released"], out["lifted"]) == (0, 0)
    assert out["hold_down_force"] == pytest.approx(20.0 - G)
    assert out["specific_force"] == pytest.approx((G, 0.0, 0.0))  # a clamped one feels nothing
    world.commands["channel"][1] = 1
    out = steps(world, 0.5)
    assert (out["released"], out["lifted"]) == (1, 1)
    assert out["hold_down_force"] == 0.0
    assert out["velocity"][2] == pytest.approx((20.0 - G) * 0.5, rel=1e-9)
    assert out["specific_force"] == pytest.approx((20.0, 0.0, 0.0))


def test_without_a_hold_down_it_goes_as_soon_as_it_can():
    world = World(on_pad(20.0))
    assert world.out["released"] == 1
    assert world.out["hold_down_force"] == pytest.approx(-G)
    world.commands["channel"][0] = 1
    assert steps(world, 0.3)["lifted"] == 1


def test_with_too_little_thrust_it_sits_on_the_pad():
    world = World(on_pad(9.0))
    world.commands["channel"][0] = 1
    out = steps(world, 1.0)
    assert (out["lifted"], out["height"]) == (0, pytest.approx(0.0, abs=1e-12))
    assert out["hold_down_force"] == pytest.approx(9.0 - G)
    assert world.state["mode"] == Mode.CLAMPED


def test_a_hop_that_never_lifted_off_sits_down_again():
    params = rig(mass=1.0)
    add_motor(params, [(0.0, 11.0), (0.2, 11.0)])
    world = World(params)
    light(world, 0)
    kept = history(world, 1.0)
    assert 0.01 < kept["height"].max() < 0.05
    assert kept[-1]["height"] == pytest.approx(0.0, abs=1e-9)
    assert (kept[-1]["lifted"], kept[-1]["down"]) == (0, 0)


def test_the_rail_guides_until_its_end_and_then_lets_go():
    params = on_pad(20.0, rail_length=2.0, rail_tilt=math.radians(5.0))
    params["motor_y"][0] = 0.02  # would turn it at once if it were free
    world = World(params)
    world.commands["channel"][0] = 1
    kept = history(world, 1.5)
    along = np.linalg.norm(kept["position"] - kept[0]["position"], axis=1)
    on_rail = along < 1.9
    assert (kept["rates"][on_rail] == 0.0).all()
    acceleration = 20.0 - G * math.cos(math.radians(5.0))
    leaves = int(np.argmax(along >= 2.0))
    speed = np.linalg.norm(kept[leaves]["velocity"])
    assert speed == pytest.approx(math.sqrt(2.0 * acceleration * along[leaves]), rel=1e-3)
    assert abs(kept[-1]["rates"][2]) > 1.0
    assert kept[leaves - 1]["specific_force"][0] == pytest.approx(20.0)


@pytest.mark.parametrize(("burn", "lifted"), [(0.3, False), (0.6, True)])
def test_on_a_rail_it_slides_back_when_thrust_fades(burn, lifted):
    params = rig(mass=1.0, rail_length=5.0)
    add_motor(params, [(0.0, 15.0), (burn, 0.0)])
    world = World(params)
    light(world, 0)
    kept = history(world, 2.0)
    highest = kept["height"].max()
    assert (highest > 0.05) == lifted
    assert kept[-1]["height"] == pytest.approx(0.0, abs=1e-6)
    # one that never lifted off stands again; one that did has come down
    assert world.state["mode"] == (Mode.DOWN if lifted else Mode.CLAMPED)
    assert world.state["down"] == int(lifted)
    if lifted:
        free = math.sqrt(2.0 * G * highest)  # what is left of the thrust carries a part of it
        assert 0.8 * free < world.state["down_speed"] < free


@pytest.mark.parametrize("substeps", [1, 10])
def test_touchdown_is_found_within_the_step(substeps):
    params = rig(mass=1.0, substeps=substeps)
    world = in_the_air(params, 10.5, velocity=(3.0, -4.0, 0.0))
    kept = history(world, 2.0)
    time = math.sqrt(2.0 * 10.0 / G)
    state = world.state
    assert state["down_speed"] == pytest.approx(G * time, rel=1e-4)
    assert state["down_sideways"] == pytest.approx(5.0)
    assert (state["down_east"], state["down_north"]) == pytest.approx(
        (3.0 * time, -4.0 * time), rel=1e-4
    )
    assert state["down_cosine"] == pytest.approx(1.0)
    assert state["down_tick"] == math.ceil(time * 100) == int(np.argmax(kept["down"]))
    assert kept[-1]["height"] == pytest.approx(0.0, abs=1e-9)


def test_touchdown_notes_tilt_and_rate():
    tilt = 0.3
    attitude = (math.cos(math.pi / 4 - tilt / 2), 0.0, -math.sin(math.pi / 4 - tilt / 2), 0.0)
    world = in_the_air(rig(mass=1.0), 2.0, attitude=attitude, rates=(2.0, 0.5, 0.0))
    world.state["rates"] = (0.0, 0.0, 0.5)
    steps(world, 1.0)
    assert world.state["down_rate"] == pytest.approx(0.5, rel=1e-3)
    assert world.state["down_cosine"] < math.cos(tilt)
    # the tail swings: the lowest point is the tail end, not the centre of mass
    assert world.out["position"][2] == pytest.approx(0.5 * world.state["down_cosine"], abs=1e-4)


def test_nose_first_the_nose_touches():
    down = (math.sqrt(0.5), 0.0, math.sqrt(0.5), 0.0)
    world = in_the_air(rig(mass=1.0, part_station=(0.3, 0.0)), 5.0, attitude=down)
    steps(world, 2.0)
    assert world.state["down_cosine"] == pytest.approx(-1.0)
    assert world.state["position"][2] == pytest.approx(0.3, abs=1e-6)


def test_apogee_needs_some_height():
    low, high = (in_the_air(rig(mass=1.0), 0.6, velocity=(0.0, 0.0, v)) for v in (5.0, 8.0))
    for world in (low, high):
        steps(world, 3.0)
    assert (low.out["apogee"], high.out["apogee"]) == (0, 1)
    assert high.state["highest"] == pytest.approx(0.1 + 32.0 / G, rel=1e-3)


def test_the_spent_stage_lands_by_itself():
    world = in_the_air(two_stage(), 60.0)
    world.commands["channel"][3] = 1
    kept = history(world, 20.0)
    assert kept[-1]["part1_down"] == 1
    assert kept[-1]["part1_position"][2] == 0.0
    falling = kept["part1_velocity"][kept["part1_down"] == 0][-1]
    # 0.48 kg under 0.2 m2 and what it shows itself
    assert -falling[2] == pytest.approx(math.sqrt(2 * 0.48 * G / (1.22 * 0.23)), rel=0.02)
    assert world.state["least_distance"] == pytest.approx(np.nanmin(kept["distance"]), abs=1e-9)


@pytest.mark.parametrize(("height", "hit"), [(3.0, 1), (0.5, 0)])
def test_an_obstacle_in_the_way_is_noticed(height, hit):
    params = rig(mass=1.0, obstacles=1)
    params["obstacle_east"][0] = 4.0
    params["obstacle_radius"][0] = 0.5
    params["obstacle_height"][0] = height
    world = in_the_air(params, 3.0, velocity=(8.0, 0.0, 3.0))
    assert steps(world, 0.8)["hit_obstacle"] == hit


def test_the_force_on_the_hold_down_is_measured():
    params = on_pad(20.0, holds_down=1)
    add_sensor(params, SensorKind.HOLD_DOWN_FORCE)
    world = World(params)
    assert world.out["value"][0] == pytest.approx(-G)
    world.commands["channel"][0] = 1
    assert steps(world, 0.2)["value"][0] == pytest.approx(20.0 - G)
