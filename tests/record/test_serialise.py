"""The JSON form of a record: equal records give equal bytes, numbers read back as they were."""

from __future__ import annotations

import json
from math import inf, nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.record import Event, FlightRecord, Signal, Verdict, record_to_dict, to_json


def made(**changes):
    keys = {
        "scenario": "nominal",
        "rate_hz": 100,
        "ticks": 3,
        "events": (Event(0, "booted", "flight", "ü"), Event(2, "liftoff")),
        "signals": {
            "tilt_deg": Signal("tilt_deg", "deg", np.array([0.1, nan, -inf])),
            "height_m": Signal("height_m", "m", np.array([0.0, 1 / 3, 1e-300])),
        },
        "outcome": "landed",
        "facts": {"touchdown_speed_m_s": np.float64(0.7), "apogee_m": 178.25},
        "hashes": {"vehicle": "ab", "flight": "cd"},
        "verdicts": (
            Verdict("upright", "met", inf, "deg", None, None, "fine", "because"),
            Verdict("late", "not decided", None, "s", np.int64(1), 2, "cut"),
        ),
    }
    return FlightRecord(**{**keys, **changes})


def test_whole_form():
    assert to_json(made(), signals=True) == (
        '{"format":1,"scenario":"nominal","rate_hz":100,"ticks":3,"outcome":"landed",'
        '"facts":{"apogee_m":178.25,"touchdown_speed_m_s":0.7},'
        '"hashes":{"flight":"cd","vehicle":"ab"},'
        '"events":[[0,"booted","flight","ü"],[2,"liftoff","",""]],'
        '"verdicts":[{"requirement":"upright","status":"met","margin":"inf","unit":"deg",'
        '"start":null,"end":null,"because":"fine","reason":"because"},'
        '{"requirement":"late","status":"not decided","margin":null,"unit":"s",'
        '"start":1,"end":2,"because":"cut","reason":""}],"divergences":[],'
        '"signals":{"height_m":{"unit":"m","values":[0.0,0.3333333333333333,1e-300]},'
        '"tilt_deg":{"unit":"deg","values":[0.1,"nan","-inf"]}}}\n'
    )


def test_signals_are_left_out_unless_asked_for():
    assert "signals" not in record_to_dict(made())
    assert set(record_to_dict(made(), signals=True)["signals"]) == {"height_m", "tilt_deg"}


def test_order_of_mappings_does_not_count():
    one = made()
    turned = made(
        facts=dict(reversed(one.facts.items())),
        hashes=dict(reversed(one.hashes.items())),
        signals=dict(reversed(one.signals.items())),
    )
    assert to_json(one, signals=True) == to_json(turned, signals=True)


@pytest.mark.parametrize(
    "change",
    [
        {"ticks": 4},
        {"outcome": "crashed"},
        {"facts": {"apogee_m": np.nextafter(178.25, 200)}},
        {"events": (Event(2, "liftoff"), Event(0, "booted", "flight", "ü"))},
        {"verdicts": ()},
    ],
)
def test_every_difference_shows(change):
    assert to_json(made(**change)) != to_json(made())


@given(st.lists(st.floats(), max_size=20))
def test_numbers_read_back_bit_for_bit(values):
    flown = made(signals={"x_m": Signal("x_m", "m", np.array(values, dtype=float))})
    read = json.loads(to_json(flown, signals=True))["signals"]["x_m"]["values"]
    back = np.array([float(value) for value in read])
    same = np.array(values, dtype=float)
    same[np.isnan(same)] = nan  # the sign and the payload of a NaN mean nothing
    assert back.tobytes() == same.tobytes() or (
        np.array_equal(back, same, equal_nan=True)
        and np.array_equal(np.signbit(back[back == 0]), np.signbit(same[same == 0]))
    )
