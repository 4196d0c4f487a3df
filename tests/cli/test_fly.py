"""`drycount fly`: files, streams and statuses. What flying gives is put in by hand here."""

from __future__ import annotations

import io
import json
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from small_logic import flown, written

import sequencer.flight
from sequencer.cli.main import main
from sequencer.flight.result import Result, Shortfall
from sequencer.record import Event, FlightRecord, Signal, Verdict

DEMO_FLIGHT = Path(__file__).parents[2] / "scenarios" / "calm_landing.scenario.toml"


def make(name, *, outcome="landed", shortfalls=(), error=None):
    verdict = Verdict("soft_touchdown", "met", 0.42, "m/s", 900, 900, "0.58 m/s of 1 m/s")
    record = FlightRecord(
        scenario=name,
        rate_hz=100,
        ticks=1000,
        events=(Event(0, "entered", "flight.safe"), Event(900, "touchdown")),
        signals={"height_m": Signal("height_m", "m", np.zeros(2))},
        outcome=outcome,
        hashes={"vehicle": "0123456789abcdef"},
        verdicts=(verdict,),
    )
    path = Path(f"scenarios/{name}.scenario.toml")
    return Result(name, path, "", None if error else record, shortfalls, error)


CALM = make("calm")
SHORT = make("gusty", outcome="crashed", shortfalls=(Shortfall("outcome is 'crashed'"),))
FAILED = make("gone", error="gone.scenario.toml:3: unknown key 'stop'; did you mean 'stop_s'?")


@pytest.fixture
def flies(monkeypatch):
    """Say what flying gives; returns what it was asked for."""
    asked = {}

    def say(*results):
        def fly_many(paths, **options):
            asked.update(paths=paths, **options)
            for result in results:
                options["progress"](result)
            return list(results)

        monkeypatch.setattr(sequencer.flight, "fly_many", fly_many)
        monkeypatch.setattr(
            sequencer.flight, "find_scenarios", lambda *_: [r.path for r in results]
        )
        return asked

    return say


@pytest.mark.parametrize(
    ("results", "status"),
    [((CALM,), 0), ((CALM, SHORT), 1), ((CALM, FAILED), 2), ((SHORT, FAILED), 2)],
)
def test_the_status_tells_how_it_went(results, status, flies, capsys):
    flies(*results)
    assert main(["fly", "scenarios"]) == status
    text = capsys.readouterr().out
    for result in results:
        assert result.name in text


def test_why_something_was_not_flown_is_one_line_on_standard_error(flies, capsys):
    flies(CALM, FAILED)
    main(["fly", "scenarios"])
    captured = capsys.readouterr()
    assert captured.err == f"drycount: {FAILED.error}\n"
    assert "ERROR  gone" in captured.out


def test_one_reason_for_many_scenarios_is_told_once_and_without_an_empty_report(flies, capsys):
    flies(FAILED, FAILED, FAILED)
    assert main(["fly", "scenarios"]) == 2
    captured = capsys.readouterr()
    assert captured.err == f"drycount: {FAILED.error} (this stops 3 scenarios)\n"
    assert captured.out == ""


def test_a_reader_that_stops_reading_a_report_is_no_flight_that_fell_short(flies, monkeypatch):
    class Closed(io.StringIO):
        def write(self, _):
            raise BrokenPipeError

    flies(CALM)
    monkeypatch.setattr("sys.stdout", Closed())
    monkeypatch.setattr(os, "dup2", lambda *_: None)
    assert main(["fly", "x"]) == 141


def test_options_are_passed_on(flies):
    asked = flies(CALM)
    line = "fly a b -k calm --jobs 3 --on model --executor compiled --flight 7 --seed 0"
    assert main(line.split()) == 0
    assert asked.pop("progress")
    assert asked.pop("announce")
    assert asked == {
        "paths": (Path("a"), Path("b")),
        "keyword": "calm",
        "jobs": 3,
        "on": "model",
        "executor": "compiled",
        "flight": 7,
        "seed": 0,
        "shares": None,
        "watched": False,
    }


def test_json_on_standard_output_stands_alone(flies, capsys):
    flies(CALM, SHORT)
    assert main(["fly", "scenarios", "-v", "--json", "-"]) == 1
    captured = capsys.readouterr()
    assert [r["scenario"] for r in json.loads(captured.out)["results"]] == ["calm", "gusty"]
    assert "1 of 2 flights fell short" in captured.err
    assert "touchdown" in captured.err


def test_json_and_junit_files(flies, tmp_path, capsys):
    flies(CALM)
    json_file, junit_file = tmp_path / "r.json", tmp_path / "r.xml"
    assert main(["fly", "x", "--json", str(json_file), "--junit", str(junit_file)]) == 0
    assert json.loads(json_file.read_bytes())["total"]["flights"] == 1
    assert junit_file.read_text().startswith("<?xml")
    assert "1 flight: 1 as expected" in capsys.readouterr().out


def test_the_timeline_only_on_request(flies, capsys):
    flies(CALM)
    main(["fly", "x"])
    assert "9.00 s" not in capsys.readouterr().out
    main(["fly", "x", "-v"])
    assert "9.00 s  touchdown" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("target", "line"),
    [(".", "is a folder, not a file to write to"), ("no/x.json", "there is no folder 'no'")],
)
def test_where_results_cannot_go_is_told_before_anything_flies(target, line, flies, capsys):
    asked = flies(CALM)
    assert main(["fly", "x", "--json", target]) == 2
    assert line in capsys.readouterr().err
    assert asked == {}


def test_two_documents_do_not_fit_on_one_stream(flies, capsys):
    flies(CALM)
    assert main(["fly", "x", "--json", "-", "--junit", "-"]) == 2
    assert "only one of --json and --junit" in capsys.readouterr().err


def test_coverage_follows_the_results_and_leaves_the_status_alone(flies, tmp_path, capsys):
    up = flown(written(tmp_path), "up", {}, {"height": 60.0})
    asked = flies(replace(up, path=DEMO_FLIGHT))
    assert main(["fly", str(DEMO_FLIGHT), "--coverage", "--json", str(tmp_path / "r.json")]) == 0
    assert asked["watched"] is True
    text = capsys.readouterr().out
    assert text.index("1 as expected") < text.index("what 1 scenario exercised")
    assert "no scenario takes exit 'tilt_abort' of staging" in text
    assert json.loads((tmp_path / "r.json").read_text())["coverage"]["scenarios"] == 1


def test_nothing_is_covered_where_nothing_flew(flies, capsys):
    flies(FAILED)
    assert main(["fly", "x", "--coverage"]) == 2
    assert "exercised" not in capsys.readouterr().out


def test_coverage_needs_the_model_that_can_be_looked_into(capsys):
    assert main(["fly", str(DEMO_FLIGHT), "--coverage", "--executor", "reference"]) == 2
    error = capsys.readouterr().err
    assert "on target 'model' with executor 'compiled' only" in error
    assert len(error.splitlines()) == 1
