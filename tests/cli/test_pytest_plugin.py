"""`pytest` on scenario files, as users run it: in its own process, with and without workers."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
import xmlschema

from sequencer.scenario.starter import demo_folder

SCHEMA = Path(__file__).parent.parent / "report" / "data" / "junit-10.xsd"
NEEDED = ("*.vehicle.toml", "*.sequence.toml", "*.requirements.toml")


@pytest.fixture
def project(pytester, monkeypatch):
    """Two flights as expected, one that falls short, one that names a signal there is not."""
    for name in "CI", "BUILD_NUMBER":
        monkeypatch.delenv(name, raising=False)  # set, they keep pytest from cutting lines
    for pattern in NEEDED:
        for file in demo_folder().glob(pattern):
            pytester.path.joinpath(file.name).write_bytes(file.read_bytes())
    names = "calm_landing", "scrub", "abort_button"
    texts = {name: (demo_folder() / f"{name}.scenario.toml").read_text() for name in names}
    texts["wrong"] = texts["calm_landing"].replace('outcome = "landed"', 'outcome = "crashed"')
    texts["unknown"] = texts["scrub"].replace('switch = "hold"', 'switch = "hald"')
    for name, text in texts.items():
        pytester.path.joinpath(f"{name}.scenario.toml").write_text(text)
    pytester.makeini("[pytest]\naddopts = -p sequencer.pytest_plugin --strict-markers -W error\n")
    return pytester


def run(project, *arguments):
    # xdist and the plugin of hypothesis are there as in any other run
    return project.runpytest_subprocess("-p", "no:cacheprovider", *arguments)


@pytest.fixture(params=["alone", "with workers"])
def workers(request):
    return () if request.param == "alone" else ("-n", "2")


def test_a_flight_is_a_test_and_a_failure_shows_what_fell_short(project, workers):
    result = run(project, "--junit-xml=found.xml", "-k", "not calm and not abort", *workers)
    result.assert_outcomes(passed=1, failed=2)
    assert result.ret == 1
    result.stdout.fnmatch_lines_random(
        [
            "*_ wrong _*",
            "  fell short   outcome is 'landed', expected 'crashed'",
            "    first wrong *touchdown",
            "verdicts",
            "  met * no motor lights without the key",
            "  and * not exercised",
            "* Captured timeline call *",
            "wrong: landed after *",
            "FAILED wrong.scenario.toml::wrong - fell short: outcome is 'landed'*",
            "*unknown.scenario.toml:*'hald'*did you mean 'hold'?",
            "FAILED unknown.scenario.toml::unknown - *",
        ]
    )
    assert "Traceback" not in result.stdout.str()
    lines = result.stdout.str().splitlines()
    assert max(len(line) for line in lines if str(project.path) not in line) <= 80
    xmlschema.XMLSchema(str(SCHEMA)).validate(project.path / "found.xml")
    suite = ET.parse(project.path / "found.xml").getroot()[0]
    assert (suite.get("tests"), suite.get("failures"), suite.get("errors")) == ("3", "2", "0")


def test_a_broken_file_is_one_line_of_the_collection(project, workers):
    broken = project.path / "broken.scenario.toml"
    broken.write_text('[scenario]\ntitel = "a"\n')
    result = run(project, *workers, "-k", "broken or unknown")
    assert result.parseoutcomes()["errors"] == 1
    assert result.ret not in {0, pytest.ExitCode.NO_TESTS_COLLECTED}
    line = f"{broken}:2: unknown key 'titel' in [scenario]; did you mean 'title'?"
    assert result.stdout.str().count(line) == 1
    assert "Traceback" not in result.stdout.str()


def test_tags_are_markers_and_what_is_used_everywhere_is_used_here(project):
    (project.path / "conftest.py").write_text(
        "import pytest\n\n"
        "@pytest.fixture(autouse=True)\n"
        "def board(request, tmp_path):\n"
        "    print('power on for', request.node.name, request.node.target, tmp_path.is_dir())\n"
        "    yield\n"
        "    print('power off')\n"
    )
    tagged = project.path / "abort_button.scenario.toml"
    text = tagged.read_text()
    tagged.write_text(text.replace("[scenario]\n", '[scenario]\ntags = ["range day"]\n', 1))
    result = run(project, "-m", "range_day", "-s", "-v", "--drycount-on", "model")
    result.assert_outcomes(passed=1, deselected=4)
    result.stdout.fnmatch_lines(
        ["*abort_button.scenario.toml::abort_button[[]model[]] power on*model True", "*power off*"]
    )


def test_only_what_failed_last_is_flown_again(project):
    first = project.runpytest_subprocess("-k", "wrong or scrub", "-x")
    first.assert_outcomes(passed=1, failed=1)
    again = project.runpytest_subprocess("--lf")
    again.assert_outcomes(failed=1)
    assert "scrub.scenario.toml" not in again.stdout.str()


def test_a_target_that_is_none_is_told_in_one_line_before_anything_is_collected(project):
    result = run(project, "--drycount-on", "modl")
    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(
        ["ERROR: --drycount-on: unknown target 'modl'; did you mean 'model'?"]
    )
    assert "collected" not in result.stdout.str()


def test_items_come_in_the_order_of_the_files_and_collecting_compiles_nothing(project):
    (project.path / "conftest.py").write_text(
        "import sys\n\n"
        "def pytest_collection_finish(session):\n"
        "    assert 'numba' not in sys.modules\n"
    )
    result = run(project, "--collect-only", "-q")
    assert result.ret == 0
    names = [line.partition("::")[2] for line in result.stdout.lines if "::" in line]
    assert names == ["abort_button", "calm_landing", "scrub", "unknown", "wrong"]


def test_a_run_of_pytest_without_scenarios_loads_nothing_of_ours():
    code = (
        "import sys, sequencer.pytest_plugin\n"
        "print([name for name in sys.modules if name.startswith('sequencer.')])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "['sequencer.pytest_plugin']\n"
