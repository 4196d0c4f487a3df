"""The page of what scenarios exercised, and the same as JSON."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from small_logic import flown, written

from sequencer.report.json_report import as_json
from sequencer.report.reach import as_dict, print_reach
from sequencer.scenario.cells import Cell
from sequencer.scenario.coverage import Coverage, Wanted
from sequencer.studies.reach import reach

UP, TILTED = {"height": 60.0}, {"tilt": 40.0}
FAULTS = Coverage(
    {Cell("igniter_open", "ignition"): ("tilts",)},
    (
        Wanted(Cell("igniter_open", "ignition"), "told too late"),
        Wanted(Cell("gyro_lost", "ascent"), "it flies blind"),
    ),
    1,
)


@pytest.fixture
def results(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = written(Path())
    return [
        flown(path, "tilts", {}, UP, TILTED, TILTED),
        flown(path, "stays", {}, {"height": 20.0}, {"key": 0.0}),
    ]


def test_the_page_in_a_pipe(results, page):
    out, text = page()
    print_reach(reach(results), FAULTS, out)
    assert text() == (
        """
what 2 scenarios exercised

flight: flight.sequence.toml, in 2 scenarios
  states      3 of 4 entered
  exits       2 of 4 taken
  functions   1 of 2 on or moved
  inhibits    0 of 1 held something back
  decisions   1 of 6 conditions of exits shown to decide (16 %); 1 more cannot be shown
  decisions   1 of 1 conditions of inhibits shown to decide (100 %)
  nothing could ever show that `height > low` alone decides exit 'high up'
  to fly
  50  no scenario enters coast: fly one that takes exit 'parted' of staging
  40  no scenario shows that `baro_ok` alone decides exit 'tilt_abort' of staging: fly one in \
which tilt is above 25 deg (tilt_max) but baro_ok is false, while in staging
  40  no scenario shows that `tilt > tilt_max` alone decides exit 'tilt_abort' of staging: fly one \
in which baro_ok is true but tilt stays at or below 25 deg (tilt_max), while in staging
  45  no scenario takes exit 'parted' of staging: fly one in which parted is true, while in staging
  57  no scenario takes exit 'again' of abort: fly one in which out is false, while in abort
      in no scenario does inhibit key_out hold anything back: fly one in which chute or nose is \
commanded, or on, while key is false

requirements  0 of 1 put to the test
  no scenario puts requirement 'chute_in_time' to the test: 'fired chute' never came
faults        1 of 2 cells that matter covered (fault by phase), but not:
  gyro_lost in ascent: it flies blind

3 of 4 states, 2 of 4 exits, 2 of 7 conditions (28 %) shown to decide
"""
    )


def test_without_a_solver_the_page_says_so(results, page, monkeypatch):
    monkeypatch.setattr("sequencer.report.reach.has_solver", lambda: False)
    out, text = page()
    print_reach(reach(results), FAULTS, out)
    assert text().splitlines()[-2] == (
        "what nothing could ever show was not asked of a solver: "
        "z3 is not installed (the extra 'solve' has it)"
    )


def test_what_can_never_hold_anything_back_is_no_part_of_the_count(results, page):
    found = reach(results)
    (one,) = found.sequences
    locked = replace(one, second_locks=frozenset(one.sequence.inhibits))
    out, text = page()
    print_reach(replace(found, sequences=(locked,)), FAULTS, out)
    assert "  inhibits    0 of 0 held something back; 1 more can never be the one" in text()


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_is_longer_than_the_terminal(width, results, page):
    out, text = page(width)
    print_reach(reach(results), FAULTS, out, everything=True)
    assert max(map(len, text().splitlines())) <= width
    assert "pad: tilts, stays" in text()


def test_json_says_where_a_pair_was_seen(results):
    data = json.loads(as_json(results, as_dict(reach(results), FAULTS)))["coverage"]
    (sequence,) = data["sequences"]
    assert sequence["states"]["staging"] == ["tilts"]
    assert sequence["to_fly"][0]["kind"] == "state"
    assert sequence["to_fly"][0]["line"] == 50
    (high_up,) = (one for one in sequence["decisions"] if one["name"] == "high up")
    low, high = high_up["conditions"]
    assert low["cannot_be_shown"]
    assert high["unique_cause"] == {
        "yes": {"conditions": [True, True], "scenario": "tilts", "at_s": 0.1},
        "no": {"conditions": [True, False], "scenario": "stays", "at_s": 0.1},
    }
    assert data["requirements"] == {"chute_in_time": []}
    assert data["faults"]["missing"][0]["fault"] == "gyro_lost"


def test_results_alone_say_nothing_of_coverage(results):
    assert "coverage" not in json.loads(as_json(results))
