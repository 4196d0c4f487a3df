"""Faults of sensors: what each makes of the answers, in a world and on a recorded flight."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from world_rigs import add_fault, add_sensor, all_sensors, in_the_air, rig, two_stage, whole_flight

from sequencer.errors import InternalError
from sequencer.world import FaultKind, Playback, SensorKind, World, empty
from sequencer.world.layout import OUT, STATE

BEGINS, ENDS, TICKS = 300, 600, 900
SENSORS = 17
ACCEL, BARO, RANGE, GYRO_X, GYRO_Y, SWITCH = 0, 6, 7, 1, 3, 12

#: kind -> size or the other sensor, for the sensor that it is tried on
KINDS = {
    FaultKind.SENSOR_FROZEN: 0.0,
    FaultKind.SENSOR_SILENT: 0.0,
    FaultKind.SENSOR_BIAS: 5.0,
    FaultKind.SENSOR_SPIKE: 999.0,
    FaultKind.SENSOR_NAN: 0.0,
    FaultKind.SENSOR_STALE: 0.5,
    FaultKind.SENSOR_CLIPPED: 0.002,
    FaultKind.SENSOR_SIGN: 0.0,
    FaultKind.SENSOR_SWAPPED: 8.0,
    FaultKind.SENSOR_BLOCKED: 2.0,
}
IDS = {"ids": lambda kind: getattr(kind, "name", str(kind))}


def sensed(*faults):
    """A record of the two-stage vehicle with one sensor of every kind."""
    params = all_sensors(two_stage(turbulence_w20=4.0, seed=3))
    params["sensor_low"][BARO] = -20.0
    for fault in faults:
        add_fault(params, *fault)
    return params


def flown(*faults):
    """`out` of every tick from 0 on, shape (TICKS + 1,); the faults act from BEGINS to ENDS."""
    world = World(sensed(*faults))
    first = world.out.copy()

    def plan(tick, flying):
        flying.commands["fault"][: len(faults)] = int(BEGINS <= tick < ENDS)

    return np.concatenate([[first], whole_flight(world, plan, seconds=TICKS / 100)])


def played(recorded, *faults):
    """The answers of a flight without faults played back, the faults acting from BEGINS to ENDS."""
    playback = Playback(sensed(*faults), recorded["value"][0], recorded["fresh"][0])
    kept = [playback.out.copy()]
    for tick in range(TICKS):
        playback.commands["fault"][: len(faults)] = int(BEGINS <= tick < ENDS)
        playback.values[:] = np.where(recorded["fresh"][tick + 1], recorded["value"][tick + 1], 7.7)
        playback.fresh[:] = recorded["fresh"][tick + 1]
        kept.append(playback.step().copy())
    return np.array(kept)


@pytest.fixture(scope="module")
def healthy():
    return flown()


def same(one, two):
    """Whether all sensors answer the same, to the last bit; any NaN is like any other."""
    return np.array_equal(
        one["value"][:, :SENSORS], two["value"][:, :SENSORS], equal_nan=True
    ) and np.array_equal(one["fresh"], two["fresh"])


def test_a_flight_without_faults_plays_back_as_it_was(healthy):
    assert same(played(healthy), healthy)


@pytest.mark.parametrize("sensor", [BARO, ACCEL, GYRO_X])
@pytest.mark.parametrize("kind", list(KINDS), **IDS)
def test_a_fault_does_to_a_recorded_flight_what_it_does_to_the_world(kind, sensor, healthy):
    fault = (kind, sensor, KINDS[kind])
    one, two = flown(fault), played(healthy, fault)
    assert same(one, two)
    assert same(one[: BEGINS + 1], healthy[: BEGINS + 1])
    assert not same(one[BEGINS + 1 :], healthy[BEGINS + 1 :])


@pytest.mark.parametrize("kind", list(KINDS), **IDS)
def test_after_its_end_the_sensor_answers_as_if_it_had_never_been(kind, healthy):
    kept = flown((kind, BARO, KINDS[kind]))
    after = ENDS + 4  # the next answer of the slow sensor
    assert same(kept[after:], healthy[after:])


@settings(max_examples=15)
@given(
    st.lists(
        st.tuples(st.sampled_from(sorted(KINDS)), st.sampled_from([BARO, RANGE, GYRO_X, SWITCH])),
        min_size=2,
        max_size=8,
        unique=True,
    )
)
def test_many_faults_at_once_do_the_same_too(healthy, pairs):
    faults = [(kind, sensor, KINDS[kind]) for kind, sensor in pairs]
    assert same(flown(*faults), played(healthy, *faults))


def column(kept, sensor=BARO):
    """Answers of one sensor while the fault acts, at the ticks at which it answers."""
    window = kept[BEGINS + 1 : ENDS + 1]
    return window["value"][:, sensor][window["fresh"][:, sensor] == 1]


def test_a_stale_sensor_answers_what_it_measured_before(healthy):
    kept = flown((FaultKind.SENSOR_STALE, BARO, 0.5))
    # it answers every 0.04 s: the latest that is 0.5 s old is 13 answers back
    shifted = healthy["value"][BEGINS + 1 - 52 : ENDS + 1 - 52, BARO]
    assert (column(kept) == shifted[3::4]).all()
    assert (kept["fresh"] == healthy["fresh"]).all()


def test_a_stale_sensor_says_nothing_before_it_has_anything_to_say():
    params = rig()
    add_sensor(params, SensorKind.BATTERY)
    add_fault(params, FaultKind.SENSOR_STALE, 0, 0.05)
    playback = Playback(params, [0.0], [1])
    playback.commands["fault"][0] = 1
    playback.fresh[0] = 1
    answers = []
    for tick in range(1, 8):
        playback.values[0] = tick
        out = playback.step()
        answers.append((int(out["fresh"][0]), float(out["value"][0])))
    assert answers[:4] == [(0, 0.0)] * 4  # what it said at tick 0 stands
    assert answers[4:] == [(1, 0.0), (1, 1.0), (1, 2.0)]


def test_the_oldest_of_64_measurements_can_still_be_had():
    params = rig()
    add_sensor(params, SensorKind.BATTERY)
    add_fault(params, FaultKind.SENSOR_STALE, 0, 0.63)
    playback = Playback(params)
    playback.commands["fault"][0] = 1
    playback.fresh[0] = 1
    for tick in range(1, 200):
        playback.values[0] = tick
        out = playback.step()
        assert int(out["fresh"][0]) == (tick >= 64)
        assert tick < 64 or float(out["value"][0]) == tick - 63


def test_a_clipped_sensor_never_reads_beyond_its_limit(healthy):
    kept = column(flown((FaultKind.SENSOR_CLIPPED, BARO, 100.0)))
    assert (kept == np.clip(column(healthy), -100.0, 100.0)).all()
    assert kept.max() == 100.0
    assert kept.min() < 100.0


def test_a_wrong_sign(healthy):
    assert (column(flown((FaultKind.SENSOR_SIGN, BARO))) == -column(healthy)).all()


def test_a_bias_is_held_in_the_range_of_the_sensor(healthy):
    kept = column(flown((FaultKind.SENSOR_BIAS, BARO, -100.0)))
    assert (kept == np.maximum(column(healthy) - 100.0, -20.0)).all()
    assert kept.min() == -20.0
    assert kept.max() > -20.0


def test_swapped_sensors_answer_for_each_other_in_the_same_tick(healthy):
    kept = flown((FaultKind.SENSOR_SWAPPED, GYRO_X, GYRO_Y))
    assert (column(kept, GYRO_X) == column(healthy, GYRO_Y)).all()
    assert (column(kept, GYRO_Y) == column(healthy, GYRO_X)).all()


def test_a_bias_on_a_swapped_sensor_stays_with_its_input(healthy):
    kept = flown((FaultKind.SENSOR_SWAPPED, GYRO_X, GYRO_Y), (FaultKind.SENSOR_BIAS, GYRO_X, 0.5))
    assert (column(kept, GYRO_X) == column(healthy, GYRO_Y) + 0.5).all()
    assert (column(kept, GYRO_Y) == column(healthy, GYRO_X)).all()


def test_a_blocked_port_follows_a_ramp_by_its_time_constant_late():
    """Step response of a first-order lag in closed form: a ramp of rate r is followed r*T low."""
    params = rig()
    add_sensor(params, SensorKind.BAROMETER)
    add_fault(params, FaultKind.SENSOR_BLOCKED, 0, 0.5)
    playback = Playback(params, [100.0], [1])
    playback.fresh[0] = 1
    playback.commands["fault"][0] = 1
    playback.values[0] = 200.0
    for tick in range(1, 101):  # a step
        value = float(playback.step()["value"][0])
        assert value == pytest.approx(200.0 - 100.0 * math.exp(-tick / 50.0), rel=1e-12)
    for tick in range(1000):  # a ramp of 20 m/s
        playback.values[0] = 200.0 + 0.2 * tick
        value = float(playback.step()["value"][0])
    assert playback.values[0] - value == pytest.approx(20.0 * 0.5, rel=0.02)
    playback.commands["fault"][0] = 0
    assert playback.step()["value"][0] == playback.values[0]


def test_a_blocked_barometer_stays_behind_in_a_climb():
    params = rig()
    add_sensor(params, SensorKind.BAROMETER)
    add_fault(params, FaultKind.SENSOR_BLOCKED, 0, 1e9)
    world = in_the_air(params, 100.0, velocity=(0.0, 0.0, 60.0))
    before = float(world.step()["value"][0])
    world.commands["fault"][0] = 1
    for _ in range(200):
        world.step()
    assert world.out["value"][0] == pytest.approx(before, abs=1e-4)
    assert world.out["position"][2] > 190.0
    world.commands["fault"][0] = 0
    assert world.step()["value"][0] == pytest.approx(float(world.out["position"][2]), abs=0.1)


def test_a_playback_knows_no_truth_and_no_fact():
    params = sensed()
    playback = Playback(params)
    assert playback.out["fresh"].sum() == 0
    for _ in range(10):
        out = playback.step()
    assert playback.time_s == 0.1
    assert len(playback.out_bytes) == OUT.itemsize
    for name in OUT.names:
        field = np.asarray(out[name])
        assert np.isnan(field).all() if field.dtype.kind == "f" else not field.any(), name


def test_what_is_no_params_record_is_refused():
    with pytest.raises(InternalError, match="PARAMS"):
        Playback(empty(STATE)[0])
