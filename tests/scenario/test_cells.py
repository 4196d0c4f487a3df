"""The table "fault by phase": every kind has a row, and every bad word is one line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from sequencer.errors import InputError, UsageError
from sequencer.scenario import load_scenario
from sequencer.scenario.cells import GROUPS, PHASES, WITHOUT_FAULT, Cell, row_groups
from sequencer.scenario.computer_faults import COMPUTER_FAULTS
from sequencer.scenario.coverage import coverage, find_cells, load_cells
from sequencer.world.faults import FAULTS

PAGE = (Path(__file__).parents[2] / "docs" / "scenarios.md").read_text(encoding="utf-8")

SCENARIO = """\
[scenario]
extends = "calm_landing.scenario.toml"
title = "made for a test"
reason = "one change"
covers = {covers}

[[faults]]
name = "beside"
kind = "igniter_beside"
place = "igniter_A2"
at_s = 0.0

[expect]
outcome = "landed"
"""
ONE = '{ fault = "igniter_beside", phase = "ignition" }'
TWO = '{ fault = "igniter_beside", phase = "abort" }'


def scenario(folder: Path, covers: str, name: str = "tried") -> Path:
    path = folder / f"{name}.scenario.toml"
    path.write_text(SCENARIO.replace("{covers}", covers), encoding="utf-8")
    return path


def cells(folder: Path, text: str) -> Path:
    path = folder / "mine.cells.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_every_kind_of_fault_has_one_row() -> None:
    groups = row_groups()
    assert tuple(groups) == GROUPS
    assert all(groups.values())
    rows = [kind for kinds in groups.values() for kind in kinds]
    assert sorted(rows) == sorted([*FAULTS, *COMPUTER_FAULTS, *WITHOUT_FAULT])
    assert groups["battery"] == [kind for kind in FAULTS if kind.startswith("battery_")]
    assert "hold_down_stuck" in groups["pad"]
    assert "link_lost" in groups["link"]
    assert "reboot" in groups["computer"]


@pytest.mark.parametrize("phase", PHASES)
def test_every_phase_is_on_the_page(phase: str) -> None:
    assert f"| `{phase}` | {PHASES[phase][1]} |" in PAGE
    assert len(PHASES[phase][0]) == 3


@pytest.mark.parametrize("word", WITHOUT_FAULT)
def test_every_word_without_a_fault_is_on_the_page(word: str) -> None:
    assert f"`{word}`" in PAGE


def test_one_cell_or_several(folder: Path) -> None:
    beside, late = Cell("igniter_beside", "ignition"), Cell("igniter_beside", "abort")
    assert load_scenario(scenario(folder, ONE)).covers == (beside,)
    assert load_scenario(scenario(folder, f"[{ONE}, {TWO}]")).covers == (beside, late)
    assert load_scenario(scenario(folder, '{ fault = "crew", phase = "any" }')).covers == (
        Cell("crew", "any"),
    )


#: covers, and what is said of it; all on line 5
BAD_COVERS = [
    (
        '{ fault = "igniter_besid", phase = "ignition" }',
        "unknown kind of fault 'igniter_besid'; did you mean 'igniter_beside'?",
    ),
    (
        '{ fault = "gremlins", phase = "ignition" }',
        "unknown kind of fault 'gremlins' (without a fault: none, crew, weather, wiring, replay)",
    ),
    (
        '{ fault = "wether", phase = "ignition" }',
        "unknown kind of fault 'wether'; did you mean 'weather'?",
    ),
    (
        '{ fault = "igniter_beside", phase = "landing" }',
        "unknown phase 'landing'; did you mean 'landing_burn'?",
    ),
    (
        '{ fault = "igniter_beside", phase = "xyzzy" }',
        (
            "unknown phase 'xyzzy' (known: arming, countdown, ignition, abort, ascent, coast, "
            "staging, deploy, descent, landing_burn, recovery, touchdown, any)"
        ),
    ),
    (
        '{ fault = "igniter_late", phase = "ignition" }',
        (
            "covers 'igniter_late', but no such fault is planned in [[faults]]; did you mean "
            "'igniter_beside'?"
        ),
    ),
    (f"[{ONE}, {ONE}]", "'igniter_beside' in 'ignition' stands here twice"),
    ('{ fault = "igniter_beside" }', "'phase' is missing in [scenario.covers]"),
    (
        '{ fault = "igniter_beside", fase = "ignition" }',
        "unknown key 'fase' in [scenario.covers]; did you mean 'phase'?",
    ),
    ("[]", "'scenario.covers' must not be empty"),
    (f'[{ONE}, {{ fault = "crew" }}]', "'phase' is missing in [scenario.covers[2]]"),
    ('{ fault = 3, phase = "any" }', "'scenario.covers.fault' must be text, not 3"),
    ('"crew"', "'scenario.covers' must be a table, not 'crew'"),
]


@pytest.mark.parametrize(("covers", "said"), BAD_COVERS)
def test_bad_covers(folder: Path, covers: str, said: str) -> None:
    path = scenario(folder, covers)
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    assert str(caught.value) == f"{path}:5: {said}"


GOOD = '[[cells]]\nfaults = ["crew", "reboot"]\nphases = ["any"]\nreason = "why"\n'

#: what is replaced, by what, the line of the error, and what it says
BAD_CELLS = [
    ('"crew"', '"creww"', 2, "unknown kind of fault 'creww'; did you mean 'crew'?"),
    (
        '["any"]',
        '["landing_brun"]',
        3,
        "unknown phase 'landing_brun'; did you mean 'landing_burn'?",
    ),
    ('"crew"', '"reboot"', 2, "'reboot' in 'any' is here twice"),
    ('reason = "why"\n', "", 1, "'reason' is missing in [cells[1]]"),
    ("reason", "raeson", 4, "unknown key 'raeson' in [cells[1]]; did you mean 'reason'?"),
    ('["any"]', "[]", 3, "'cells[1].phases' must not be empty"),
    ('["any"]', '"any"', 3, "'cells[1].phases' must be a list, not 'any'"),
    ("[[cells]]", "[[cell]]", 1, "unknown key 'cell'; did you mean 'cells'?"),
    ("[[cells]]", "[cells]", 1, "'cells' must be a list, not a table"),
]


@pytest.mark.parametrize(("old", "new", "line", "said"), BAD_CELLS)
def test_bad_cells(tmp_path: Path, old: str, new: str, line: int, said: str) -> None:
    path = cells(tmp_path, GOOD.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        load_cells(path)
    assert str(caught.value) == f"{path}:{line}: {said}"


def test_two_tables_about_one_cell(tmp_path: Path) -> None:
    path = cells(tmp_path, GOOD + GOOD.replace('"crew", ', ""))
    with pytest.raises(InputError, match=r":6: 'reboot' in 'any' is here twice"):
        load_cells(path)


def test_what_is_missing(folder: Path) -> None:
    given = [scenario(folder, f"[{ONE}, {TWO}]", "a"), scenario(folder, ONE, "b")]
    wanted = cells(
        folder,
        '[[cells]]\nfaults = ["igniter_beside"]\nphases = ["any", "ignition", "ascent"]\n'
        'reason = "why"\n[[cells]]\nfaults = ["crew"]\nphases = ["any"]\nreason = "so"\n',
    )
    found = coverage(given, [wanted])
    assert found.scenarios == 2
    assert found.by(Cell("igniter_beside", "ignition")) == ("a", "b")
    assert found.by(Cell("igniter_beside", "abort")) == ("a",)
    assert found.by(Cell("igniter_beside", "any")) == ("a", "b")
    assert [(one.cell.fault, one.cell.phase, one.reason) for one in found.missing] == [
        ("igniter_beside", "ascent", "why"),
        ("crew", "any", "so"),
    ]
    assert coverage(given).missing == ()


def test_where_cells_are_looked_for(folder: Path) -> None:
    demo, calm = folder / "sandpiper.cells.toml", folder / "calm_landing.scenario.toml"
    assert find_cells([folder]) == ([demo], [folder])
    assert find_cells([calm]) == ([], [calm])
    assert find_cells([demo, calm]) == ([demo], [calm])
    assert find_cells([folder, demo]) == ([demo], [folder])
    with pytest.raises(UsageError, match=re.escape("no scenario, and no folder with scenarios")):
        find_cells([demo])
