from __future__ import annotations

import math

import pytest

from sequencer.record import Verdict
from sequencer.report.summary import about, at, count, quantity, tightest


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.4236, "m/s", "+0.424 m/s"),
        (-3.1, "m/s", "-3.10 m/s"),
        (12.5, "deg", "+12.5 deg"),
        (1234.4, "m", "+1234 m"),
        (0.0, "s", "+0.00 s"),
        (-0.000042, "s", "-0.0000420 s"),
        (2.0, "1", "+2"),
        (0.0, "1", "+0"),
        (0.25, "1", "+0.250"),
        (math.inf, "s", "never near"),
        (-math.inf, "s", "never came"),
        (None, "s", "-"),
        (math.nan, "s", "-"),
    ],
)
def test_a_margin_keeps_its_sign_and_three_digits(value, unit, text):
    assert quantity(value, unit) == text


def test_time_shows_every_tick_apart(make_result):
    record = make_result("calm").record
    assert at(record, 7) == "0.07 s"
    assert at(record, 123456) == "1234.56 s"


def test_tightest_is_the_smallest_number_and_skips_what_has_none(nominal, short):
    assert tightest(nominal.record).requirement == "soft_touchdown"
    assert tightest(short.record).margin == -3.1


def test_a_count_with_nothing_to_spare_is_no_news_unless_it_broke(make_result, nominal):
    once = Verdict("fires once", "met", 0.0, "1", 5, 5, "")
    twice = Verdict("fires once", "broken", -1.0, "1", 5, 9, "")
    both = nominal.record.verdicts
    assert tightest(make_result("a", [once, *both]).record).requirement == "soft_touchdown"
    assert tightest(make_result("a", [once]).record) is None
    assert tightest(make_result("a", [twice, *both]).record).requirement == "fires once"


def test_no_margin_at_all(make_result):
    unused = Verdict("r", "not exercised", None, "s", None, None, "")
    assert tightest(make_result("calm", [unused]).record) is None


def test_status_stands_for_the_worst(nominal, short, failed):
    assert count([nominal]).status == 0
    assert count([nominal, short]).status == 1
    assert count([nominal, short, failed]).status == 2
    assert count([nominal, short, failed]).all == 3


def test_hashes_are_listed_while_they_are_few(make_result):
    flights = [
        make_result(f"s{i}", hashes={"vehicle": "ab" * 8, "scenario": f"{i}" * 16})
        for i in range(4)
    ]
    assert about(flights) == [("scenario", "(4 different)"), ("vehicle", "abababab")]
    assert about(flights[:2]) == [("scenario", "00000000, 11111111"), ("vehicle", "abababab")]
