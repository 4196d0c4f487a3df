"""One of several, at a hand-over: gaps to the tick, doubt, and what the sentence says."""

from __future__ import annotations

from math import nan

import pytest
from making_records import outcome, record, verdict

RULE = {"pattern": "exactly_one", "of": ["a", "b"]}


def handed_over(gap, *, both=False, ticks=60):
    """`a` until tick 20, then for `gap` ticks none or both, then `b`; ten ticks a second."""
    until, since = (20 + gap, 20) if both else (20, 20 + gap)
    a = [float(tick < until) for tick in range(ticks)]
    b = [float(tick >= since) for tick in range(ticks)]
    return record("", rate_hz=10, a=a, b=b)


@pytest.mark.parametrize("both", [False, True])
@pytest.mark.parametrize(
    ("gap", "status", "margin"),
    [(0, "met", 0.3), (1, "met", 0.2), (3, "met", 0.0), (4, "broken", -0.1), (9, "broken", -0.6)],
)
def test_the_gap_is_closed(gap, both, status, margin):
    assert outcome(handed_over(gap, both=both), **RULE, gap_s=0.3) == (status, margin)


def test_without_a_gap_one_tick_breaks_it():
    assert outcome(handed_over(0), **RULE) == ("met", 0.0)
    assert outcome(handed_over(1), **RULE) == ("broken", -0.1)


def test_gaps_are_not_added_up():
    a = [1, 1, 0, 0, 1, 0, 0, 1, 1, 1]
    flown = record("", rate_hz=10, a=a, b=[0] * 10)
    assert outcome(flown, **RULE, gap_s=0.2) == ("met", 0.0)


def test_only_what_lies_in_the_scope_counts():
    flown = record("4 liftoff", rate_hz=10, a=[0] * 5 + [1] * 5, b=[0] * 10)
    assert outcome(flown, **RULE, scope={"after": "liftoff"}) == ("broken", -0.1)
    assert outcome(flown, **RULE, gap_s=0.1, scope={"after": "liftoff"}) == ("met", 0.0)
    assert outcome(flown, **RULE)[1] == -0.5


def test_a_value_that_is_missing_leaves_it_open_unless_the_rest_settles_it():
    flown = record("", rate_hz=10, a=[1, 1, nan, 1, 1], b=[0] * 5)
    assert outcome(flown, **RULE) == ("not decided", None)
    assert outcome(flown, **RULE, gap_s=0.1) == ("met", 0.0)
    # two hold whatever the third is; none of two holds, and the third is known not to
    two = record("", rate_hz=10, a=[1.0], b=[1.0], c=[nan])
    assert outcome(two, pattern="exactly_one", of=["a", "b", "c"]) == ("broken", -0.1)


def test_conditions_may_be_of_any_unit():
    flown = record("", rate_hz=10, height_m=[0.0, 9.0], speed_m_s=[5.0, 0.0])
    rule = {"pattern": "exactly_one", "of": ["height_m > 5", "speed_m_s > 1"]}
    found = verdict(flown, **rule)
    assert (found.status, found.margin, found.unit) == ("met", 0.0, "s")


SENTENCES = {
    "none": (
        handed_over(5),
        {"gap_s": 0.3},
        (
            "none of a, b held from 2.00 s to 2.40 s (0.50 s), 0.2 s too long; exactly one must "
            "hold in the whole flight, with gaps of at most 0.30 s"
        ),
    ),
    "both": (
        handed_over(2, both=True),
        {},
        (
            "a and b held together from 2.00 s to 2.10 s (0.20 s), 0.2 s too long; exactly one "
            "must hold in the whole flight"
        ),
    ),
    "one after the other, more than once": (
        record("", rate_hz=10, a=[1, 1, 0, 1, 0, 1], b=[0, 1, 0, 0, 0, 0]),
        {},
        (
            "none or several of a, b held from 0.10 s to 0.20 s (0.20 s), 0.2 s too long (and once "
            "more); exactly one must hold in the whole flight"
        ),
    ),
    "met, with a gap": (
        handed_over(1),
        {"gap_s": 0.3},
        "exactly one of a, b held in the whole flight, but not at 2.00 s, 0.2 s to spare",
    ),
    "met": (handed_over(0), {}, "exactly one of a, b held in the whole flight"),
    "cut": (
        handed_over(0, ticks=30),
        {"within_s": [0, 5]},
        (
            "the record ended at 2.90 s before it was known whether exactly one of a, b holds "
            "within 5 s after the start"
        ),
    ),
    "missing": (
        record("", rate_hz=10, a=[1, nan], b=[0, 0]),
        {},
        "exactly one of a, b must hold in the whole flight, but a value is missing at 0.10 s",
    ),
}


@pytest.mark.parametrize("case", SENTENCES)
def test_sentences(case):
    flown, keys, expected = SENTENCES[case]
    assert verdict(flown, **RULE, **keys).because == expected
