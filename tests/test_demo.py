"""The demo: every scenario comes out as it says, on the loop and in the batch kernel alike."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from alike import assert_same

import sequencer
from sequencer.flight import find_scenarios
from sequencer.flight.batch import fly_compiled
from sequencer.flight.batch.plan import batch_of
from sequencer.scenario.coverage import coverage
from sequencer.scenario.model import Recording
from sequencer.studies.baselines import compare_record, kept_for, without_scenario

DEMO = Path(__file__).parents[1] / "scenarios"
SCENARIOS = find_scenarios([DEMO])

#: a scenario as loaded; several tests look at all of them
load = cache(sequencer.load)


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.name.split(".")[0])
def test_a_scenario_comes_out_as_it_says(path: Path) -> None:
    loaded = load(path)
    record = loaded.fly()
    assert [shortfall.what for shortfall in loaded.shortfalls(record)] == []
    is_log = isinstance(loaded.scenario.source, Recording)
    assert (batch_of(loaded.scenario) is None) == is_log
    if not is_log:
        assert_same(fly_compiled(loaded.scenario), record)
    (kept,) = kept_for([path])
    if kept.exists:  # meant? drycount baseline accept scenarios/NAME.scenario.toml
        changes = compare_record(kept, record).changes
        assert [change.sentence for change in changes] == []


def test_the_timelines_are_those_of_scenarios() -> None:
    assert sum(kept.exists for kept in kept_for(SCENARIOS)) == 6
    assert without_scenario([DEMO]) == []


def test_the_timeline_in_the_docs_is_true() -> None:
    page = (DEMO.parent / "docs/baselines.md").read_text(encoding="utf-8")
    shown = page.split("<!-- timeline: calm_landing -->")[1].split("```")[1].split("\n")
    kept = (DEMO / "timelines/calm_landing.timeline").read_text(encoding="utf-8").split("\n")
    assert {line for line in shown if not line.startswith("about")} <= set(kept)


def test_no_cell_that_matters_is_empty() -> None:
    found = coverage(SCENARIOS, [DEMO / "sandpiper.cells.toml"])
    assert [f"{one.cell.fault} {one.cell.phase}" for one in found.missing] == []


def test_what_is_expected_to_break_is_more_than_one_requirement() -> None:
    """A set in which nothing ever breaks would not show that the requirements can."""
    broken = {name for path in SCENARIOS for name in load(path).scenario.expect.breaks}
    assert len(broken) >= 8


def test_every_requirement_is_exercised_by_some_flight() -> None:
    """One that is never exercised proves nothing."""
    met = set()
    names: set[str] = set()
    flights = ("calm_landing", "planned_recovery", "rangefinder_silent", "abort_button")
    for name in (*flights, "safe_plug_left_in", "ground_test", "motor_weak_in_ascent"):
        record = load(DEMO / f"{name}.scenario.toml").fly()
        names = {verdict.requirement for verdict in record.verdicts}
        met |= {v.requirement for v in record.verdicts if v.status == "met"}
    assert names - met == set()


def test_what_must_hold_in_every_flight_is_asked_in_every_flight() -> None:
    common = {rule.name for rule in load(SCENARIOS[0]).scenario.requirements}
    assert len(common) > 40
    for path in SCENARIOS:
        scenario = load(path).scenario
        if not isinstance(scenario.source, Recording):  # nothing but inputs in a log
            assert common <= {rule.name for rule in scenario.requirements}


def test_the_screen_in_the_readme_is_true() -> None:
    screen = (DEMO.parent / "README.md").read_text(encoding="utf-8").split("<!-- screen:")[1]
    shown = find_scenarios([DEMO], keyword="landing")
    assert f"{len(shown)} flights: {len(shown)} as expected" in screen
    for path in shown:
        scenario = load(path).scenario
        row = next(line for line in screen.splitlines() if f" {scenario.name} " in line)
        assert f" {scenario.expect.outcome} " in row
