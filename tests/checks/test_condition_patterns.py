"""Universality, absence, existence, precedence and response of conditions.

Records run at 10 ticks per second; every row is worked by hand.
"""

from __future__ import annotations

from math import inf, nan

import pytest
from making_records import outcome, record, verdict

MET, BROKEN = "met", "broken"
NOT_EXERCISED, NOT_DECIDED = ("not exercised", None), ("not decided", None)
BETWEEN = {"between": ["liftoff", "touchdown"]}
UNTIL = {"after": "liftoff", "until": "touchdown"}

# tick            0  1  2   3   4   5   6  7  8  9
TILT = (0, 5, 12, 18, 23, 19, 21, 9, 4, 2)


@pytest.mark.parametrize(
    ("scope", "events", "condition", "expected"),
    [
        (None, "", "tilt_deg < 25", (MET, 2)),
        (None, "", "tilt_deg < 23", (MET, 0)),
        (None, "", "tilt_deg <= 23", (MET, 0)),
        (None, "", "tilt_deg < 20", (BROKEN, -3)),
        (None, "", "-1 < tilt_deg < 25", (MET, 1)),
        ({"before": "apogee"}, "", "tilt_deg < 20", NOT_EXERCISED),
        ({"before": "apogee"}, "3 apogee", "tilt_deg < 20", (MET, 2)),
        ({"before": "apogee"}, "4 apogee", "tilt_deg < 20", (BROKEN, -3)),
        ({"after": "apogee"}, "7 apogee", "tilt_deg < 20", (MET, 11)),
        ({"after": "apogee"}, "6 apogee", "tilt_deg < 20", (BROKEN, -1)),
        (BETWEEN, "1 liftoff, 3 touchdown", "tilt_deg < 20", (MET, 2)),
        (BETWEEN, "1 liftoff, 4 touchdown", "tilt_deg < 20", (BROKEN, -3)),
        (BETWEEN, "1 liftoff", "tilt_deg < 20", NOT_DECIDED),
        (BETWEEN, "1 liftoff, 3 touchdown, 6 liftoff, 8 touchdown", "tilt_deg < 20", (BROKEN, -1)),
        (BETWEEN, "1 liftoff, 3 touchdown, 6 liftoff", "tilt_deg < 20", (MET, 2)),
        (UNTIL, "1 liftoff, 3 touchdown, 6 liftoff", "tilt_deg < 20", (BROKEN, -1)),
        (UNTIL, "7 liftoff", "tilt_deg < 20", (MET, 11)),
        ({"after": "becomes tilt_deg > 20"}, "", "tilt_deg > 20", (BROKEN, -18)),
        ({"between": ["becomes tilt_deg > 20", "becomes tilt_deg < 20"]}, "", "tilt_deg > 8",
         (MET, 1)),
    ],
)  # fmt: skip
def test_universality(scope, events, condition, expected):
    keys = {} if scope is None else {"scope": scope}
    flown = record(events, tilt_deg=TILT)
    assert outcome(flown, pattern="universality", condition=condition, **keys) == expected


@pytest.mark.parametrize(
    ("window", "expected"),
    [
        ([0, 0.2], (MET, 2)),
        ([0.6, 0.8], (MET, 11)),
        ([0.3, 0.5], (BROKEN, -3)),
        ([0.6, 0.9], NOT_DECIDED),  # tick 10 was not recorded
        ([0.6, inf], (MET, 11)),
        ([0.3, 0.9], (BROKEN, -3)),  # broken, whatever follows
        ([2, 3], NOT_DECIDED),
    ],
)
def test_universality_in_a_window(window, expected):
    flown = record("1 liftoff", tilt_deg=TILT)
    keys = {"pattern": "universality", "condition": "tilt_deg < 20", "within_s": window}
    assert outcome(flown, scope={"after": "liftoff"}, **keys) == expected


@pytest.mark.parametrize(
    ("pattern", "condition", "events", "expected"),
    [
        ("absence", "tilt_deg > 20", "", (BROKEN, -3)),
        ("absence", "tilt_deg > 23", "", (MET, 0)),
        ("absence", "tilt_deg > 30", "", (MET, 7)),
        ("existence", "tilt_deg > 20", "", (MET, 3)),
        ("existence", "tilt_deg > 23", "", (MET, 0)),
        ("existence", "tilt_deg > 30", "", NOT_DECIDED),
        ("existence", "tilt_deg > 30", "9 ended flight", (BROKEN, -7)),
    ],
)
def test_absence_and_existence(pattern, condition, events, expected):
    assert outcome(record(events, tilt_deg=TILT), pattern=pattern, condition=condition) == expected


@pytest.mark.parametrize(
    ("events", "window", "expected"),
    [
        ("2 liftoff, 6 touchdown", None, (BROKEN, -7)),
        ("2 liftoff, 6 touchdown", [0, 0.2], (BROKEN, -7)),
        ("2 liftoff, 6 touchdown", [0.5, 1], (BROKEN, -inf)),  # closed before the window opens
        ("2 liftoff", None, NOT_DECIDED),
    ],
)
def test_existence_in_a_scope(events, window, expected):
    keys = {} if window is None else {"within_s": window}
    flown = record(events, tilt_deg=TILT)
    got = outcome(flown, pattern="existence", condition="tilt_deg > 30", scope=BETWEEN, **keys)
    assert got == expected


SPEED = (9, 9, 9, 9, 8, 7, 5, 4, 6, 9)


@pytest.mark.parametrize(
    ("events", "keys", "expected"),
    [
        ("3 apogee", {"then_condition": "speed_m_s < 8", "within_s": [0, 0.4]}, (MET, 4)),
        ("3 apogee", {"then_condition": "speed_m_s < 8", "within_s": [0, 0.1]}, (MET, 0)),
        ("2 apogee", {"then_condition": "speed_m_s < 8", "within_s": [0, 0.1]}, (BROKEN, -1)),
        ("8 apogee", {"then_condition": "speed_m_s < 5", "within_s": [0, 0.1]}, (BROKEN, -1)),
        ("8 apogee", {"then_condition": "speed_m_s < 5", "within_s": [0, 0.2]}, NOT_DECIDED),
        ("8 apogee", {"then_condition": "speed_m_s < 8", "within_s": [0, 0.2]}, (MET, 2)),
        ("8 apogee", {"then_condition": "speed_m_s < 5"}, NOT_DECIDED),
        ("8 apogee, 9 ended flight", {"then_condition": "speed_m_s < 5"}, (BROKEN, -1)),
        ("", {"then_condition": "speed_m_s < 5"}, NOT_EXERCISED),
        ("5 apogee", {"then_throughout": "speed_m_s < 8", "within_s": [0, 0.3]}, (MET, 1)),
        ("5 apogee", {"then_throughout": "speed_m_s < 8", "within_s": [0, 0.4]}, (BROKEN, -1)),
        ("6 apogee", {"then_throughout": "speed_m_s < 10", "within_s": [0, 0.4]}, NOT_DECIDED),
        ("6 apogee", {"then_throughout": "speed_m_s < 10"}, (MET, 1)),
        ("6 apogee", {"then_throughout": "speed_m_s < 7", "within_s": [0, 2]}, (BROKEN, -2)),
    ],
)
def test_a_condition_answers_an_event(events, keys, expected):
    flown = record(events, speed_m_s=SPEED)
    assert outcome(flown, pattern="response", when="apogee", **keys) == expected


def test_a_scope_cuts_the_answer_off():
    flown = record("1 liftoff, 2 apogee, 4 touchdown", speed_m_s=SPEED)
    keys = {"pattern": "response", "when": "apogee", "then_condition": "speed_m_s < 6"}
    assert outcome(flown, within_s=[0, 0.5], **keys) == (MET, 2)
    assert outcome(flown, within_s=[0, 0.5], scope=BETWEEN, **keys) == (BROKEN, -2)


@pytest.mark.parametrize(
    ("window", "expected"),
    [([0, 0], (BROKEN, -1)), ([0, 0.1], (MET, 0)), ([0, 0.3], (MET, 3)), ([0.5, 0.6], (BROKEN, -1)),
     (None, (MET, 3)), ([2, 3], (BROKEN, -inf))],
)  # fmt: skip
def test_precedence_of_a_condition(window, expected):
    keys = {} if window is None else {"within_s": window}
    flown = record("9 lit B1", speed_m_s=(9, 9, 9, 9, 9, 9, 5, 7, 8, 9))
    got = outcome(
        flown, pattern="precedence", event="lit *", only_after_condition="speed_m_s < 8", **keys
    )
    assert got == expected


def test_conditions_of_one_unit_are_judged_as_temporal_logic():
    """always(trigger implies eventually[0, 0.1] answer): min over t of max(-trigger, answer)."""
    flown = record(height_m=(0, 6, 7, 0, 0, 9), low_m=(0, 0, 0, 4, 0, 0))
    keys = {"pattern": "response", "when_condition": "height_m > 5", "within_s": [0, 0.1]}
    # tick 1: max(-1, max(-3, -3)); tick 2: max(-2, max(-3, 1)); tick 5: max(-4, -3 or unknown)
    assert outcome(flown, then_condition="low_m > 3", **keys) == (BROKEN, -1)
    assert outcome(flown, then_condition="low_m > -1", **keys) == (MET, 1)


def test_a_trigger_of_another_unit_counts_as_a_truth():
    flown = record(height_m=(0, 6, 7, 0, 0), speed_m_s=(9, 9, 4, 1, 9))
    keys = {"pattern": "response", "when_condition": "height_m > 5", "within_s": [0, 0]}
    assert outcome(flown, then_condition="speed_m_s < 8", **keys) == (BROKEN, -1)
    assert outcome(flown, then_condition="speed_m_s < 10", **keys) == (MET, 1)
    never = {**keys, "when_condition": "height_m > 50"}
    assert outcome(flown, then_condition="speed_m_s < 10", **never) == NOT_EXERCISED


@pytest.mark.parametrize(
    ("tilt", "condition", "expected"),
    [
        ((1, nan, 2), "tilt_deg < 20", NOT_DECIDED),
        ((1, nan, 25), "tilt_deg < 20", (BROKEN, -5)),
        ((1, inf, 2), "tilt_deg < 20", NOT_DECIDED),  # not finite is no value either
        ((nan, nan, nan), "tilt_deg < 20", NOT_DECIDED),
        ((1, nan, 2), "not tilt_deg >= 20", NOT_DECIDED),
        ((1, nan, 2), "tilt_deg < 20 or angle_of_attack_deg < 20", (MET, 20)),
        ((1, nan, 2), "tilt_deg < 20 and angle_of_attack_deg > 3", (BROKEN, -3)),
        ((1, 2, nan), "abs(tilt_deg - 2) < 3", NOT_DECIDED),
        ((1, 0, 2), "angle_of_attack_deg / tilt_deg < 3", NOT_DECIDED),  # 0 / 0
    ],
)
def test_a_missing_value_is_unknown(tilt, condition, expected):
    """Unknown leaves open what the rest does not settle; Kleene's logic inside the condition."""
    flown = record(tilt_deg=tilt, angle_of_attack_deg=(0, 0, 0))
    assert outcome(flown, pattern="universality", condition=condition) == expected


def test_a_signal_that_was_not_recorded_is_unknown_throughout():
    flown = record("1 liftoff", tilt_deg=(1, 2, 3))
    got = verdict(flown, pattern="universality", condition="height_m < 20")
    assert got.status == "not decided"
    assert "height_m = no value" in got.because


def test_truths_have_no_distance():
    flown = record(flight_armed=(0, 1, 1), tilt_deg=(1, 2, 30))
    keys = {"pattern": "universality"}
    assert outcome(flown, condition="flight.armed", **keys) == (BROKEN, -inf)
    assert outcome(flown, condition="flight.armed or tilt_deg < 5", **keys) == (MET, 4)
    assert outcome(flown, condition="not flight.armed or tilt_deg < 20", **keys) == (BROKEN, -10)
    found = verdict(flown, condition="True or flight.armed", **keys)
    assert (found.status, found.margin, found.unit) == (MET, inf, "bool")


@pytest.mark.parametrize(
    ("condition", "unit", "margin"),
    [
        ("height_m > low_m", "m", 2),
        ("height_m - low_m > 1", "m", 1),
        ("2 * height_m > 5", "m", 1),
        ("min(height_m, low_m + 4) > 1", "m", 2),
        ("height_m / low_m > 1", "1", 2),
        ("height_m * low_m > 1", "m2", 2),
        ("angle_rad < 2", "rad", 1),
        ("tilt_deg + angle_of_attack_deg < 7", "deg", 2),
        ("sqrt(height_m * low_m) < 3", "m", 3 - 3**0.5),
        ("height_m == 3", "m", 0),
        ("speed_m_s < 9", "m/s", 2),
    ],
)
def test_margin_has_the_unit_of_what_is_compared(condition, unit, margin):
    flown = record(
        height_m=(3, 3), low_m=(1, 1), angle_rad=(1, 1), tilt_deg=(4, 4),
        angle_of_attack_deg=(1, 1), speed_m_s=(7, 7),
    )  # fmt: skip
    found = verdict(flown, pattern="universality", condition=condition)
    assert (found.status, found.unit) == (MET, unit)
    assert found.margin == pytest.approx(margin, abs=1e-12)


def test_where_and_when_it_was_broken():
    """The stretch around the worst sample, not the first one."""
    tilt = (0, 21, 0, 0, 22, 25, 21, 0, 21, 0)
    found = verdict(record(tilt_deg=tilt), pattern="universality", condition="tilt_deg < 20")
    assert (found.start, found.end, found.margin) == (4, 6, -5)
    assert "(and 2 more times)" in found.because
    met = verdict(record(tilt_deg=tilt), pattern="universality", condition="tilt_deg < 30")
    assert (met.start, met.end, met.margin) == (5, 5, 5)


def test_becoming_true_needs_to_have_been_false():
    """What holds on the first known tick has not become true; a gap neither begins nor ends."""
    became = {"pattern": "bounded_existence", "event": "becomes tilt_deg > 20", "at_least": 0}
    for tilt, times in (
        ((25, 25, 25), 0),
        ((25, 0, 25), 1),
        ((25, 25, 0), 0),
        ((0, nan, 25, nan, 25), 1),
        ((nan, 25, 0, nan, 25), 1),
        ((0, 25, 0, 25, 0, 25), 3),
        ((20, 20.5), 1),
    ):
        found = outcome(record(tilt_deg=tilt), **became, at_most=9)
        assert found == (MET, min(times, 9 - times)), tilt


def test_events_of_conditions_may_mix_units():
    flown = record(height_m=(9, 9, 4, 4), speed_m_s=(9, 2, 9, 2))
    event = "becomes height_m < 5 and speed_m_s < 3"
    found = verdict(flown, pattern="absence", event=event, scope={"before": event})
    assert (found.status, found.margin, found.start, found.unit) == (MET, 0, 3, "s")


def test_minimum_and_maximum_duration():
    """Konrad, Cheng (2005): duration patterns, written as responses to an onset."""
    tilt = (0, 25, 25, 25, 0, 0, 0, 0)
    onset = {"pattern": "response", "when": "becomes tilt_deg > 20"}
    flown = record(tilt_deg=tilt)
    assert outcome(flown, then_throughout="tilt_deg > 20", within_s=[0, 0.2], **onset) == (MET, 5)
    assert outcome(flown, then_throughout="tilt_deg > 20", within_s=[0, 0.3], **onset) == (
        BROKEN,
        -20,
    )
    assert outcome(flown, then="becomes tilt_deg <= 20", within_s=[0, 0.4], **onset) == (MET, 0.1)
    assert outcome(flown, then="becomes tilt_deg <= 20", within_s=[0, 0.2], **onset) == (
        BROKEN,
        -0.1,
    )


def test_event_one_tick_ahead_of_the_samples():
    """The world's events are noted at the end of its step: the last may have no sample yet."""
    flown = record("1 liftoff, 3 touchdown", tilt_deg=(1, 5, 3))
    keys = {"pattern": "universality", "condition": "tilt_deg < 20"}
    assert outcome(flown, scope=BETWEEN, **keys) == (MET, 15)
    answered = {"pattern": "response", "when": "touchdown", "then_condition": "tilt_deg < 20"}
    assert outcome(flown, within_s=[0, 0], **answered) == (MET, 17)


@pytest.mark.parametrize(
    ("event", "ticks"),
    [
        ("becomes not (tilt_deg < 20 and height_m < 5)", [1, 4]),
        ("becomes tilt_deg >= 20 or height_m >= 5", [1, 4]),
        ("becomes tilt_deg >= 20 and height_m >= 5", [5]),
        ("becomes not (tilt_deg < 20 or height_m < 5)", [5]),
    ],
)
def test_kleene_decides_when_a_condition_becomes_true(event, ticks):
    """One known side settles `and` (false) and `or` (true), whatever the other is."""
    flown = record(tilt_deg=(0, 25, 25, 0, nan, 25), height_m=(0, nan, 0, 0, 9, 9))
    keys = {"pattern": "bounded_existence", "event": event, "at_least": 0, "at_most": 5}
    found = verdict(flown, **keys)
    assert found.margin == min(len(ticks), 5 - len(ticks))
    assert (found.start, found.end) == (ticks[0], ticks[-1])
