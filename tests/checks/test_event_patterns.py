"""Absence, existence, bounded existence, precedence and response of events, in every scope.

Records run at 10 ticks per second: tick 15 is 1.5 s. Every row is worked by hand.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest
from making_records import outcome, record, verdict

from sequencer.record import Event

BEFORE = {"before": "touchdown"}
AFTER = {"after": "liftoff"}
BETWEEN = {"between": ["liftoff", "touchdown"]}
UNTIL = {"after": "liftoff", "until": "touchdown"}
FLOWN = "20 liftoff, 60 touchdown"

MET, BROKEN = "met", "broken"
NOT_EXERCISED, NOT_DECIDED = ("not exercised", None), ("not decided", None)


def rows(table):
    return [pytest.param(*row, id=f"{row[0] or 'globally'} | {row[1]}") for row in table]


ABSENCE = [
    (None, "", (MET, inf)),
    (None, "15 apogee", (BROKEN, -inf)),
    (BEFORE, "15 apogee", NOT_EXERCISED),
    (BEFORE, "60 touchdown, 75 apogee", (MET, 1.5)),
    (BEFORE, "60 touchdown", (MET, inf)),
    (BEFORE, "45 apogee, 60 touchdown", (BROKEN, -1.5)),
    (BEFORE, "60 touchdown, 60 apogee", (MET, 0)),
    (AFTER, "15 apogee", NOT_EXERCISED),
    (AFTER, "15 apogee, 20 liftoff", (MET, 0.5)),
    (AFTER, "20 liftoff, 27 apogee", (BROKEN, -0.7)),
    (AFTER, "20 liftoff, 20 apogee", (MET, 0)),
    (AFTER, "20 liftoff, 27 apogee, 30 liftoff, 45 apogee", (BROKEN, -2.5)),
    (BETWEEN, "40 apogee, 60 touchdown", NOT_EXERCISED),
    (BETWEEN, "20 liftoff, 40 apogee", NOT_DECIDED),
    (BETWEEN, f"15 apogee, {FLOWN}, 63 apogee", (MET, 0.3)),
    (BETWEEN, "20 liftoff, 30 apogee, 60 touchdown", (BROKEN, -1.0)),
    (BETWEEN, "20 liftoff, 30 apogee, 41 apogee, 60 touchdown", (BROKEN, -1.9)),
    (BETWEEN, f"{FLOWN}, 70 liftoff, 75 apogee, 90 touchdown", (BROKEN, -0.5)),
    (BETWEEN, f"{FLOWN}, 70 liftoff, 75 apogee", (MET, 1.5)),
    (UNTIL, "40 apogee", NOT_EXERCISED),
    (UNTIL, "20 liftoff, 40 apogee", (BROKEN, -2.0)),
    (UNTIL, "20 liftoff, 40 apogee, 41 touchdown", (BROKEN, -0.1)),
    (UNTIL, f"{FLOWN}, 64 apogee", (MET, 0.4)),
    (UNTIL, f"{FLOWN}, 64 apogee, 70 liftoff, 80 apogee", (BROKEN, -1.0)),
]


@pytest.mark.parametrize(("scope", "events", "expected"), rows(ABSENCE))
def test_absence(scope, events, expected):
    keys = {} if scope is None else {"scope": scope}
    assert outcome(record(events), pattern="absence", event="apogee", **keys) == expected


EXISTENCE = [
    (None, "15 apogee", (MET, inf)),
    (None, "", NOT_DECIDED),
    (None, "99 ended flight", (BROKEN, -inf)),
    (BEFORE, "15 apogee", NOT_EXERCISED),
    (BEFORE, "60 touchdown", (BROKEN, -inf)),
    (BEFORE, "60 touchdown, 75 apogee", (BROKEN, -1.5)),
    (BEFORE, "45 apogee, 60 touchdown", (MET, 1.5)),
    (BEFORE, "60 touchdown, 60 apogee", (MET, 0)),
    (AFTER, "15 apogee", NOT_EXERCISED),
    (AFTER, "15 apogee, 20 liftoff", NOT_DECIDED),
    (AFTER, "15 apogee, 20 liftoff, 99 ended flight", (BROKEN, -0.5)),
    (AFTER, "20 liftoff, 27 apogee", (MET, 0.7)),
    (AFTER, "20 liftoff, 20 apogee", (MET, 0)),
    (BETWEEN, "40 apogee, 60 touchdown", NOT_EXERCISED),
    (BETWEEN, "20 liftoff, 40 apogee", NOT_DECIDED),
    (BETWEEN, f"15 apogee, {FLOWN}, 63 apogee", (BROKEN, -0.3)),
    (BETWEEN, "20 liftoff, 30 apogee, 60 touchdown", (MET, 1.0)),
    (BETWEEN, f"30 apogee, {FLOWN}, 70 liftoff, 90 touchdown", (BROKEN, -4.0)),
    (UNTIL, "40 apogee", NOT_EXERCISED),
    (UNTIL, "20 liftoff", NOT_DECIDED),
    (UNTIL, "20 liftoff, 99 ended flight", (BROKEN, -inf)),
    (UNTIL, "20 liftoff, 40 apogee", (MET, 2.0)),
    (UNTIL, "20 liftoff, 41 touchdown, 45 apogee", (BROKEN, -0.4)),
]


@pytest.mark.parametrize(("scope", "events", "expected"), rows(EXISTENCE))
def test_existence(scope, events, expected):
    keys = {} if scope is None else {"scope": scope}
    assert outcome(record(events), pattern="existence", event="apogee", **keys) == expected


# one to two parachutes
BOUNDED = [
    (None, "", NOT_DECIDED),
    (None, "99 ended flight", (BROKEN, -1)),
    (None, "15 deployed a", (MET, 0)),
    (None, "15 deployed a, 16 deployed b", (MET, 0)),
    (None, "15 deployed a, 16 deployed b, 17 deployed c, 18 deployed d", (BROKEN, -2)),
    (BEFORE, "15 deployed a", NOT_EXERCISED),
    (BEFORE, "60 touchdown, 75 deployed a", (BROKEN, -1)),
    (BEFORE, "15 deployed a, 60 touchdown, 61 deployed b, 62 deployed c", (MET, 0)),
    (BEFORE, "60 touchdown, 60 deployed a", (MET, 0)),
    (AFTER, "15 deployed a", NOT_EXERCISED),
    (AFTER, "15 deployed a, 20 liftoff", NOT_DECIDED),
    (AFTER, "15 deployed a, 20 liftoff, 21 deployed b", (MET, 0)),
    (AFTER, "20 liftoff, 21 deployed a, 21 deployed b, 21 deployed c", (BROKEN, -1)),
    (BETWEEN, "60 touchdown", NOT_EXERCISED),
    (BETWEEN, "20 liftoff, 40 deployed a", NOT_DECIDED),
    (BETWEEN, f"{FLOWN}, 61 deployed a", (BROKEN, -1)),
    (BETWEEN, f"20 deployed a, 60 deployed b, {FLOWN}", (MET, 0)),
    (UNTIL, "20 liftoff, 21 deployed a, 22 deployed b, 23 deployed c", (BROKEN, -1)),
    (UNTIL, "20 liftoff", NOT_DECIDED),
    (UNTIL, FLOWN, (BROKEN, -1)),
    (UNTIL, "20 liftoff, 30 deployed a", (MET, 0)),
]


@pytest.mark.parametrize(("scope", "events", "expected"), rows(BOUNDED))
def test_bounded_existence(scope, events, expected):
    keys = {} if scope is None else {"scope": scope}
    got = outcome(
        record(events),
        pattern="bounded_existence",
        event="deployed *",
        at_least=1,
        at_most=2,
        **keys,
    )
    assert got == expected


# ignition only after the horn
PRECEDENCE = [
    (None, "", NOT_EXERCISED),
    (None, "10 fired pad.horn", NOT_EXERCISED),
    (None, "10 fired pad.horn, 25 lit A1", (MET, 1.5)),
    (None, "25 fired pad.horn, 10 lit A1", (BROKEN, -1.5)),
    (None, "10 fired pad.horn, 10 lit A1", (MET, 0)),
    (None, "10 lit A1", (BROKEN, -inf)),
    (None, "5 lit A1, 10 fired pad.horn, 25 lit A2", (BROKEN, -0.5)),
    (BEFORE, "10 fired pad.horn, 25 lit A1", NOT_EXERCISED),
    (BEFORE, "60 touchdown, 70 lit A1", NOT_EXERCISED),
    (BEFORE, "25 lit A1, 30 fired pad.horn, 60 touchdown", (BROKEN, -0.5)),
    (BEFORE, "10 fired pad.horn, 25 lit A1, 60 touchdown", (MET, 1.5)),
    (AFTER, "10 fired pad.horn, 25 lit A1", NOT_EXERCISED),
    (AFTER, "10 fired pad.horn, 20 liftoff, 25 lit A1", (BROKEN, -1.0)),
    (AFTER, "20 liftoff, 22 fired pad.horn, 25 lit A1", (MET, 0.2)),
    (AFTER, "10 lit A1, 20 liftoff", NOT_EXERCISED),
    (BETWEEN, "10 fired pad.horn, 20 liftoff, 25 lit A1", NOT_DECIDED),
    (BETWEEN, "20 liftoff, 22 fired pad.horn, 25 lit A1, 60 touchdown", (MET, 0.2)),
    (BETWEEN, "20 liftoff, 25 lit A1, 32 fired pad.horn, 60 touchdown", (BROKEN, -0.7)),
    (UNTIL, "20 liftoff, 25 lit A1", (BROKEN, -inf)),
    (UNTIL, "20 liftoff, 24 fired pad.horn, 25 lit A1", (MET, 0.1)),
    (UNTIL, f"{FLOWN}, 65 lit A1", NOT_EXERCISED),
]


@pytest.mark.parametrize(("scope", "events", "expected"), rows(PRECEDENCE))
def test_precedence(scope, events, expected):
    keys = {} if scope is None else {"scope": scope}
    horn = "fired pad.horn"
    got = outcome(record(events), pattern="precedence", event="lit *", only_after=horn, **keys)
    assert got == expected


# a parachute after every apogee
RESPONSE = [
    (None, "", NOT_EXERCISED),
    (None, "30 fired flight.chute", NOT_EXERCISED),
    (None, "25 apogee, 30 fired flight.chute", (MET, inf)),
    (None, "25 apogee, 25 fired flight.chute", (MET, inf)),
    (None, "20 fired flight.chute, 25 apogee", NOT_DECIDED),
    (None, "20 fired flight.chute, 25 apogee, 99 ended flight", (BROKEN, -inf)),
    (BEFORE, "25 apogee", NOT_EXERCISED),
    (BEFORE, "25 apogee, 30 fired flight.chute, 60 touchdown", (MET, 3.0)),
    (BEFORE, "25 apogee, 60 fired flight.chute, 60 touchdown", (MET, 0)),
    (BEFORE, "25 apogee, 60 touchdown, 62 fired flight.chute", (BROKEN, -0.2)),
    (AFTER, "25 apogee, 30 fired flight.chute", NOT_EXERCISED),
    (AFTER, "10 apogee, 20 liftoff", NOT_EXERCISED),
    (AFTER, "20 liftoff, 25 apogee, 30 fired flight.chute", (MET, inf)),
    (AFTER, "20 liftoff, 25 apogee", NOT_DECIDED),
    (BETWEEN, "20 liftoff, 25 apogee", NOT_DECIDED),
    (BETWEEN, "20 liftoff, 25 apogee, 60 touchdown", (BROKEN, -inf)),
    (BETWEEN, "20 liftoff, 25 apogee, 59 fired flight.chute, 60 touchdown", (MET, 0.1)),
    (UNTIL, "20 liftoff, 25 apogee", NOT_DECIDED),
    (UNTIL, "20 liftoff, 25 apogee, 60 touchdown", (BROKEN, -inf)),
    (UNTIL, "20 liftoff, 25 apogee, 30 fired flight.chute", (MET, inf)),
]


@pytest.mark.parametrize(("scope", "events", "expected"), rows(RESPONSE))
def test_response(scope, events, expected):
    keys = {} if scope is None else {"scope": scope}
    got = outcome(
        record(events), pattern="response", when="apogee", then="fired flight.chute", **keys
    )
    assert got == expected


# P is "apogee", S is "opened main"
WINDOWS = [
    ("absence", [1, 2], "9 apogee, 23 apogee", (MET, 0.1)),
    ("absence", [1, 2], "10 apogee", (MET, 0)),
    ("absence", [1, 2], "14 apogee", (BROKEN, -0.4)),
    ("absence", [1, 20], "", NOT_DECIDED),
    ("absence", [1, 20], "13 apogee", (BROKEN, -0.3)),
    ("existence", [1, 2], "14 apogee", (MET, 0.4)),
    ("existence", [1, 2], "20 apogee", (MET, 0)),
    ("existence", [1, 2], "21 apogee", (BROKEN, -0.1)),
    ("existence", [1, 2], "7 apogee", (BROKEN, -0.3)),
    ("existence", [0, 2], "5 apogee", (MET, 1.5)),
    ("existence", [1, 20], "5 apogee", NOT_DECIDED),
    ("existence", [1, 20], "5 apogee, 99 ended flight", NOT_DECIDED),
    ("existence", [0, 9.9], "", (BROKEN, -inf)),
    ("existence", [3, inf], "50 apogee", (MET, 2)),
    ("response", [0, 2], "30 apogee, 50 opened main", (MET, 0)),
    ("response", [0, 2], "30 apogee, 31 opened main", (MET, 1.9)),
    ("response", [0, 2], "30 apogee, 53 opened main", (BROKEN, -0.3)),
    ("response", [0, 2], "29 opened main, 30 apogee", (BROKEN, -inf)),
    ("response", [0, 2], "85 apogee", NOT_DECIDED),
    ("response", [0, 2], "79 apogee", (BROKEN, -inf)),
    ("response", [0, 2], "85 apogee, 99 ended flight", NOT_DECIDED),
    ("response", [0, 2], "30 apogee, 85 apogee", (BROKEN, -inf)),
    ("response", [1, 2], "30 apogee, 34 opened main", (BROKEN, -0.6)),
    ("response", [1, 2], "30 apogee, 34 opened main, 45 opened main", (MET, 0.5)),
    ("response", [1, 2], "30 apogee, 40 opened main", (MET, 0)),
    ("precedence", [1, 2], "20 opened main, 30 apogee", (MET, 0)),
    ("precedence", [1, 2], "15 opened main, 30 apogee", (MET, 0.5)),
    ("precedence", [1, 2], "10 opened main, 30 apogee", (MET, 0)),
    ("precedence", [1, 2], "9 opened main, 30 apogee", (BROKEN, -0.1)),
    ("precedence", [1, 2], "25 opened main, 30 apogee", (BROKEN, -0.5)),
    ("precedence", [1, 2], "30 apogee, 35 opened main", (BROKEN, -1.5)),
    ("precedence", [0, 2], "29 opened main, 30 apogee", (MET, 0.1)),
    ("precedence", [3, inf], "10 opened main, 50 apogee", (MET, 1)),
]
NAMES = {
    "absence": {"event": "apogee"},
    "existence": {"event": "apogee"},
    "response": {"when": "apogee", "then": "opened main"},
    "precedence": {"event": "apogee", "only_after": "opened main"},
}


@pytest.mark.parametrize(("pattern", "window", "events", "expected"), WINDOWS)
def test_windows(pattern, window, events, expected):
    """Windows are closed; an event on the very edge leaves a margin of zero, which is met."""
    got = outcome(record(events), pattern=pattern, within_s=window, **NAMES[pattern])
    assert got == expected


@pytest.mark.parametrize(
    ("events", "expected"),
    [
        ("20 liftoff, 34 apogee, 60 touchdown", (MET, 0.4)),
        ("20 liftoff, 34 apogee, 36 touchdown", (MET, 0.2)),  # touchdown is nearer than 2 s
        ("20 liftoff, 41 apogee, 60 touchdown", (BROKEN, -0.1)),
        ("20 liftoff, 25 touchdown", (BROKEN, -inf)),  # no room: the scope closes too soon
        ("20 liftoff, 27 apogee, 25 touchdown", (BROKEN, -0.3)),
    ],
)
def test_window_counts_from_the_beginning_of_the_scope(events, expected):
    flown = record(events)
    got = outcome(flown, pattern="existence", event="apogee", within_s=[1, 2], scope=BETWEEN)
    assert got == expected


def test_absence_is_not_asked_where_the_scope_closes_before_its_window():
    flown = record("20 liftoff, 22 apogee, 25 touchdown")
    got = outcome(flown, pattern="absence", event="apogee", within_s=[1, 2], scope=BETWEEN)
    assert got == NOT_EXERCISED


def test_response_that_its_scope_leaves_no_time_for():
    """The answer must come 1 to 2 s later, but the scope closes 0.5 s later."""
    flown = record("20 liftoff, 30 apogee, 35 touchdown, 42 opened main")
    got = outcome(
        flown, pattern="response", when="apogee", then="opened main", within_s=[1, 2], scope=BETWEEN
    )
    assert got == (BROKEN, -0.7)


@pytest.mark.parametrize(
    ("events", "expected"),
    [
        ("10 fired pad.horn, 25 fired pad.horn, 99 fired pad.horn", (BROKEN, -4.4)),
        ("70 fired pad.horn, 90 fired pad.horn, 99 fired pad.horn", NOT_DECIDED),
    ],
)
def test_an_event_does_not_answer_itself(events, expected):
    """Bounded recurrence (Konrad, Cheng 2005): the horn again within 3 s of the horn."""
    horn = "fired pad.horn"
    got = outcome(record(events), pattern="response", when=horn, then=horn, within_s=[0, 3])
    assert got == expected


def test_an_event_does_not_precede_itself():
    horn = "fired pad.horn"
    flown = record("10 fired pad.horn, 25 fired pad.horn")
    keys = {"pattern": "precedence", "event": horn, "within_s": [0, 3]}
    assert outcome(flown, **keys, only_after=horn) == (BROKEN, -1.5)
    assert outcome(flown, **keys, only_after=[horn, "lit *"]) == (BROKEN, -1.5)


def test_segments_touch_where_one_label_opens_and_closes():
    """Between one horn and the next there is an entered state, every time."""
    horn = "fired pad.horn"
    between = {"between": [horn, horn]}
    keys = {"pattern": "existence", "event": "entered pad.hold", "scope": between}
    kept = "10 fired pad.horn, 20 entered pad.hold, 30 fired pad.horn, 38 entered pad.hold,"
    assert outcome(record(f"{kept} 40 fired pad.horn"), **keys) == (MET, 0.2)
    assert outcome(record(f"{kept} 40 fired pad.horn, 60 fired pad.horn"), **keys) == (BROKEN, -0.2)


def test_later_events_of_the_same_tick_close_a_scope():
    """The order within a tick counts: the exit is taken, then the state entered."""
    flown = record("10 took pad.go, 10 entered pad.ignition, 40 entered pad.ignition, 20 liftoff")
    scope = {"after": "took pad.go", "until": "entered pad.ignition"}
    assert outcome(flown, pattern="absence", event="liftoff", scope=scope) == (MET, 1.0)


def test_several_events_and_wildcards():
    flown = record("10 fired pad.ascent_1, 12 fired pad.ascent_2, 14 fired flight.landing_1")
    bounded = {"pattern": "bounded_existence", "at_least": 0, "at_most": 5}
    counts = {
        "fired pad.ascent_*": 2,
        "fired *": 3,
        "fired pad.*": 2,
        "fired *_1": 2,
        "fired pad.ascent_1": 1,
        "fired pad.ascent": 0,
    }
    for label, count in counts.items():
        assert outcome(flown, **bounded, event=label) == (MET, min(count, 5 - count)), label
    both = ["fired flight.*", "fired pad.ascent_2"]
    assert outcome(flown, **bounded, event=both) == (MET, 2)


def test_names_that_the_scenario_gives_may_hold_blanks():
    flown = record(ticks=50)
    events = (Event(10, "crew", "launch on"), Event(20, "fault_begun", "igniter of A2 beside"))
    flown = replace(flown, events=events)
    precedence = {"pattern": "precedence", "event": "fault_begun igniter of A2 *"}
    assert outcome(flown, **precedence, only_after="crew launch on") == (MET, 1)


def test_the_tick_after_the_last_is_only_half_known():
    """The world notes what its last step did one tick ahead; computers have not run there yet."""
    flown = record("9 released, 10 liftoff, 10 touchdown", ticks=10)
    keys = {"pattern": "response", "then": "entered flight.ascent", "within_s": [0, 0]}
    assert outcome(flown, **keys, when="released") == (BROKEN, -inf)
    assert outcome(flown, **keys, when="liftoff") == NOT_DECIDED
    bounded = {"pattern": "bounded_existence", "at_least": 1, "event": "touchdown"}
    assert outcome(flown, **bounded) == (MET, 0)


@pytest.mark.parametrize(
    ("rate_hz", "tick", "window", "margin"),
    [
        (100, 7, [0, 0.07], 0),  # 0.07 * 100 is 7.000000000000001
        (100, 61, [0, 0.6], -0.01),  # 0.6 - 0.61 is -0.010000000000000009
        (100, 29, [0.29, 0.57], 0),
        (100, 57, [0.29, 0.57], 0),
        (100, 58, [0.29, 0.57], -0.01),
        (400, 1, [0, 0.0025], 0),
        (300, 100, [0, 0.333], -1 / 3000),
        (3, 1, [0, 1 / 3], 0),
    ],
)
def test_times_are_exact(rate_hz, tick, window, margin):
    """Ticks over their rate against decimal bounds: no dust of binary fractions in a margin."""
    flown = record(f"0 apogee, {tick} opened main", ticks=200, rate_hz=rate_hz)
    found = verdict(flown, pattern="response", within_s=window, when="apogee", then="opened main")
    assert found.margin == margin
    assert found.status == (MET if margin >= 0 else BROKEN)


def test_an_exit_has_the_name_that_its_file_gives_it():
    """Names of exits may hold blanks, as crew actions and faults may."""
    flown = replace(
        record(), events=(Event(10, "took", "pad.key out"), Event(40, "took", "pad.key out late"))
    )
    once = {"pattern": "bounded_existence", "event": "took pad.key out", "at_most": 1}
    assert outcome(flown, **once)[0] == MET
    twice = {"pattern": "bounded_existence", "event": "took pad.key *", "at_most": 1}
    assert outcome(flown, **twice)[0] == BROKEN
