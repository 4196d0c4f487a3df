"""Every fault: what it changes, and that nothing differs before it begins."""

import numpy as np
import pytest
from world_rigs import (
    add_battery,
    add_fault,
    add_load,
    add_motor,
    add_parachute,
    add_sensor,
    add_servo,
    all_sensors,
    history,
    in_the_air,
    rig,
    steps,
    two_stage,
    whole_flight,
)

from sequencer.world import FaultKind, LoadKind, SensorKind, ServoRole, World

#: where and how much, so that each shows in the timetable flight when it begins at tick 300
SETTINGS = {
    FaultKind.IGNITER_OPEN: (4, 0.0),
    FaultKind.IGNITER_BESIDE: (4, 0.0),
    FaultKind.IGNITER_LATE: (4, 0.4),
    FaultKind.MOTOR_THRUST: (1, 0.6),
    FaultKind.MOTOR_CHUFF: (1, 0.2),
    FaultKind.MOTOR_BURST: (1, 0.0),
    FaultKind.EJECTION_EARLY: (2, 0.3),
    FaultKind.EJECTION_LATE: (2, 0.3),
    FaultKind.CHANNEL_DEAD: (3, 0.0),
    FaultKind.CHANNEL_SHORTED_ON: (5, 0.0),
    FaultKind.SENSOR_FROZEN: (6, 0.0),
    FaultKind.SENSOR_SILENT: (6, 0.0),
    FaultKind.SENSOR_BIAS: (6, 5.0),
    FaultKind.SENSOR_SPIKE: (6, 999.0),
    FaultKind.SENSOR_NAN: (6, 0.0),
    FaultKind.SENSOR_STALE: (6, 0.5),
    FaultKind.SENSOR_CLIPPED: (6, 30.0),
    FaultKind.SENSOR_SIGN: (6, 0.0),
    FaultKind.SENSOR_SWAPPED: (1, 3.0),
    FaultKind.SENSOR_BLOCKED: (6, 2.0),
    FaultKind.SEPARATION_HUNG: (0, 0.0),
    FaultKind.SEPARATION_LATE: (0, 0.3),
    FaultKind.PARACHUTE_FAILS: (0, 0.0),
    FaultKind.PARACHUTE_LATE: (0, 0.5),
    FaultKind.SERVO_STUCK: (4, 0.0),
    FaultKind.HOLD_DOWN_STUCK: (0, 0.0),
    FaultKind.BATTERY_LOW: (0, 3.0),
    FaultKind.IGNITER_SHORTED: (4, 0.0),
    FaultKind.IGNITER_SHORTS_AFTER: (0, 0.0),
    FaultKind.CHANNEL_INTERMITTENT: (4, 4.0),
    FaultKind.CHANNEL_RESISTANCE: (4, 2.5),
    FaultKind.WRONG_MAP: (0, 5.0),
    FaultKind.BATTERY_COLD: (0, 20.0),
    FaultKind.BATTERY_RESISTANCE: (0, 3.0),
    FaultKind.BATTERY_DISCONNECTED: (0, 0.0),
    FaultKind.BATTERY_SENSED: (0, 0.5),
}
ONSET = {FaultKind.HOLD_DOWN_STUCK: 30}


def flown(fault=None, onset=300, until=None):
    params = all_sensors(two_stage(turbulence_w20=4.0, seed=3))
    params["motor_eject_delay"][2] = 1.0
    params["motor_eject_kind"][2] = LoadKind.PARACHUTE
    params["motor_eject_target"][2] = 1
    add_battery(params, 0, 7.4, 0.05, factor_points=2)
    params["battery_celsius_at"][0, :2] = (-20.0, 20.0)
    params["battery_factor_at"][0, :2] = (4.0, 1.0)
    if fault is not None:
        add_fault(params, fault, *SETTINGS[fault])

    def begin(tick, world):
        if fault is not None and tick in (onset, until):
            world.commands["fault"][0] = int(tick == onset)

    return whole_flight(World(params), begin, seconds=9.0)


@pytest.fixture(scope="module")
def nominal():
    return flown()


def test_every_kind_is_tried_here():
    assert set(SETTINGS) == set(FaultKind) - {FaultKind.NONE}


@pytest.mark.parametrize("fault", list(SETTINGS), ids=lambda fault: fault.name)
def test_before_its_onset_a_flight_is_the_same_to_the_last_bit(fault, nominal):
    onset = ONSET.get(fault, 300)
    faulty = flown(fault, onset)
    assert faulty[:onset].tobytes() == nominal[:onset].tobytes()
    assert faulty[onset:].tobytes() != nominal[onset:].tobytes()


#: kinds that act from tick 300 to 400 whatever is commanded then: a number that they leave larger
LASTING = {
    FaultKind.MOTOR_THRUST: lambda out: out["mass"][404],  # less propellant burnt
    FaultKind.MOTOR_CHUFF: lambda out: np.argmax(out["burnt"][:, 1]),  # burns for longer
    FaultKind.MOTOR_BURST: lambda out: out["burst"][404, 1],
    FaultKind.CHANNEL_SHORTED_ON: lambda out: out["spent"][404, 5],
    FaultKind.WRONG_MAP: lambda out: out["spent"][404, 5],  # channel 0 is still on
}


@pytest.mark.parametrize("fault", list(SETTINGS), ids=lambda fault: fault.name)
def test_what_is_over_before_its_place_is_used_leaves_nothing_behind(fault, nominal):
    """From tick 300 to 400 nothing but motors burns; the slow sensor has answered by 404."""
    faulty = flown(fault, until=400)
    assert faulty[:300].tobytes() == nominal[:300].tobytes()
    if fault in LASTING:
        assert LASTING[fault](faulty) > LASTING[fault](nominal)
    else:
        assert faulty[404:].tobytes() == nominal[404:].tobytes()


def test_a_weak_motor_has_its_thrust_again_when_the_fault_ends(nominal):
    thrust, sound = (
        flown(FaultKind.MOTOR_THRUST, until=400)["thrust"][:, 1],
        nominal["thrust"][:, 1],
    )
    assert (thrust[300:400] == 0.6 * sound[300:400]).all()
    assert (thrust[:300] == sound[:300]).all()
    assert (thrust[400:] == sound[400:]).all()
    assert thrust[400] > 0.0


@pytest.mark.parametrize(
    "fault",
    [
        FaultKind.SENSOR_FROZEN,
        FaultKind.SENSOR_SILENT,
        FaultKind.SENSOR_BIAS,
        FaultKind.SENSOR_SPIKE,
        FaultKind.SENSOR_NAN,
        FaultKind.SENSOR_STALE,
        FaultKind.SENSOR_CLIPPED,
        FaultKind.SENSOR_SIGN,
        FaultKind.SENSOR_BLOCKED,
    ],
    ids=lambda fault: fault.name,
)
def test_a_sensor_fault_changes_no_other_sensor_and_no_truth(fault, nominal):
    faulty = flown(fault)
    for name in faulty.dtype.names:
        one, two = faulty[name].copy(), nominal[name].copy()
        if name in ("value", "fresh"):
            one[:, 6] = two[:, 6] = 0
        assert one.tobytes() == two.tobytes(), name


def bench(kind=LoadKind.MOTOR, **values):
    """A clamped vehicle with one motor on one channel, all of it slow enough to watch."""
    params = rig(holds_down=1)
    add_motor(params, [(0.0, 20.0), (1.0, 20.0)], delay=0.05)
    add_parachute(params, 0.2, inflation=0.2)
    add_load(params, kind, delay=0.02, **values)
    add_sensor(params, SensorKind.CONTINUITY, 0, high=99.0)
    add_sensor(params, SensorKind.FLAME, 0)
    return params


def fire(params, seconds=1.0, fault=None, until=None):
    """Drive channel 0; returns the history from then on. `fault` active up to tick `until`."""
    if fault is not None:
        add_fault(params, *fault)
    world = World(params)
    world.commands["channel"][0] = 1
    kept = []
    for tick in range(round(seconds * 100)):
        world.commands["fault"][0] = int(fault is not None and (until is None or tick < until))
        kept.append(world.step().copy())
    return np.array(kept)


def first(column):
    """Tick of the first one, or None."""
    return int(np.argmax(column == 1)) if (column == 1).any() else None


def test_a_sound_igniter_lights_its_motor_after_both_delays():
    kept = fire(bench())
    assert first(kept["spent"][:, 0]) == 1  # at 0.02 s, the end of tick 1
    assert first(kept["burning"][:, 0]) == 6
    assert first(kept["value"][:, 1]) == 6
    assert kept["load_current"][0, 0] == pytest.approx(7.4 / (0.1 + 1.4))
    assert kept["load_current"][2, 0] == 0.0  # burnt through
    assert kept["value"][0, 0] == pytest.approx(1.5)
    assert kept["value"][2, 0] == 99.0


def test_an_open_igniter_conducts_nothing_and_shows_it():
    kept = fire(bench(), fault=(FaultKind.IGNITER_OPEN,))
    assert kept["load_current"].max() == 0.0
    assert kept["value"][0, 0] == 99.0
    assert not kept["burning"].any()


def test_an_igniter_beside_its_motor_passes_every_electrical_check():
    kept, sound = fire(bench(), fault=(FaultKind.IGNITER_BESIDE,)), fire(bench())
    assert (kept["load_current"] == sound["load_current"]).all()
    assert (kept["value"][:, 0] == sound["value"][:, 0]).all()
    assert (kept["spent"] == sound["spent"]).all()
    assert not kept["burning"].any()
    assert (kept["specific_force"] == sound["specific_force"]).all()  # clamped: feels nothing
    assert kept["value"][:, 1].max() == 0.0  # the flame sensor does tell


def test_a_late_igniter_acts_late_by_its_size():
    assert first(fire(bench(), fault=(FaultKind.IGNITER_LATE, 0, 0.3))["burning"][:, 0]) == 36


def test_a_weak_motor_gives_its_share_of_thrust_and_impulse():
    params = bench()
    add_fault(params, FaultKind.MOTOR_THRUST, 0, 0.5)
    world = World(params)
    world.commands["channel"][0] = 1
    world.commands["fault"][0] = 1
    assert steps(world, 0.5)["thrust"][0] == pytest.approx(10.0)
    steps(world, 1.0)
    assert world.state["motor_used"][0] == pytest.approx(10.0)


def test_a_dead_channel_never_conducts_and_reads_open():
    kept = fire(bench(), fault=(FaultKind.CHANNEL_DEAD,), until=20)
    assert kept["load_current"][:20].max() == 0.0
    assert kept["value"][0, 0] == 99.0
    assert kept["value"][20, 0] == pytest.approx(1.5)
    assert first(kept["burning"][:, 0]) == 26  # it conducts as soon as it is alive again


def test_a_channel_shorted_on_lights_its_motor_by_itself():
    params = bench()
    add_fault(params, FaultKind.CHANNEL_SHORTED_ON, 0)
    world = World(params)
    world.commands["fault"][0] = 1
    assert steps(world, 0.1)["burning"][0] == 1


def test_sensor_faults():
    for kind, size in (
        (FaultKind.SENSOR_FROZEN, 0.0),
        (FaultKind.SENSOR_SILENT, 0.0),
        (FaultKind.SENSOR_BIAS, 3.0),
        (FaultKind.SENSOR_SPIKE, -77.0),
        (FaultKind.SENSOR_NAN, 0.0),
    ):
        params = rig()
        add_sensor(params, SensorKind.BAROMETER)
        add_fault(params, kind, 0, size)
        world = in_the_air(params, 100.0, velocity=(0.0, 0.0, 10.0))
        before = float(steps(world, 0.1)["value"][0])
        world.commands["fault"][0] = 1
        out = steps(world, 0.1)
        truth = float(out["position"][2])
        value, fresh = float(out["value"][0]), int(out["fresh"][0])
        assert fresh == (0 if kind == FaultKind.SENSOR_SILENT else 1)
        if kind in (FaultKind.SENSOR_FROZEN, FaultKind.SENSOR_SILENT):
            assert value == before
        elif kind == FaultKind.SENSOR_BIAS:
            assert value == pytest.approx(truth + 3.0, abs=0.1)
        elif kind == FaultKind.SENSOR_SPIKE:
            assert value == -77.0
        else:
            assert np.isnan(value)
        world.commands["fault"][0] = 0
        out = steps(world, 0.1)
        assert out["value"][0] == pytest.approx(float(out["position"][2]), abs=0.1)
        assert out["fresh"][0] == 1


def test_a_hung_separation_waits_for_the_end_of_the_fault():
    params = two_stage()
    add_fault(params, FaultKind.SEPARATION_HUNG)
    world = in_the_air(params, 200.0, velocity=(0.0, 0.0, 10.0))
    world.commands["fault"][0] = 1
    world.commands["channel"][3] = 1
    assert steps(world, 0.5)["separated"] == 0
    world.commands["fault"][0] = 0
    assert steps(world, 0.01)["separated"] == 1


def test_a_late_separation():
    params = two_stage()
    add_fault(params, FaultKind.SEPARATION_LATE, 0, 0.25)
    world = in_the_air(params, 200.0, velocity=(0.0, 0.0, 10.0))
    world.commands["fault"][0] = 1
    world.commands["channel"][3] = 1
    kept = history(world, 0.5)
    assert first(kept["separated"]) == 1 + 25  # after 0.01 s of current


@pytest.mark.parametrize(("size", "opens"), [(0.0, 22), (0.5, 72)])
def test_a_late_parachute(size, opens):
    kept = fire(bench(LoadKind.PARACHUTE), fault=(FaultKind.PARACHUTE_LATE, 0, size))
    assert first(kept["deployed"][:, 0]) == opens - 21
    assert first(kept["opened"][:, 0]) == opens - 1


def test_a_parachute_that_fails_stays_packed_but_its_charge_is_spent():
    kept = fire(bench(LoadKind.PARACHUTE), fault=(FaultKind.PARACHUTE_FAILS,), until=50)
    assert kept["spent"][-1, 0] == 1
    assert not kept["deployed"].any()


def test_a_stuck_servo_stays_where_it_is():
    params = rig()
    add_servo(params, ServoRole.FINS, low=0.0, high=1.0, rate=2.0)
    add_fault(params, FaultKind.SERVO_STUCK, 0)
    world = World(params)
    world.commands["servo"][0] = 1.0
    where = float(steps(world, 0.2)["servo"][0])
    assert where == pytest.approx(0.4)
    world.commands["fault"][0] = 1
    assert steps(world, 0.5)["servo"][0] == where
    world.commands["fault"][0] = 0
    assert steps(world, 1.0)["servo"][0] == pytest.approx(1.0)


def test_a_stuck_hold_down_keeps_the_vehicle_on_its_pad():
    params = bench()
    add_load(params, LoadKind.HOLD_DOWN)
    add_fault(params, FaultKind.HOLD_DOWN_STUCK)
    world = World(params)
    world.commands["channel"][:2] = 1
    world.commands["fault"][0] = 1
    out = steps(world, 0.5)
    assert (out["released"], out["lifted"]) == (0, 0)
    assert out["hold_down_force"] == pytest.approx(20.0 - 0.75 * 9.80665)
    world.commands["fault"][0] = 0
    out = steps(world, 0.3)
    assert (out["released"], out["lifted"]) == (1, 1)


def test_a_low_battery_drives_less_current():
    kept = fire(bench(), fault=(FaultKind.BATTERY_LOW, 0, 3.0))
    assert kept["battery"][0, 0] == 3.0
    assert kept["battery"][0, 1] == 7.4
    assert kept["load_current"][0, 0] == pytest.approx(2.0)


def test_a_fault_at_another_place_does_nothing():
    kept = fire(bench(), fault=(FaultKind.IGNITER_OPEN, 3))
    assert kept.tobytes() == fire(bench()).tobytes()
