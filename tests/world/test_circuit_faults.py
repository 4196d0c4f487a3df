"""Faults of igniters, channels and batteries: before, while and after they act."""

from __future__ import annotations

import numpy as np
import pytest
from world_rigs import add_battery, add_fault, add_load, add_motor, add_sensor, rig, steps

from sequencer.world import FaultKind, LoadKind, SensorKind, World

ONSET, END, TICKS = 10, 20, 30
VOLTS, INNER = 8.0, 0.1


def bench():
    """A horn of 1.5 ohm on channel 0, one of 3 ohm on channel 1, a cutter on channel 2.

    The battery has 0.1 ohm at 15 C, as the air, and three times that at -5 C.
    """
    params = rig(holds_down=1)
    add_battery(params, 0, VOLTS, INNER, factor_points=2, draw=0.2, brown_out=4.0)
    params["battery_celsius_at"][0, :2] = (-5.0, 15.0)
    params["battery_factor_at"][0, :2] = (3.0, 1.0)
    add_load(params, LoadKind.SIGNAL, resistance=1.5)
    add_load(params, LoadKind.SIGNAL, resistance=3.0)
    add_load(params, LoadKind.SEPARATION, resistance=1.5)
    for channel in range(3):
        add_sensor(params, SensorKind.CONTINUITY, channel, high=99.0)
    add_sensor(params, SensorKind.BATTERY, 0)
    return params


def flown(*fault):
    """Channel 0 is on all the time, channel 2 from tick 5; the fault from ONSET to END."""
    params = bench()
    if fault:
        add_fault(params, *fault)
    world = World(params)
    kept = []
    for tick in range(TICKS):
        world.commands["channel"][0] = 1
        world.commands["channel"][2] = int(tick >= 5)
        world.commands["fault"][0] = int(bool(fault) and ONSET <= tick < END)
        kept.append(world.step().copy())
    return np.array(kept)


def amps(ohm, inner=INNER, volts=VOLTS):
    """Through one branch alone, beside the computer's 0.2 A."""
    return (volts - inner * 0.2) / (ohm + inner)


def close(values, *expected):
    return values == pytest.approx(np.broadcast_to(expected, values.shape))


#: kind, place, size -> what must hold of OUT while it acts
EFFECTS = [
    (FaultKind.IGNITER_OPEN, 0, 0.0, lambda o: close(o["value"][:, 0], 99.0)),
    (FaultKind.IGNITER_OPEN, 0, 0.0, lambda o: close(o["load_current"][:, 0], 0.0)),
    (FaultKind.IGNITER_SHORTED, 0, 0.0, lambda o: close(o["value"][:, 0], 0.12)),
    (FaultKind.IGNITER_SHORTED, 0, 0.0, lambda o: close(o["load_current"][:, 0], amps(0.12))),
    (FaultKind.IGNITER_SHORTS_AFTER, 2, 0.0, lambda o: close(o["value"][:, 2], 0.12)),
    (FaultKind.IGNITER_SHORTS_AFTER, 2, 0.0, lambda o: (o["load_current"][:, 2] > 20.0).all()),
    (FaultKind.CHANNEL_DEAD, 0, 0.0, lambda o: close(o["value"][:, 0], 99.0)),
    (FaultKind.CHANNEL_SHORTED_ON, 1, 0.0, lambda o: (o["load_current"][:, 1] > 2.0).all()),
    (
        FaultKind.CHANNEL_INTERMITTENT,
        0,
        0.04,
        lambda o: close(o["load_current"][:, 0], *np.array([0, 0, 1, 1] * 3)[:10] * amps(1.6)),
    ),
    (
        FaultKind.CHANNEL_INTERMITTENT,
        0,
        0.04,
        # sensors answer at the end of a tick, which is the beginning of the next
        lambda o: close(o["value"][:, 0], *np.array([99, 1.6, 1.6, 99] * 3)[:10]),
    ),
    (FaultKind.CHANNEL_RESISTANCE, 0, 2.9, lambda o: close(o["value"][:, 0], 4.5)),
    (FaultKind.CHANNEL_RESISTANCE, 0, 2.9, lambda o: close(o["load_current"][:, 0], amps(4.5))),
    (FaultKind.WRONG_MAP, 0, 1.0, lambda o: close(o["load_current"][:, :2], 0.0, amps(3.1))),
    (FaultKind.WRONG_MAP, 1, 0.0, lambda o: close(o["load_current"][:, :2], 0.0, amps(3.1))),
    (
        FaultKind.BATTERY_LOW,
        0,
        5.0,
        lambda o: close(o["load_current"][:, 0], amps(1.6, volts=5.0)),
    ),
    (FaultKind.BATTERY_COLD, 0, 10.0, lambda o: close(o["load_current"][:, 0], amps(1.6, 0.2))),
    (FaultKind.BATTERY_COLD, 0, 90.0, lambda o: close(o["load_current"][:, 0], amps(1.6, 0.3))),
    (
        FaultKind.BATTERY_RESISTANCE,
        0,
        4.0,
        lambda o: close(o["load_current"][:, 0], amps(1.6, 0.4)),
    ),
    (FaultKind.BATTERY_DISCONNECTED, 0, 0.0, lambda o: close(o["value"][:, 3], 0.0)),
    (FaultKind.BATTERY_DISCONNECTED, 0, 0.0, lambda o: (o["powerless"][:, 0] == 1).all()),
    (FaultKind.BATTERY_SENSED, 0, 1.1, lambda o: close(o["value"][:, 3], 1.1 * o["battery"][0, 0])),
]


@pytest.fixture(scope="module")
def nominal():
    return flown()


@pytest.mark.parametrize(
    ("kind", "place", "size", "holds"), EFFECTS, ids=[kind.name for kind, *_ in EFFECTS]
)
def test_same_before_changed_while_it_acts_and_same_again_after_it(
    kind, place, size, holds, nominal
):
    faulty = flown(kind, place, size)
    assert faulty[:ONSET].tobytes() == nominal[:ONSET].tobytes()
    assert holds(faulty[ONSET:END])
    assert not holds(nominal[ONSET:END])
    assert faulty[END:].tobytes() == nominal[END:].tobytes()


def test_a_divider_that_reads_wrong_changes_nothing_but_the_reading(nominal):
    faulty = flown(FaultKind.BATTERY_SENSED, 0, 1.1)
    assert (faulty["battery"] == nominal["battery"]).all()
    assert (faulty["load_current"] == nominal["load_current"]).all()


def test_a_shorted_igniter_never_acts_and_acts_once_it_is_whole_again():
    params = rig(holds_down=1)
    add_motor(params, [(0.0, 5.0), (1.0, 5.0)])
    add_load(params, LoadKind.MOTOR, delay=0.02)
    add_fault(params, FaultKind.IGNITER_SHORTED)
    world = World(params)
    world.commands["channel"][0] = 1
    world.commands["fault"][0] = 1
    assert steps(world, 1.0)["burning"][0] == 0
    world.commands["fault"][0] = 0
    assert steps(world, 0.03)["burning"][0] == 1


def late_load(**load):
    """A load that acts after 0.02 s of current, or 0.1 s later than that, and lights a motor."""
    params = rig(holds_down=1)
    add_motor(params, [(0.0, 5.0), (1.0, 5.0)])
    add_load(params, LoadKind.MOTOR, delay=0.02, **load)
    add_fault(params, FaultKind.IGNITER_LATE, 0, 0.1)
    world = World(params)
    world.commands["fault"][0] = 1
    return world


def burning(world, on, seconds):
    world.commands["channel"][0] = on
    return bool(steps(world, seconds)["burning"][0])


def test_a_late_igniter_that_has_caught_acts_though_its_current_has_ended():
    """A hang fire: what people wait for before they approach after a misfire."""
    world = late_load()
    assert not burning(world, 1, 0.03)
    assert not burning(world, 0, 0.08)
    assert burning(world, 0, 0.02)


def test_a_late_igniter_that_has_not_caught_does_not_act():
    world = late_load()
    assert not burning(world, 1, 0.01)
    assert not burning(world, 0, 1.0)


def test_a_late_igniter_that_has_caught_acts_at_once_when_the_fault_ends():
    world = late_load()
    assert not burning(world, 1, 0.03)
    assert not burning(world, 0, 0.02)
    world.commands["fault"][0] = 0
    assert burning(world, 0, 0.01)


def test_a_late_hot_wire_has_to_stay_hot_for_all_of_the_time():
    """It cools within 0.05 s: the second time it is kept hot."""
    world = late_load(capacity=0.002, burns_at=300.0, loss=20.0)
    assert not burning(world, 1, 0.06)
    assert not burning(world, 0, 1.0)
    assert burning(world, 1, 0.16)


def test_a_stuck_servo_stalls_and_a_moving_one_draws_less():
    params = bench()
    params["servos"] = 1
    params["servo_role"][0] = 2
    params["servo_high"][0] = 1.0
    params["servo_rate"][0] = 2.0
    params["servo_moving"][0] = 0.3
    params["servo_stall"][0] = 1.5
    add_fault(params, FaultKind.SERVO_STUCK)
    world = World(params)
    assert steps(world, 0.1)["battery_current"][0] == pytest.approx(0.2)
    world.commands["servo"][0] = 1.0
    assert steps(world, 0.1)["battery_current"][0] == pytest.approx(0.5)
    world.commands["fault"][0] = 1
    out = steps(world, 0.1)
    assert out["battery_current"][0] == pytest.approx(1.7)
    assert out["battery"][0] == pytest.approx(8.0 - 0.17)
    world.commands["fault"][0] = 0
    assert steps(world, 1.0)["battery_current"][0] == pytest.approx(0.2)


def test_without_power_servos_rest_and_channels_are_off_but_for_one_shorted_on():
    params = bench()
    params["servos"] = 1
    params["servo_role"][0] = 2
    params["servo_high"][0] = 1.0
    params["servo_rate"][0] = 2.0
    add_fault(params, FaultKind.BATTERY_LOW, 0, 3.0)
    add_fault(params, FaultKind.CHANNEL_SHORTED_ON, 1)
    world = World(params)
    world.commands["servo"][0] = 1.0
    world.commands["channel"][0] = 1
    world.commands["fault"][:2] = 1
    out = steps(world, 0.1)
    assert out["powerless"][0] == 1
    assert out["servo"][0] == 0.0
    assert out["load_current"][:2] == pytest.approx([0.0, 3.0 / 3.2])
    world.commands["fault"][:2] = 0
    out = steps(world, 0.1)
    assert out["powerless"][0] == 0
    assert out["servo"][0] == pytest.approx(0.2)


@pytest.mark.parametrize("shorted", [False, True])
def test_a_key_in_series_keeps_the_current_off_and_lets_the_test_current_round(shorted):
    params = bench()
    params["channel_closed_by"][0] = 0b101
    add_fault(params, FaultKind.CHANNEL_SHORTED_ON, 0)
    world = World(params)
    world.commands["channel"][0] = int(not shorted)
    world.commands["fault"][0] = int(shorted)
    for switches, flows in (((0, 0, 0), 0), ((1, 1, 0), 0), ((1, 0, 1), 1), ((0, 0, 1), 0)):
        world.commands["switch"][:3] = switches
        out = steps(world, 0.02)
        assert out["load_current"][0] == pytest.approx(flows * amps(1.6))
        assert out["value"][0] == pytest.approx(1.6)


def test_a_safe_plug_takes_the_load_off_for_the_test_current_too():
    params = bench()
    params["channel_opened_by"][0] = 0b10
    world = World(params)
    world.commands["channel"][0] = 1
    world.commands["switch"][1] = 1
    out = steps(world, 0.02)
    assert (out["load_current"][0], out["value"][0]) == (0.0, 99.0)
    world.commands["switch"][1] = 0
    out = steps(world, 0.02)
    assert (out["load_current"][0], out["value"][0]) == (pytest.approx(amps(1.6)), 1.6)


def test_a_battery_runs_down_along_its_table():
    """1 A for 9 of 10 A s: from 8 V at full charge to half-way between 7 and 8 V at a tenth."""
    params = bench()
    params["battery_points"][0] = 3
    params["battery_charge_at"][0, :3] = (0.0, 0.2, 1.0)
    params["battery_volts_at"][0, :3] = (6.0, 8.0, 8.0)
    params["battery_capacity"][0] = 10.0
    params["battery_draw"][0] = 1.0
    world = World(params)
    assert world.out["battery"][0] == pytest.approx(8.0 - INNER)
    assert steps(world, 9.0)["battery"][0] == pytest.approx(7.0 - INNER, abs=0.011)
    assert world.state["battery_charge"][0] == pytest.approx(0.1)
    out = steps(world, 3.0)
    assert world.state["battery_charge"][0] == 0.0
    assert out["battery"][0] == pytest.approx(6.0 - INNER)


def test_scatter_goes_by_flight_and_load_and_stays_positive():
    def factors(flight, spread=0.1):
        params = bench()
        params["flight"] = flight
        params["load_spread"][:2] = spread
        return World(params).state["load_factor"][:3].tolist()

    one, two = factors(1), factors(2)
    assert one == factors(1)
    assert len({*one[:2], *two[:2]}) == 4
    assert (one[2], two[2]) == (1.0, 1.0)
    drawn = np.array([factors(flight, 0.1)[:2] for flight in range(400)])
    assert drawn.mean() == pytest.approx(1.0, abs=0.012)
    assert drawn.std() == pytest.approx(0.1, rel=0.1)
    assert min(min(factors(flight, 5.0)) for flight in range(100)) == 0.1
