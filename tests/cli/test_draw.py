from __future__ import annotations

import pytest

from sequencer.cli.main import main
from sequencer.scenario.starter import demo_folder

FLIGHT = str(demo_folder() / "flight.sequence.toml")


@pytest.mark.parametrize(
    ("form", "begins"),
    [("mermaid", "stateDiagram-v2"), ("dot", "digraph"), ("svg", "<svg")],
)
def test_each_form_on_standard_output(form, begins, capsys):
    assert main(["draw", FLIGHT, "--format", form]) == 0
    text = capsys.readouterr().out
    assert begins in text[:400]
    assert "landing_burn" in text


def test_into_a_file(tmp_path, capsys):
    target = tmp_path / "flight.mmd"
    assert main(["draw", FLIGHT, "-o", str(target)]) == 0
    assert capsys.readouterr().out == ""
    assert main(["draw", FLIGHT]) == 0
    assert target.read_text() == capsys.readouterr().out


def test_a_missing_file_is_one_line(capsys):
    assert main(["draw", "no.sequence.toml"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("drycount: no.sequence.toml:")
    assert captured.err.count("\n") == 1
