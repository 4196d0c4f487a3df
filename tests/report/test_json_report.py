from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from sequencer.record import Signal
from sequencer.report.json_report import FORMAT, as_json
from sequencer.world.margins import Margin


def test_the_same_results_give_the_same_bytes(nominal, short, failed):
    assert as_json([nominal, short, failed]) == as_json([nominal, short, failed])


def test_what_a_program_finds_in_it(nominal, short, failed):
    document = json.loads(as_json([nominal, short, failed]), parse_constant=pytest.fail)
    assert document["format"] == FORMAT
    assert document["total"] == {"flights": 3, "as_expected": 1, "fell_short": 1, "not_flown": 1}
    calm, wrong, gone = document["results"]
    assert calm["file"] == "scenarios/calm.scenario.toml"
    assert calm["as_expected"] is True
    assert calm["flight"]["facts"] == {"apogee_m": 178.25, "nearest_m": "inf"}
    assert calm["flight"]["verdicts"][2]["margin"] == 0.4236
    assert wrong["shortfalls"][0]["requirement"] == "soft_touchdown"
    assert wrong["shortfalls"][0]["first_wrong"] == [903, "blocked", "flight.landing_1", "key_out"]
    assert wrong["shortfalls"][1]["first_wrong"] is None
    assert gone["flight"] is None
    assert gone["error"] == "scenarios/gone.scenario.toml: no such file"


def test_a_signal_is_told_apart_to_the_last_bit(nominal):
    before = json.loads(as_json([nominal]))["results"][0]["flight"]["signals"]["height_m"]
    assert (before["unit"], before["least"], before["greatest"]) == ("m", 0.0, 3.25)
    values = nominal.record["height_m"].copy()
    values[1] = np.nextafter(values[1], 2.0)
    nominal.record.signals["height_m"] = Signal("height_m", "m", values)
    after = json.loads(as_json([nominal]))["results"][0]["flight"]["signals"]["height_m"]
    assert after["sha256"] != before["sha256"]


def test_a_signal_without_any_value_has_no_extremes(nominal):
    nominal.record.signals["range_m"] = Signal("range_m", "m", np.full(3, np.nan))
    found = json.loads(as_json([nominal]))["results"][0]["flight"]["signals"]["range_m"]
    assert (found["least"], found["greatest"]) == (None, None)


def test_margins_of_the_circuits(nominal):
    margin = Margin("L", "pad.P1", "lights", 4.5, 11.2, 3.5, 10.1, 3, 0.7, None, 0.001)
    found = json.loads(as_json([replace(nominal, margins=(margin,))]))["results"][0]["margins"]
    assert [(row["load"], row["firing_ratio"], row["test_share"]) for row in found] == [
        ("L", 5.0, None)
    ]
    assert found[0]["together_v"] == 10.1


def test_it_is_ascii_and_ends_in_a_newline(make_result):
    text = as_json([make_result("brise légère")])
    assert text.isascii()
    assert text.endswith("}\n")
    assert json.loads(text)["results"][0]["scenario"] == "brise légère"
