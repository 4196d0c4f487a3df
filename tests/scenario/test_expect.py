"""What a scenario expects against what came out: every shortfall, and none without cause."""

from __future__ import annotations

from typing import get_args

import pytest

from sequencer.record import Event, FlightRecord, Verdict
from sequencer.scenario.expect import Expectation, Window, compare
from sequencer.scenario.outcome import OUTCOMES, Outcome


def verdict(name: str, status: str, start: int | None = None) -> Verdict:
    return Verdict(name, status, 1.0 if status == "met" else None, "s", start, start, "because")


def record(
    *events: tuple[int, str], outcome: str = "landed", verdicts: tuple[Verdict, ...] = ()
) -> FlightRecord:
    made = tuple(
        Event(tick, *label.split(" ", 1)) if " " in label else Event(tick, label)
        for tick, label in events
    )
    return FlightRecord("made up", 100, 1000, made, {}, outcome, verdicts=verdicts)


FLOWN = record((10, "entered pad.countdown"), (100, "liftoff"), (300, "apogee"), (500, "touchdown"))


def test_as_expected() -> None:
    expect = Expectation(
        "landed",
        order=("liftoff", "apogee", "touchdown"),
        windows=(Window("liftoff", 1.0, 1.0),),
        never=("fired *",),
    )
    assert compare(expect, FLOWN) == ()


def test_missing_event_names_what_came_before() -> None:
    (shortfall,) = compare(Expectation("landed", order=("liftoff", "separated")), FLOWN)
    assert shortfall.what == "'separated' never came (expected after 'liftoff' at 1.00 s)"
    assert shortfall.first_wrong is None


def test_out_of_order_names_the_early_event() -> None:
    (shortfall,) = compare(Expectation("landed", order=("apogee", "liftoff", "touchdown")), FLOWN)
    assert "'liftoff' came at 1.00 s, out of order" in shortfall.what
    assert shortfall.first_wrong == Event(100, "liftoff")


def test_the_same_label_twice_in_order_needs_two_events() -> None:
    expect = Expectation("landed", order=("liftoff", "liftoff"))
    assert len(compare(expect, FLOWN)) == 1
    twice = record((100, "liftoff"), (200, "liftoff"))
    assert compare(expect, twice) == ()


@pytest.mark.parametrize(
    ("window", "said"),
    [
        (Window("liftoff", 1.1, 2.0), "0.10 s too early"),
        (Window("liftoff", 0.0, 0.75), "0.25 s too late"),
        (Window("separated", 0.0, 1.0), "never came"),
    ],
)
def test_windows(window: Window, said: str) -> None:
    (shortfall,) = compare(Expectation("landed", windows=(window,)), FLOWN)
    assert said in shortfall.what


@pytest.mark.parametrize("edge", [(1.0, 5.0), (0.0, 1.0)])
def test_windows_are_closed(edge: tuple[float, float]) -> None:
    assert compare(Expectation("landed", windows=(Window("liftoff", *edge),)), FLOWN) == ()


def test_never_with_a_pattern() -> None:
    (shortfall,) = compare(Expectation("landed", never=("entered pad.*",)), FLOWN)
    assert shortfall.first_wrong == Event(10, "entered", "pad.countdown")


def test_outcome() -> None:
    (shortfall,) = compare(Expectation("recovered"), FLOWN)
    assert shortfall.what == "outcome is 'landed', expected 'recovered'"


@pytest.mark.parametrize("status", ["broken", "not exercised", "not decided"])
def test_a_status_that_is_not_named_falls_short(status: str) -> None:
    flown = record((5, "liftoff"), verdicts=(verdict("soft landing", status, 5),))
    (shortfall,) = compare(Expectation("landed"), flown)
    assert shortfall.verdict is flown.verdicts[0]
    assert status in shortfall.what
    assert shortfall.first_wrong == Event(5, "liftoff")


@pytest.mark.parametrize(
    ("key", "status"),
    [("breaks", "broken"), ("not_exercised", "not exercised"), ("not_decided", "not decided")],
)
def test_a_named_status_must_come_out(key: str, status: str) -> None:
    as_named = record(verdicts=(verdict("soft landing", status),))
    assert compare(Expectation("landed", **{key: ("soft *",)}), as_named) == ()

    met = record(verdicts=(verdict("soft landing", "met"),))
    (shortfall,) = compare(Expectation("landed", **{key: ("soft landing",)}), met)
    assert shortfall.what == f"'soft landing' was expected under {key}, but it is met"


def test_what_may_rest_falls_short_only_when_it_breaks() -> None:
    expect = Expectation("landed", may_rest=frozenset({"safing"}))
    for status, short in (("not exercised", 0), ("met", 0), ("broken", 1), ("not decided", 1)):
        flown = record(verdicts=(verdict("safing", status),))
        assert len(compare(expect, flown)) == short


def test_what_may_rest_can_still_be_demanded_to() -> None:
    expect = Expectation("landed", not_exercised=("safing",), may_rest=frozenset({"safing"}))
    assert compare(expect, record(verdicts=(verdict("safing", "not exercised"),))) == ()
    (shortfall,) = compare(expect, record(verdicts=(verdict("safing", "met"),)))
    assert shortfall.what == "'safing' was expected under not_exercised, but it is met"


def test_requirements_come_before_events_and_the_outcome_last() -> None:
    flown = record((5, "liftoff"), outcome="crashed", verdicts=(verdict("a", "broken"),))
    found = compare(Expectation("landed", order=("apogee",)), flown)
    assert [s.what.split(" ")[0] for s in found] == ["'a'", "'apogee'", "outcome"]


def test_every_word_for_an_outcome_is_explained() -> None:
    assert tuple(OUTCOMES) == get_args(Outcome)


def test_a_fault_that_never_began_proves_nothing() -> None:
    expect = Expectation("landed", faults=("charge open", "gust"))
    begun = record((100, "liftoff"), (120, "fault_begun gust"))
    (shortfall,) = compare(expect, begun)
    assert shortfall.what == "the fault 'charge open' never began: its moment did not come"
    assert compare(Expectation("landed", faults=("gust",)), begun) == ()
    # it comes first, since the rest may follow from it
    both = compare(Expectation("crashed", order=("apogee",), faults=("charge open",)), begun)
    assert "never began" in both[0].what
    assert len(both) == 3


def test_what_the_crew_was_to_do_and_did_not() -> None:
    flown = record((5, "crew launch on"), (9, "crew launch off"), (12, "liftoff"))
    assert compare(Expectation("landed", crew=("launch on", "launch off")), flown) == ()
    expect = Expectation("landed", crew=("launch on", "launch off", "launch on", "hold on"))
    assert [shortfall.what for shortfall in compare(expect, flown)] == [
        "the crew's 'launch on' never came: its moment did not come",
        "the crew's 'hold on' never came: its moment did not come",
    ]
