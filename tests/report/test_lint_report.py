"""What `drycount lint` shows and writes: on terminals of any width, as JSON, as SARIF 2.1.0."""

from __future__ import annotations

import io
import json
from pathlib import Path

import jsonschema
import pytest
from rich.console import Console

from sequencer.lint import RULES, Finding, Report, Skipped
from sequencer.report.lint import print_findings, print_rules
from sequencer.report.lint_files import FORMAT, as_json, as_sarif

SCHEMA = json.loads((Path(__file__).parent / "data" / "sarif-schema-2.1.0.json").read_text())
FLIGHT = Path("mine/flight.sequence.toml")


def finding(rule, line, accepted=None, file=FLIGHT, details=()):
    return Finding(
        rule=rule,
        sentence=f"state 'hover' is wrong in a way that takes a long sentence to tell, line {line}",
        file=file,
        line=line,
        names=("hover",),
        details=details,
        reason=RULES[rule].reason,
        sequence=FLIGHT,
        accepted=accepted,
    )


FULL = Report(
    findings=(
        finding("dead-end", 12, details=("power-up: safe", "'up' (line 9): hover")),
        finding("dead-end", 40),
        finding("unused-flag", 50, accepted="kept for the log"),
    ),
    undecided=(("unreachable-state", FLIGHT, 7, "whether state 'x' is reached: too many"),),
    skipped=(Skipped("wrong-load", "no vehicle is known"), Skipped("x", "no vehicle is known")),
    sequences=(FLIGHT,),
)
CLEAN = Report((), (), (), (FLIGHT, Path("mine/pad.sequence.toml")))


def page(report, width=80, *, terminal=True):
    out = io.StringIO()
    print_findings(
        report, Console(file=out, width=width, force_terminal=terminal, color_system=None)
    )
    return out.getvalue()


def test_open_findings_come_first_then_what_is_accepted_and_what_was_left_out():
    lines = page(FULL).splitlines()
    assert lines[:2] == [
        "mine/flight.sequence.toml:12  dead-end",
        "  state 'hover' is wrong in a way that takes a long sentence to tell, line 12",
    ]
    assert lines[2:4] == ["    power-up: safe", "    'up' (line 9): hover"]
    assert "Accepted in the files" in lines
    assert "    because: kept for the log" in lines
    assert "Not looked at, since no vehicle is known: wrong-load, x." in lines
    assert "  not decided: whether state 'x' is reached: too many" in lines
    assert lines[-1] == "2 findings in 1 sequence, 1 accepted, 1 not decided"


def test_why_a_rule_matters_is_told_once():
    assert page(FULL, 200).count("why it matters: ") == 1


def test_a_clean_report_is_one_line():
    assert page(CLEAN) == "nothing found in 2 sequences\n"


@pytest.mark.parametrize("width", [40, 80, 120])
def test_no_line_is_longer_than_the_terminal(width):
    assert max(map(len, page(FULL, width).splitlines())) <= width


def test_in_a_pipe_a_sentence_stays_on_its_line():
    assert FULL.findings[0].sentence in page(FULL, 40, terminal=False)


def test_control_characters_of_a_file_are_shown_not_obeyed():
    (one,) = (finding("dead-end", 1, file=Path("a\x1b[31m.toml")),)
    assert "\x1b" not in page(Report((one,), (), (), (FLIGHT,)))


def test_the_list_of_rules_holds_each_with_meaning_and_reason():
    out = io.StringIO()
    print_rules(RULES.values(), Console(file=out, width=300, color_system=None))
    text = out.getvalue()
    for rule in RULES.values():
        assert f"{rule.id}\n  {rule.meaning}\n  {rule.reason}\n" in text


def test_json_holds_everything():
    document = json.loads(as_json(FULL))
    assert (document["format"], document["open"]) == (FORMAT, 2)
    first, _, last = document["findings"]
    assert first["rule"] == "dead-end"
    assert (first["file"], first["line"]) == ("mine/flight.sequence.toml", 12)
    assert first["details"] == ["power-up: safe", "'up' (line 9): hover"]
    assert (first["accepted"], last["accepted"]) == (None, "kept for the log")
    assert document["undecided"][0]["rule"] == "unreachable-state"
    assert document["not_looked_at"][0] == {"rule": "wrong-load", "why": "no vehicle is known"}


@pytest.mark.parametrize("report", [FULL, CLEAN])
def test_sarif_keeps_to_the_published_schema(report):
    """tests/report/data/sarif-schema-2.1.0.json: schema of the OASIS Standard [T]."""
    jsonschema.Draft4Validator(SCHEMA).validate(json.loads(as_sarif(report)))


def test_the_schema_refuses_what_is_no_sarif():
    document = json.loads(as_sarif(FULL))
    document["runs"][0]["results"][0]["message"] = "text"
    assert not jsonschema.Draft4Validator(SCHEMA).is_valid(document)


def test_sarif_results_point_to_their_rule_and_line():
    (run,) = json.loads(as_sarif(FULL))["runs"]
    rules = run["tool"]["driver"]["rules"]
    assert [rule["id"] for rule in rules] == list(RULES)
    for result in run["results"]:
        assert rules[result["ruleIndex"]]["id"] == result["ruleId"]
    place = run["results"][0]["locations"][0]["physicalLocation"]
    assert place == {
        "artifactLocation": {"uri": "mine/flight.sequence.toml"},
        "region": {"startLine": 12},
    }


def test_sarif_suppresses_what_is_accepted_and_nothing_else():
    (run,) = json.loads(as_sarif(FULL))["runs"]
    first, second, accepted = run["results"]
    assert "suppressions" not in first
    assert "suppressions" not in second
    assert accepted["suppressions"] == [
        {"kind": "inSource", "status": "accepted", "justification": "kept for the log"}
    ]


def test_sarif_names_files_relative_to_here_with_signs_escaped(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    inside = finding("dead-end", 1, file=tmp_path / "my rocket" / "a.sequence.toml")
    outside = finding("dead-end", 1, file=Path("/elsewhere/a.sequence.toml"))
    (run,) = json.loads(as_sarif(Report((inside, outside), (), (), (FLIGHT,))))["runs"]
    uris = [
        result["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
        for result in run["results"]
    ]
    assert uris == ["my%20rocket/a.sequence.toml", "file:///elsewhere/a.sequence.toml"]
