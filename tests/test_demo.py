"""The demo: every scenario comes out as it says, and none stands there without a reason."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

import sequencer
from sequencer.flight import find_scenarios

DEMO = Path(__file__).parents[1] / "scenarios"
SCENARIOS = find_scenarios([DEMO])


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.name.split(".")[0])
def test_a_scenario_comes_out_as_it_says(path: Path) -> None:
    loaded = sequencer.load(path)
    record = loaded.fly()
    assert [shortfall.what for shortfall in loaded.shortfalls(record)] == []


def test_each_covers_a_fault_in_a_phase_that_no_other_covers() -> None:
    cells = Counter(sequencer.load(path).scenario.covers for path in SCENARIOS)
    assert [cell for cell, count in cells.items() if count > 1] == []


def test_what_is_expected_to_break_is_more_than_one_requirement() -> None:
    """A set in which nothing ever breaks would not show that the requirements can."""
    broken = {name for path in SCENARIOS for name in sequencer.load(path).scenario.expect.breaks}
    assert len(broken) >= 8


def test_every_requirement_is_exercised_by_some_flight() -> None:
    """One that is never exercised proves nothing."""
    met = set()
    names: set[str] = set()
    for name in ("calm_landing", "planned_recovery", "rangefinder_silent"):
        record = sequencer.load(DEMO / f"{name}.scenario.toml").fly()
        names = {verdict.requirement for verdict in record.verdicts}
        met |= {v.requirement for v in record.verdicts if v.status == "met"}
    assert names - met == set()


def test_the_screen_in_the_readme_is_true() -> None:
    screen = (DEMO.parent / "README.md").read_text(encoding="utf-8").split("<!-- screen:")[1]
    shown = find_scenarios([DEMO], keyword="landing")
    assert f"{len(shown)} flights: {len(shown)} as expected" in screen
    for path in shown:
        scenario = sequencer.load(path).scenario
        row = next(line for line in screen.splitlines() if f" {scenario.name} " in line)
        assert f" {scenario.expect.outcome} " in row
