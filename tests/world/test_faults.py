"""Words of a scenario's faults become rows of the world."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from sequencer.errors import InputError
from sequencer.vehicle import load_vehicle
from sequencer.world.faults import FAULTS, fault_places, resolve_fault
from sequencer.world.layout import FaultKind

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def vehicle():
    return load_vehicle(ROOT / "tests" / "vehicle" / "minimal.vehicle.toml")


def test_every_kind_of_the_world_has_a_word():
    assert {row.kind for row in FAULTS.values()} == set(FaultKind) - {FaultKind.NONE}
    assert all(word == row.kind.name.lower() for word, row in FAULTS.items())


@pytest.mark.parametrize(
    ("kind", "place", "size", "row"),
    [
        ("igniter_open", "cutter", None, (FaultKind.IGNITER_OPEN, 2, 0.0)),
        ("igniter_late", "igniter_1", 0.4, (FaultKind.IGNITER_LATE, 0, 0.4)),
        ("motor_thrust", "M2", 0.8, (FaultKind.MOTOR_THRUST, 1, 0.8)),
        ("channel_dead", "flight.F1", None, (FaultKind.CHANNEL_DEAD, 2, 0.0)),
        ("sensor_bias", "flight.accel", -2.0, (FaultKind.SENSOR_BIAS, 4 - 1, -2.0)),
        ("sensor_spike", "pad.arm_key", 0.0, (FaultKind.SENSOR_SPIKE, 1, 0.0)),
        ("separation_hung", "separation", None, (FaultKind.SEPARATION_HUNG, 0, 0.0)),
        ("separation_late", "separation", 1.5, (FaultKind.SEPARATION_LATE, 0, 1.5)),
        ("parachute_fails", "main", None, (FaultKind.PARACHUTE_FAILS, 0, 0.0)),
        ("servo_stuck", "flight.fins", None, (FaultKind.SERVO_STUCK, 1, 0.0)),
        ("hold_down_stuck", "hold_down", None, (FaultKind.HOLD_DOWN_STUCK, 0, 0.0)),
        ("battery_low", "flight", 5.5, (FaultKind.BATTERY_LOW, 1, 5.5)),
    ],
)
def test_rows(vehicle, kind, place, size, row):
    assert resolve_fault(kind, place, size, vehicle) == row


def test_the_size_is_in_the_unit_of_the_sensor(vehicle):
    _, place, size = resolve_fault("sensor_bias", "flight.gyro", 10.0, vehicle)
    assert list(vehicle.sensors)[place] == "flight.gyro"
    assert size == pytest.approx(math.radians(10.0))


@pytest.mark.parametrize(
    ("kind", "place", "size", "says", "near"),
    [
        ("igniter_opn", "cutter", None, "unknown fault 'igniter_opn'", "igniter_open"),
        ("igniter_open", "cuter", None, "unknown load 'cuter'", "cutter"),
        ("channel_dead", "F1", None, "unknown channel 'F1'", "flight.F1"),
        ("sensor_nan", "flight.acel", None, "unknown sensor", "flight.accel"),
        ("separation_hung", "seperation", None, "unknown separation", "separation"),
        ("battery_low", "flihgt", 5.0, "unknown computer", "flight"),
        ("igniter_open", "cutter", 1.0, "takes no size", None),
        ("igniter_late", "cutter", None, "needs a size, in s", None),
        ("motor_thrust", "M1", None, "needs a size, a plain number", None),
        ("sensor_spike", "flight.gyro", None, "needs a size, in deg/s", None),
        ("igniter_late", "cutter", -1.0, "is not negative", None),
        ("sensor_bias", "pad.arm_key", 1.0, "nothing can be added", None),
        ("motor_chuff", "M1", 0.001, "is at least 0.01 s", None),
        ("sensor_clipped", "pad.arm_key", 1.0, "cannot be clipped", None),
        ("sensor_clipped", "flight.accel", -1.0, "is not negative", None),
        ("sensor_sign", "pad.arm_key", None, "has no sign", None),
        ("sensor_blocked", "pad.arm_key", 1.0, "has no port to be blocked", None),
    ],
)
def test_what_cannot_be(vehicle, kind, place, size, says, near):
    with pytest.raises(InputError, match=says) as caught:
        resolve_fault(kind, place, size, vehicle)
    assert caught.value.nearest == near


def test_a_battery_without_a_table_knows_no_cold(vehicle):
    flight = vehicle.computers["flight"]

    def with_battery(**values):
        battery = replace(flight.battery, **values)
        return replace(vehicle, computers={"flight": replace(flight, battery=battery)})

    table = with_battery(resistance_ohm=0.1, resistance_at=((-20.0, 4.0), (20.0, 1.0)))
    assert resolve_fault("battery_cold", "flight", 10.0, table)[2] == 10.0
    plain = with_battery(resistance_ohm=0.1, resistance_at=())
    assert resolve_fault("battery_resistance", "flight", 2.0, plain)[2] == 2.0
    with pytest.raises(InputError, match="has one resistance at all temperatures"):
        resolve_fault("battery_cold", "flight", 10.0, plain)
    with pytest.raises(InputError, match="the battery of 'flight' has no resistance"):
        resolve_fault("battery_resistance", "flight", 2.0, with_battery(resistance_ohm=0.0))


def test_how_stale_an_answer_may_be_depends_on_the_rate_of_its_sensor(vehicle):
    rate = vehicle.sensors["flight.accel"].rate_hz
    longest = 63 / rate
    assert resolve_fault("sensor_stale", "flight.accel", longest, vehicle)[2] == longest
    with pytest.raises(InputError, match=rf"is at most {longest:g} s for 'flight.accel'.*64 are"):
        resolve_fault("sensor_stale", "flight.accel", longest + 0.001, vehicle)
    assert resolve_fault("sensor_stale", "pad.arm_key", 0.63, vehicle, world_hz=100)[2] == 0.63
    with pytest.raises(InputError, match=r"at most 0\.315 s for 'pad.arm_key'"):
        resolve_fault("sensor_stale", "pad.arm_key", 0.63, vehicle, world_hz=200)


def test_places_stand_in_the_order_of_the_world(vehicle):
    assert fault_places("igniter_open", vehicle) == tuple(vehicle.loads)
    assert fault_places("channel_dead", vehicle) == ("pad.P1", "pad.P2", "flight.F1", "flight.F2")


def test_the_documentation_lists_every_fault():
    page = (ROOT / "docs" / "faults.md").read_text(encoding="utf-8")
    for word, row in FAULTS.items():
        size = "-" if row.unit is None else "factor" if row.unit == "1" else row.unit
        assert f"| `{word}` | {row.place} | {size} | {row.about} |" in page
