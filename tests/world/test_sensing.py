"""Sensors: rate, lag, noise, quantum, range, and what each kind looks at."""

import math

import numpy as np
import pytest
from scipy import stats
from world_rigs import (
    G,
    add_motor,
    add_sensor,
    add_servo,
    all_sensors,
    history,
    in_the_air,
    light,
    rig,
    steps,
    two_stage,
)

from sequencer.world import SensorKind, ServoRole, World


def readings(kind=SensorKind.BATTERY, seconds=1.0, place=0, **values):
    params = rig(holds_down=1, seed=11)
    add_sensor(params, kind, place, **values)
    kept = history(World(params), seconds)
    return kept["value"][:, 0], kept["fresh"][:, 0]


def test_a_sensor_answers_at_its_period_and_phase_and_keeps_its_answer_between():
    value, fresh = readings(noise=1.0, period=4, phase=1)
    assert np.flatnonzero(fresh).tolist() == list(range(1, 101, 4))
    assert np.isnan(value[0])
    for start in range(1, 97, 4):
        assert len(set(value[start : start + 4])) == 1
    assert len(set(value[1:])) == 25


def test_noise_is_normal_with_its_standard_deviation():
    value, _ = readings(seconds=60.0, noise=0.3)
    noise = (value - 7.4) / 0.3
    assert noise.mean() == pytest.approx(0.0, abs=0.05)
    assert noise.std() == pytest.approx(1.0, abs=0.03)
    assert stats.kstest(noise, "norm").pvalue > 0.01
    assert np.corrcoef(noise[1:], noise[:-1])[0, 1] == pytest.approx(0.0, abs=0.05)


def test_sensors_draw_independent_noise():
    params = rig(holds_down=1, seed=11)
    for _ in range(2):
        add_sensor(params, SensorKind.BATTERY, noise=1.0)
    value = history(World(params), 30.0)["value"][:, :2]
    assert np.corrcoef(value.T)[0, 1] == pytest.approx(0.0, abs=0.06)


def test_noise_depends_on_the_tick_and_not_on_how_often_it_was_drawn():
    often, _ = readings(noise=1.0)
    seldom, fresh = readings(noise=1.0, period=5)
    assert (seldom[fresh == 1] == often[fresh == 1]).all()


def test_quantum_bias_and_range():
    value, _ = readings(quantum=0.5)
    assert (value == 7.5).all()
    value, _ = readings(bias=0.25)
    assert value == pytest.approx(7.65)
    value, _ = readings(noise=2.0, low=7.0, high=8.0)
    assert value.min() == 7.0
    assert value.max() == 8.0


def test_the_lag_is_of_first_order():
    params = rig(rate_hz=1000, substeps=1)
    add_sensor(params, SensorKind.SWITCH, 0, lag=0.05)
    world = World(params)
    world.commands["switch"][0] = 1
    assert history(world, 0.05)["value"][-1, 0] == pytest.approx(1.0 - math.exp(-1.0))


def test_a_perfect_sensor_of_every_kind_tells_the_truth():
    params = all_sensors(two_stage())
    params["sensor_noise"] = 0.0
    params["sensor_bias"] = 0.0
    params["sensor_quantum"] = 0.0
    params["sensor_lag"] = 0.0
    params["sensor_period"] = 1
    params["wind_levels"] = 1
    params["wind_north"][0] = 3.0
    world = in_the_air(params, 20.0, velocity=(1.0, 0.0, 2.0), rates=(0.1, 0.02, -0.03))
    world.commands["switch"][0] = 1
    world.commands["servo"][0] = 0.02
    light(world, 0)
    out = steps(world, 0.1)
    value = out["value"]
    for axis in range(3):
        assert value[2 * axis] == out["specific_force"][axis]
        assert value[2 * axis + 1] == out["rates"][axis]
    assert value[6] == pytest.approx(out["position"][2], abs=0.01)
    assert np.isnan(value[7])  # the plume blinds it
    assert value[8:15].tolist() == pytest.approx(
        [0.0, 1.0, 7.4, 3.0, 1.0, float(out["servo"][0]), 0.0]
    )
    assert value[15] == pytest.approx(101325.0 - 12.01 * out["position"][2], rel=1e-5)
    assert value[16] == pytest.approx(1.5)


def test_the_break_wire_tells_when_the_bodies_have_parted():
    params = two_stage()
    add_sensor(params, SensorKind.SEPARATED)
    world = in_the_air(params, 100.0)
    assert steps(world, 0.1)["value"][0] == 0.0
    world.commands["channel"][3] = 1
    assert steps(world, 0.1)["value"][0] == 1.0


def range_at(height, tilt=0.0, burning=False, **values):
    params = rig(gravity=0.0)
    add_sensor(
        params, SensorKind.RANGE, **{"high": 30.0, "low": 0.2, "cutoff": math.cos(0.5), **values}
    )
    add_motor(params, [(0.0, 0.0), (9.0, 0.0)])
    attitude = (math.cos(math.pi / 4 - tilt / 2), 0.0, -math.sin(math.pi / 4 - tilt / 2), 0.0)
    world = in_the_air(params, height, attitude=attitude)
    if burning:
        light(world, 0)
    out = steps(world, 0.05)
    assert out["fresh"][0] == 1
    return float(out["value"][0])


def test_the_rangefinder_looks_from_the_tail_along_the_axis():
    assert range_at(10.0) == pytest.approx(9.5)
    assert range_at(10.0, tilt=0.3) == pytest.approx(10.0 / math.cos(0.3) - 0.5)
    assert range_at(0.55) == pytest.approx(0.2)


@pytest.mark.parametrize(
    "values",
    [
        {"height": 40.0},
        {"height": 10.0, "tilt": 0.6},
        {"height": 10.0, "tilt": math.pi},
        {"height": 10.0, "burning": True, "plume": 1},
    ],
)
def test_without_a_return_the_rangefinder_answers_nan(values):
    assert math.isnan(range_at(**values))


def test_a_plume_only_blinds_where_it_says_so():
    assert range_at(10.0, burning=True, plume=0) == pytest.approx(9.5)


def test_an_accelerometer_feels_gravity_on_the_pad_and_nothing_in_free_fall():
    params = rig(holds_down=1)
    for axis in range(3):
        add_sensor(params, SensorKind.ACCELERATION, axis)
    assert World(params).out["value"][:3] == pytest.approx((G, 0.0, 0.0))
    world = in_the_air(params, 100.0)
    assert steps(world, 0.1)["value"][:3] == pytest.approx(0.0, abs=1e-12)


def test_the_mast_measures_horizontal_wind_at_its_height():
    params = rig(holds_down=1, mast_height=4.0, wind_levels=2)
    params["wind_height"][:2] = (0.0, 8.0)
    params["wind_east"][:2] = (0.0, 6.0)
    params["wind_north"][:2] = (0.0, 8.0)
    add_sensor(params, SensorKind.WIND)
    assert steps(World(params), 0.1)["value"][0] == pytest.approx(5.0)


def test_a_servo_position_can_be_read_back():
    params = rig()
    add_servo(params, ServoRole.LEGS, low=0.0, high=1.0, rate=1.0)
    add_sensor(params, SensorKind.SERVO, 0)
    world = World(params)
    world.commands["servo"][0] = 1.0
    assert steps(world, 0.3)["value"][0] == pytest.approx(0.3)
