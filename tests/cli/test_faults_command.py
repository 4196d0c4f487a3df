"""`drycount faults`: the table, what is missing, and the exit status."""

from __future__ import annotations

import io
import json
import shutil

import pytest
from rich.console import Console

from sequencer.cli.main import main
from sequencer.report.coverage import print_coverage
from sequencer.scenario.cells import PHASES, row_groups
from sequencer.scenario.coverage import coverage
from sequencer.scenario.starter import demo_folder, start_project

SHOWN = ("calm_landing", "scrub", "igniter_late", "hold_and_recycle")
CELLS = """\
[[cells]]
faults = ["igniter_late"]
phases = ["ignition", "landing_burn", "ascent"]
reason = "thrust that comes after the decision about it"

[[cells]]
faults = ["crew"]
phases = ["countdown"]
reason = "people call it off"
"""


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "mine"
    made.mkdir()
    for name in SHOWN:
        shutil.copy(demo_folder() / f"{name}.scenario.toml", made)
    (made / "mine.cells.toml").write_text(CELLS)
    return made


def shown(folder, width):
    page = io.StringIO()
    found = coverage(sorted(folder.glob("*.scenario.toml")), folder.glob("*.cells.toml"))
    print_coverage(found, Console(file=page, width=width, force_terminal=True, color_system=None))
    return page.getvalue()


def test_what_is_missing_comes_first_and_is_status_1(folder, capsys):
    assert main(["faults", str(folder)]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines[:3] == [
        "2 cells of 4 that matter empty",
        "  igniter_late in landing_burn, ascent: thrust that comes after the decision about it",
        "",
    ]
    assert lines[-1] == f"4 scenarios: 3 of {rows()} rows covered, 2 of 4 cells that matter empty"
    (late,) = [line for line in lines if line.startswith("igniter_late   ") and "." in line]
    assert late.replace("!!", "?").split() == ["igniter_late", *"..1.?....?..."]
    assert "crew                  arming        scrub" in lines
    assert f"{'':22}countdown     hold_and_recycle, scrub" in lines


def rows():
    return sum(map(len, row_groups().values()))


def test_nothing_missing_is_status_0(folder, capsys):
    (folder / "mine.cells.toml").write_text(CELLS.replace('"landing_burn", "ascent"', ""))
    assert main(["faults", str(folder)]) == 0
    text = capsys.readouterr().out
    assert "!!" not in text
    assert text.endswith("0 of 2 cells that matter empty\n")


def test_without_cells_nothing_is_marked(folder, capsys):
    assert (
        main(
            [
                "faults",
                str(folder / "scrub.scenario.toml"),
                str(folder / "calm_landing.scenario.toml"),
            ]
        )
        == 0
    )
    assert capsys.readouterr().out.endswith(
        f"2 scenarios: 2 of {rows()} rows covered; no file says which cells matter\n"
    )


@pytest.mark.parametrize("width", [80, 120])
def test_no_line_is_longer_than_the_terminal(folder, width):
    for line in shown(folder, width).splitlines():
        assert len(line) <= width


def test_a_narrow_terminal_shows_all_of_it(folder):
    narrow, wide = (" ".join(shown(folder, width).split()) for width in (80, 120))
    assert narrow == wide


def test_json(folder, capsys):
    assert main(["faults", str(folder), "--json", "-"]) == 1
    captured = capsys.readouterr()
    table = json.loads(captured.out)
    assert table["phases"] == list(PHASES)
    assert table["scenarios"] == 4
    assert [(one["fault"], one["phase"]) for one in table["missing"]] == [
        ("igniter_late", "landing_burn"),
        ("igniter_late", "ascent"),
    ]
    by_fault = {row["fault"]: row for row in table["rows"]}
    assert len(by_fault) == rows()
    assert by_fault["crew"]["cells"] == {
        "arming": ["scrub"],
        "countdown": ["hold_and_recycle", "scrub"],
    }
    assert by_fault["crew"]["matters"] == {"countdown": "people call it off"}
    assert by_fault["igniter_late"]["group"] == "igniter"
    assert "cells of 4 that matter empty" in captured.err


def test_markdown(folder, tmp_path):
    target = tmp_path / "table.md"
    assert main(["faults", str(folder), "--markdown", str(target)]) == 1
    text = target.read_text()
    assert "| | ignition | ascent | landing_burn |\n| --- | --- | --- | --- |\n" in text
    assert "| `igniter_late` | igniter_late | **missing** | **missing** |\n" in text
    assert "| `crew` | scrub | hold_and_recycle, scrub |  |\n" in text
    assert "## Link\n\nNot covered: `link_lost`" in text


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            ["--json", "-", "--markdown", "-"],
            "only one of --json and --markdown can go to standard",
        ),
        (["--json", "no/such/table.json"], "there is no folder"),
        (["--markdwon", "x"], "no such option"),
    ],
)
def test_bad_usage(arguments, said, folder, capsys):
    assert main(["faults", str(folder), *arguments]) == 2
    captured = capsys.readouterr()
    assert said in captured.err
    assert captured.err.count("\n") == 1


def test_bad_files_are_one_line(folder, capsys):
    cells = folder / "mine.cells.toml"
    assert main(["faults", str(cells)]) == 2
    assert capsys.readouterr().err == (
        "drycount: no scenario, and no folder with scenarios, is given\n"
    )
    cells.write_text(CELLS.replace('"crew"', '"crow"'))
    assert main(["faults", str(folder)]) == 2
    assert capsys.readouterr().err == (
        f"drycount: {cells}:7: unknown kind of fault 'crow'; did you mean 'crew'?\n"
    )
    assert main(["faults", str(folder / "none.scenario.toml")]) == 2
    assert "no such file or folder" in capsys.readouterr().err


def test_a_new_project_can_be_asked(tmp_path, capsys):
    start_project(tmp_path / "kestrel")
    assert main(["faults", str(tmp_path / "kestrel")]) == 0
    assert "8 scenarios:" in capsys.readouterr().out
