"""`drycount new`: a project that is whole, and never overwrites anything."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib

import pytest

from sequencer.cli.main import main
from sequencer.scenario import load_scenario
from sequencer.scenario.starter import demo_folder, start_project


def names(folder):
    return sorted(file.name for file in folder.iterdir())


@pytest.fixture
def project(tmp_path):
    start_project(tmp_path / "kestrel")
    return tmp_path / "kestrel"


def test_it_tells_what_it_wrote_and_how_to_go_on(tmp_path, capsys):
    assert main(["new", str(tmp_path / "a" / "kestrel")]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "wrote README.md" in lines
    assert lines[-1] == f"Now: drycount fly {tmp_path}/a/kestrel"
    written = [line.removeprefix("wrote ") for line in lines[:-1]]
    inside = (file for file in (tmp_path / "a" / "kestrel").rglob("*") if file.is_file())
    assert written == sorted(str(file.relative_to(tmp_path / "a" / "kestrel")) for file in inside)


def test_every_scenario_of_it_can_be_read_there(project):
    files = sorted(project.glob("*.scenario.toml"))
    assert len(files) >= 3
    for file in files:
        scenario = load_scenario(file)
        assert scenario.path == file


def test_it_is_the_demo_without_the_rest(project):
    found = names(project)
    for kind in ("vehicle", "sequence", "requirements", "scenario"):
        assert any(name.endswith(f".{kind}.toml") for name in found)
    own = {"README.md", ".gitignore", "ci.sh", "first.cells.toml", "pytest.ini", "hooks"}
    for name in set(found) - own:
        assert (project / name).read_bytes() == (demo_folder() / name).read_bytes()
    assert len(found) < len(list(demo_folder().iterdir()))


def test_its_readme_names_the_commands_that_it_needs(project):
    text = (project / "README.md").read_text()
    for command in ("fly .", "lint .", "faults .", "fly . --coverage", "baseline record ."):
        assert f"    drycount {command}" in text
    named = text.partition("    drycount mutants ")[2].split()[0]
    assert (project / named).is_file()
    named = text.partition("    drycount campaign ")[2].split()[0]
    assert load_scenario(project / named).dispersions.each


def test_its_readme_names_the_project_and_its_scripts_are_shell(project):
    assert (project / "README.md").read_text().startswith("# kestrel\n")
    for script in ("ci.sh", "hooks/pre-commit"):
        subprocess.run(["sh", "-n", project / script], check=True)
        assert os.access(project / script, os.X_OK)


def test_pytest_finds_its_scenarios(project):
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "--collect-only", "-q", "-p", "no:cacheprovider"],
        cwd=project,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "calm_landing.scenario.toml::calm_landing" in done.stdout.splitlines()


def test_its_hook_lets_no_commit_pass_that_falls_short(project):
    """The hook as git runs it; a stand-in for drycount tells what it was asked, and falls short."""
    git = shutil.which("git")
    if git is None:
        pytest.skip("git is not installed: its hook is not tried")
    (project / ".venv" / "bin").mkdir(parents=True)
    stand_in = project / ".venv" / "bin" / "drycount"
    stand_in.write_text('#!/bin/sh\necho "asked: $*"\ntest "$1" = lint || test -e flies\n')
    stand_in.chmod(0o755)
    clean = {name: value for name, value in os.environ.items() if not name.startswith("GIT_")}
    author = ["-c", "user.name=a", "-c", "user.email=a@example.org"]

    def run(*arguments):
        return subprocess.run(
            [git, *author, *arguments],
            cwd=project,
            capture_output=True,
            text=True,
            check=False,
            env=clean,
        )

    assert run("init", "-q").returncode == 0
    run("config", "core.hooksPath", "hooks")
    run("add", ".")
    refused = run("commit", "-m", "first")
    assert refused.returncode == 1
    asked = [line for line in (refused.stdout + refused.stderr).splitlines() if "asked" in line]
    assert asked == ["asked: lint .", "asked: fly ."]
    (project / "flies").touch()
    assert run("commit", "-m", "first").returncode == 0


def test_an_empty_folder_is_used_and_a_full_one_refused(tmp_path, capsys):
    assert main(["new", str(tmp_path)]) == 0
    before = names(tmp_path)
    capsys.readouterr()
    assert main(["new", str(tmp_path)]) == 2
    assert capsys.readouterr().err == (
        f"drycount: {tmp_path}: is not an empty folder; give a new one\n"
    )
    assert names(tmp_path) == before


def test_a_file_in_the_way_is_refused(tmp_path, capsys):
    (tmp_path / "taken").write_text("mine")
    assert main(["new", str(tmp_path / "taken")]) == 2
    assert main(["new", str(tmp_path / "taken" / "below")]) == 2
    assert capsys.readouterr().err.count("\n") == 2
    assert (tmp_path / "taken").read_text() == "mine"


def test_the_files_of_the_demo_are_valid_toml(project):
    for file in project.glob("*.toml"):
        assert tomllib.loads(file.read_text())


def test_its_cells_are_covered_and_those_that_come_next_are_marked(project, capsys):
    assert main(["faults", str(project)]) == 0
    assert "0 of 8 cells that matter empty" in capsys.readouterr().out
    cells = project / "first.cells.toml"
    before, _, after = cells.read_text().partition("#\n")
    cells.write_text(before + after.replace("# ", "").replace("#\n", "\n"))
    assert main(["faults", str(project)]) == 1
    assert "8 cells of 16 that matter empty" in capsys.readouterr().out


def test_it_shows_batteries_and_faults_that_begin_at_a_time_an_event_and_a_state(project):
    files = [tomllib.loads(file.read_text()) for file in project.glob("*.scenario.toml")]
    faults = [fault for file in files for fault in file.get("faults", [])]
    for moment in ("at_s", "event", "state"):
        assert any(moment in fault for fault in faults)
    assert any(fault["kind"].startswith("battery") for fault in faults)
