"""Every verdict says in one sentence where, from when to when, and by how much."""

from __future__ import annotations

from math import nan

import pytest
from making_records import record, verdict

TILT = [5.0] * 20 + [21.0, 23.5, 22.0] + [5.0] * 7 + [20.5] + [5.0] * 9
BETWEEN = {"between": ["liftoff", "burnout A1"]}

CASES = {
    "absence": (
        "33 liftoff, 52 fired flight.chute, 80 burnout A1",
        {"pattern": "absence", "event": "fired flight.chute", "scope": BETWEEN},
        ("'fired flight.chute' came at 5.20 s, 1.9 s inside, but must not come between 'liftoff' "
        "(3.30 s) and 'burnout A1' (8.00 s)"),
    ),
    "absence, always": (
        "33 liftoff, 52 fired flight.chute, 53 fired flight.chute, 54 fired flight.chute",
        {"pattern": "absence", "event": "fired flight.chute"},
        ("'fired flight.chute' came at 5.20 s, but must not come in the whole flight "
        "(and 2 more times)"),
    ),
    "existence": (
        "33 liftoff, 80 burnout A1, 83 separated",
        {"pattern": "existence", "event": "separated", "scope": BETWEEN},
        ("'separated' did not come between 'liftoff' (3.30 s) and 'burnout A1' (8.00 s); the "
        "nearest was 'separated' (8.30 s), 0.3 s too late"),
    ),
    "existence, never": (
        "33 liftoff, 99 ended flight",
        {"pattern": "existence", "event": ["separated", "opened *"], "scope": {"after": "liftoff"}},
        "'separated' or 'opened *' never came, but must come after 'liftoff' (3.30 s)",
    ),
    "bounded": (
        "3 fired f.chute, 5 fired f.chute, 9 fired f.chute",
        {"pattern": "bounded_existence", "event": "fired f.chute", "at_most": 1},
        ("'fired f.chute' came 3 times in the whole flight; at most 1 allowed, one too many "
        "at 0.50 s"),
    ),
    "bounded, too few": (
        "3 lit A1, 90 touchdown",
        {"pattern": "bounded_existence", "event": "lit *", "at_least": 2,
         "scope": {"before": "touchdown"}},
        "'lit *' came once before 'touchdown' (9.00 s); at least 2 needed",
    ),
    "universality": (
        "15 liftoff, 35 burnout A1",
        {"pattern": "universality", "condition": "tilt_deg < 20", "scope": BETWEEN},
        ("tilt_deg < 20 failed from 2.00 s to 2.20 s (and once more), worst at 2.10 s by 3.5 deg "
        "(tilt_deg = 23.5); it must hold between 'liftoff' (1.50 s) and 'burnout A1' (3.50 s)"),
    ),
    "absence of a condition": (
        "",
        {"pattern": "absence", "condition": "tilt_deg > 23", "within_s": [1, 2.5]},
        ("tilt_deg > 23 held at 2.10 s, worst at 2.10 s by 0.5 deg (tilt_deg = 23.5); it must not "
        "hold from 1 s to 2.5 s after the start"),
    ),
    "precedence": (
        "20 fired pad.horn, 41 lit A1",
        {"pattern": "precedence", "event": "lit *", "only_after": "fired pad.horn",
         "within_s": [3, 30]},
        ("'fired pad.horn' (2.00 s) came 0.9 s too late for 'lit A1' (4.10 s); it must come from "
        "3 s to 30 s before it"),
    ),
    "precedence, never": (
        "41 lit A1, 42 lit A2",
        {"pattern": "precedence", "event": "lit *", "only_after": "fired pad.horn"},
        ("'lit A1' (4.10 s) came, but 'fired pad.horn' never did; it must come before it "
        "(and once more)"),
    ),
    "precedence of a condition": (
        "21 fired f.landing",
        {"pattern": "precedence", "event": "fired f.landing", "within_s": [0, 0],
         "only_after_condition": "tilt_deg < 20"},
        "tilt_deg < 20 did not hold at 'fired f.landing' (2.10 s), 3.5 deg short",
    ),
    "response": (
        "33 apogee, 56 fired f.chute",
        {"pattern": "response", "when": "apogee", "then": "fired f.chute", "within_s": [0, 2]},
        ("'fired f.chute' (5.60 s) came 0.3 s too late; it must come within 2 s after 'apogee' "
        "(3.30 s)"),
    ),
    "response, too early": (
        "33 apogee, 36 fired f.chute",
        {"pattern": "response", "when": "apogee", "then": "fired f.chute", "within_s": [1, 2]},
        ("'fired f.chute' (3.60 s) came 0.7 s too early; it must come from 1 s to 2 s after "
        "'apogee' (3.30 s)"),
    ),
    "response, never": (
        "33 apogee",
        {"pattern": "response", "when": "apogee", "then": "fired f.chute", "within_s": [0, 2]},
        "'fired f.chute' never came within 2 s after 'apogee' (3.30 s)",
    ),
    "response of a condition": (
        "20 apogee",
        {"pattern": "response", "when": "apogee", "then_condition": "tilt_deg < 20",
         "within_s": [0, 0.2]},
        "tilt_deg < 20 did not hold within 0.2 s after 'apogee' (2.00 s), 1 deg short",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_broken(case):
    events, keys, expected = CASES[case]
    flown = record(events, tilt_deg=TILT) if "tilt" in expected else record(events)
    found = verdict(flown, **keys)
    assert found.status == "broken"
    assert found.because == expected
    assert found.start is not None
    assert found.start <= found.end


OPEN = {
    "not exercised": (
        "33 liftoff",
        {"pattern": "response", "when": "apogee", "then": "touchdown"},
        "'apogee' never came inside the scope, so there was nothing to judge",
    ),
    "scope not exercised": (
        "33 liftoff",
        {"pattern": "absence", "event": "touchdown", "scope": {"after": "apogee"}},
        "'apogee' never came, so there was nothing to judge",
    ),
    "awaited": (
        "93 apogee",
        {"pattern": "response", "when": "apogee", "then": "touchdown", "within_s": [0, 2]},
        (
            "the record ended at 9.90 s with 'touchdown' still awaited within 2 s after 'apogee' "
            "(9.30 s)"
        ),
    ),
    "scope still open": (
        "33 liftoff",
        {"pattern": "absence", "event": "apogee", "scope": BETWEEN},
        "the record ended at 9.90 s before 'burnout A1' came",
    ),
    "existence": (
        "33 liftoff",
        {"pattern": "existence", "event": "apogee", "scope": {"after": "liftoff"}},
        "the record ended at 9.90 s before 'apogee' came after 'liftoff' (3.30 s)",
    ),
    "a value is missing": (
        "",
        {"pattern": "universality", "condition": "tilt_deg < 20"},
        (
            "tilt_deg < 20 is asked in the whole flight, but a value is missing from 0.20 s to "
            "0.30 s (tilt_deg = no value)"
        ),
    ),
}


@pytest.mark.parametrize("case", OPEN)
def test_open(case):
    events, keys, expected = OPEN[case]
    flown = record(events, tilt_deg=[1, 1, nan, nan, 1]) if "tilt" in expected else record(events)
    found = verdict(flown, **keys)
    assert found.status in {"not exercised", "not decided"}
    assert (found.because, found.margin) == (expected, None)


MET = {
    "absence": (
        "33 liftoff, 31 fired f.chute, 80 burnout A1",
        {"pattern": "absence", "event": "fired f.chute", "scope": BETWEEN},
        (
            "'fired f.chute' did not come between 'liftoff' (3.30 s) and 'burnout A1' (8.00 s); "
            "the nearest was 'fired f.chute' (3.10 s), 0.2 s outside"
        ),
    ),
    "response": (
        "33 apogee, 48 fired f.chute",
        {"pattern": "response", "when": "apogee", "then": "fired f.chute", "within_s": [0, 2]},
        "'fired f.chute' (4.80 s) came after 'apogee' (3.30 s), 0.5 s to spare",
    ),
    "universality": (
        "",
        {"pattern": "universality", "condition": "tilt_deg < 25"},
        (
            "tilt_deg < 25 held in the whole flight; nearest at 2.10 s, 1.5 deg to spare "
            "(tilt_deg = 23.5)"
        ),
    ),
    "bounded": (
        "3 deployed a, 5 deployed b",
        {"pattern": "bounded_existence", "event": "deployed *", "at_least": 1, "at_most": 3},
        "'deployed *' came twice in the whole flight, 1 to 3 allowed",
    ),
}


@pytest.mark.parametrize("case", MET)
def test_met(case):
    events, keys, expected = MET[case]
    flown = record(events, tilt_deg=TILT) if "tilt" in expected else record(events)
    found = verdict(flown, **keys)
    assert found.status == "met"
    assert found.because == expected


def test_a_verdict_carries_the_reason_of_its_requirement():
    found = verdict(record(""), pattern="absence", event="apogee", reason="it is a pad test")
    assert found.reason == "it is a pad test"
    assert found.requirement == "it"
