"""Flags and states as signals: what the events say, and what is lost with the power."""

from __future__ import annotations

import copy

import pytest

from sequencer.record import Event, FlightRecord
from sequencer.record.logic import LogicSignals, Memory

FLIGHT = Memory(
    "flight",
    flags=(("lifted", False, True), ("armed", False, False), ("safe_plug", True, False)),
    states=("safe", "coast", "abort"),
    power_losses=frozenset({"fault_begun supply dips", "brown_out flight"}),
)
PAD = Memory("pad", (("armed", False, False),), ("safe",))


def signals(*events, ticks=10):
    made = tuple(Event(tick, *label.split(" ", 1)) for tick, label in events)
    return LogicSignals(made, ticks, (PAD, FLIGHT))


def row(found, name):
    return "".join(str(int(value)) for value in found[name].values)


def test_a_flag_follows_its_events():
    found = signals((2, "set flight.armed"), (5, "cleared flight.armed"), (8, "set flight.armed"))
    assert row(found, "flight_armed") == "0011100011"
    assert row(found, "pad_armed") == "0" * 10
    assert row(found, "flight_safe_plug") == "1" * 10
    assert found["flight_armed"].unit == "bool"


def test_a_state_holds_until_the_next_is_entered():
    found = signals(
        (0, "entered flight.safe"), (3, "entered flight.coast"), (3, "entered pad.safe")
    )
    assert row(found, "flight_in_safe") == "1110000000"
    assert row(found, "flight_in_coast") == "0001111111"
    assert row(found, "flight_in_abort") == "0" * 10
    assert row(found, "pad_in_safe") == "0001111111"


def test_of_two_events_on_one_tick_the_last_counts():
    found = signals((4, "set flight.armed"), (4, "cleared flight.armed"), (6, "set flight.armed"))
    assert row(found, "flight_armed") == "0000001111"


@pytest.mark.parametrize("loss", ["fault_begun supply dips", "brown_out flight"])
def test_without_power_nothing_holds_and_only_retained_flags_come_back(loss):
    found = signals(
        (0, "entered flight.coast"), (1, "set flight.lifted"), (1, "set flight.armed"),
        (4, loss), (7, "booted flight"), (7, "entered flight.safe"),
    )  # fmt: skip
    assert row(found, "flight_lifted") == "0111000111"
    assert row(found, "flight_armed") == "0111000000"
    assert row(found, "flight_safe_plug") == "1111000111"
    assert row(found, "flight_in_coast") == "1111000000"
    assert row(found, "flight_in_safe") == "0000000111"


def test_other_faults_and_other_computers_take_no_power():
    found = signals(
        (1, "set flight.armed"), (3, "fault_begun rain"), (4, "brown_out pad"), (5, "booted pad")
    )
    assert row(found, "flight_armed") == "0111111111"


def test_what_the_world_does_one_tick_ahead_of_the_last_is_left_out():
    assert row(signals((10, "set flight.armed")), "flight_armed") == "0" * 10


def test_it_is_a_mapping_that_travels():
    found = signals((2, "set flight.armed"))
    assert len(found) == 8
    assert "flight_in_coast" in found
    assert "flight_coast" not in found
    with pytest.raises(KeyError):
        found["flight_coast"]
    assert row(copy.deepcopy(found), "flight_armed") == "0011111111"


def test_a_record_gives_them_by_name_but_does_not_list_them():
    flown = FlightRecord("x", 10, 10, (), {}, "landed", logic=signals((2, "set flight.armed")))
    assert flown["flight_armed"].sum() == 8
    assert "flight_armed" not in flown.signals
    with pytest.raises(KeyError):
        flown["flight_amred"]
