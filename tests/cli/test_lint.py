"""`drycount lint`: what it looks at, exit status, files, and input that cannot be used."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from sequencer.cli.main import main
from sequencer.scenario.starter import demo_folder

DEMO = demo_folder()
SMALL = Path(__file__).parents[1] / "lint" / "data" / "small.sequence.toml"
FILES = ("flight.sequence.toml", "pad.sequence.toml", "sandpiper.vehicle.toml")
SCENARIO = "calm_landing.scenario.toml"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    for name in (*FILES, "sandpiper.requirements.toml", SCENARIO):
        shutil.copy(DEMO / name, tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def spoil(path, old, new):
    text = path.read_text()
    assert text.count(old) == 1
    path.write_text(text.replace(old, new))


@pytest.mark.parametrize(
    "paths", [(SCENARIO,), (".",), ("sandpiper.vehicle.toml",), FILES], ids=lambda paths: paths[-1]
)
def test_the_clean_demo_is_status_0_however_it_is_named(folder, capsys, paths):
    assert main(["lint", *paths]) == 0
    assert capsys.readouterr().out.endswith("nothing found in 2 sequences\n")
    del folder


def test_a_sequence_alone_says_which_rules_had_nothing_to_look_at(capsys):
    assert main(["lint", str(SMALL)]) == 0
    text = capsys.readouterr().out
    line = next(line for line in text.splitlines() if "no vehicle is known" in line)
    assert line.startswith("Not looked at, since no vehicle is known: ")
    assert "two-on-one-channel" in line
    assert text.endswith("nothing found in 1 sequence\n")


def test_a_finding_is_status_1_with_place_and_reason(folder, capsys):
    spoil(folder / "sandpiper.vehicle.toml", 'second_charge = "F5"', 'second_charge = "F4"')
    assert main(["lint", SCENARIO]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("sandpiper.vehicle.toml:")
    assert lines[0].endswith("  two-on-one-channel")
    assert lines[1] == "  'main_chute' and 'second_charge' both drive channel 'flight.F4'"
    assert lines[2].startswith("  why it matters: ")
    assert lines[-1] == "1 finding in 2 sequences"


def test_the_wiring_of_a_scenario_counts_where_it_is_named_itself(folder, capsys):
    shutil.copy(DEMO / "charges_merged.scenario.toml", folder)
    assert main(["lint", "."]) == 0
    assert main(["lint", "charges_merged.scenario.toml"]) == 1
    assert "charges_merged.scenario.toml:" in capsys.readouterr().out


def test_what_is_accepted_is_status_0(folder, capsys):
    spoil(folder / "sandpiper.vehicle.toml", 'second_charge = "F5"', 'second_charge = "F4"')
    with (folder / "flight.sequence.toml").open("a") as file:
        file.write(
            '\n[[accepted]]\nrule = "two-on-one-channel"\nabout = "flight.F4"\n'
            'reason = "F5 has burnt out; the second charge waits for a new board"\n'
        )
    assert main(["lint", SCENARIO]) == 0
    text = capsys.readouterr().out
    assert "because: F5 has burnt out; the second charge waits for a new board" in text
    assert text.endswith("nothing found in 2 sequences, 1 accepted\n")


def test_json_and_sarif_are_written(folder, capsys):
    arguments = ["lint", SCENARIO, "--json", "a.json", "--sarif", "a.sarif"]
    assert main(arguments) == 0
    assert json.loads((folder / "a.json").read_text())["open"] == 0
    assert json.loads((folder / "a.sarif").read_text())["version"] == "2.1.0"
    capsys.readouterr()
    assert main(["lint", SCENARIO, "--sarif", "-"]) == 0
    read = capsys.readouterr()
    assert json.loads(read.out)["runs"][0]["results"] == []
    assert read.err == "nothing found in 2 sequences\n"


def test_the_rules_are_listed(capsys):
    assert main(["lint", "--rules"]) == 0
    assert "few-inhibits\n  a path from power-up to a motor" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        ([], "lint: name a sequence, a vehicle, a scenario or a folder"),
        (["nowhere.sequence.toml"], "nowhere.sequence.toml: no such file"),
        (["nowhere"], "nowhere: no such file or folder"),
        ([SCENARIO, "--json", "-", "--sarif", "-"], "lint: only one of --json and --sarif can go"),
        (["sandpiper.requirements.toml"], "sandpiper.requirements.toml: not a sequence, a vehicle"),
        (
            ["pad.sequence.toml", "other.sequence.toml"],
            "other.sequence.toml: computer 'pad' has a sequence already, pad.sequence.toml",
        ),
        (
            ["sandpiper.vehicle.toml", "other.vehicle.toml"],
            "other.vehicle.toml: sequences fly one vehicle, and sandpiper.vehicle.toml is named",
        ),
        (
            ["small.sequence.toml", "other.vehicle.toml"],
            "small.sequence.toml:4: computer 'fligt' does not stand in other.vehicle.toml",
        ),
        (["other.vehicle.toml"], "other.vehicle.toml: no scenario beside it flies it"),
    ],
)
def test_what_cannot_be_used_is_one_line_and_status_2(folder, capsys, arguments, line):
    shutil.copy(folder / "pad.sequence.toml", folder / "other.sequence.toml")
    shutil.copy(folder / "sandpiper.vehicle.toml", folder / "other.vehicle.toml")
    (folder / "small.sequence.toml").write_text(
        SMALL.read_text().replace('name = "flight"', 'name = "fligt"')
    )
    assert main(["lint", *arguments]) == 2
    (said,) = capsys.readouterr().err.splitlines()
    assert said.startswith(f"drycount: {line}")


def test_a_scenario_that_names_a_file_that_is_not_there(folder, capsys):
    (folder / "pad.sequence.toml").rename(folder / "pat.sequence.toml")
    assert main(["lint", SCENARIO]) == 2
    (said,) = capsys.readouterr().err.splitlines()
    assert said.startswith(f"drycount: {SCENARIO}:")
    assert said.endswith("'pad.sequence.toml': no such file; did you mean 'pat.sequence.toml'?")
