"""Which signals a requirement reads, and verdicts that do not say why."""

from __future__ import annotations

from dataclasses import replace

import pytest
from making_records import record, requirement

from sequencer.checks import judge


@pytest.mark.parametrize(
    ("keys", "names"),
    [
        ({"pattern": "absence", "event": "liftoff"}, set()),
        ({"pattern": "existence", "event": ["liftoff", "becomes height_m > 3"]}, {"height_m"}),
        ({"pattern": "universality", "condition": "tilt_deg < 20 or a"}, {"tilt_deg", "a"}),
        ({"pattern": "exactly_one", "of": ["a", "b and not c"]}, {"a", "b", "c"}),
        (
            {
                "pattern": "response",
                "when_condition": "a",
                "then_condition": "low_m < 2",
                "scope": {"after": "becomes b", "until": "becomes speed_m_s > 1"},
            },
            {"a", "low_m", "b", "speed_m_s"},
        ),
        (
            {"pattern": "precedence", "event": "becomes c", "only_after": "becomes tilt_deg > 3"},
            {"c", "tilt_deg"},
        ),
        ({"pattern": "bounded_existence", "event": "becomes a", "at_most": 2}, {"a"}),
    ],
)
def test_of_every_pattern(keys, names):
    assert requirement(**keys).signals == names


def test_without_sentences_all_else_is_the_same():
    flown = record("3 liftoff, 7 touchdown", height_m=[1, 2, 9, 4, 5, 6, 7, 8])
    asked = [
        requirement(pattern="universality", condition="height_m < 8.5"),
        requirement(pattern="response", when="liftoff", then="touchdown", within_s=[0, 1]),
        requirement(pattern="absence", event="apogee"),
    ]
    told = judge(flown, asked)
    assert all(verdict.because for verdict in told)
    silent = tuple(replace(verdict, because="") for verdict in told)
    assert judge(flown, asked, sentences=False) == silent


def test_a_stretch_that_begins_after_the_last_sample_cannot_be_told():
    """What the world does in its last step is noted one tick ahead of the samples."""
    flown = record("4 touchdown", height_m=[1, 2, 3, 4])
    asked = requirement(
        pattern="response",
        when="touchdown",
        then_condition="height_m < 9",
        within_s=[0, 0],
        scope={"after": "touchdown"},
    )
    assert judge(flown, [asked])[0].status == "not decided"
