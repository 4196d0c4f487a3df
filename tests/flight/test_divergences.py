"""Flights on targets that deviate from the model: what record, reports and exit status say."""

from __future__ import annotations

import json
import pickle
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from alike import assert_same
from odd_targets import Odd

import sequencer
from sequencer.cli.main import main
from sequencer.errors import LostError
from sequencer.flight import first_divergence, fly_many
from sequencer.flight.beside import Beside
from sequencer.flight.target import BUILT_IN

CALM = Path(__file__).parents[2] / "scenarios/calm_landing.scenario.toml"
PARTED_TWICE = (
    "flight: at 19.96 s (tick 1996, in coast) the firmware fired 'separation' twice, the model once"
)


def holds_still(sequence, outputs):
    """The flight computer's gimbal does not follow its loop."""
    if sequence.name == "flight" and outputs.state == "ascent":
        return replace(outputs, demands=(0.0,) * len(outputs.demands))
    return outputs


def sounds_twice(sequence, outputs):
    """The pad's horn is told twice; the flight computer parts the stages twice."""
    twice = {"pad": ("fired", "horn", ""), "flight": ("fired", "separation", "")}[sequence.name]
    if twice in outputs.events:
        return replace(outputs, events=(*outputs.events, twice))
    return outputs


def gives_up(sequence, outputs):
    """It parts the stages twice, and is gone."""
    if sequence.name == "flight" and outputs.state == "deploy":
        raise LostError("program 'firmware' ended with status 1")
    return sounds_twice(sequence, outputs)


class Deviating(Odd):
    """``odd:FUNCTION``: deviates as one of the functions here says."""

    @staticmethod
    def check(rest, executor):
        """Anything."""

    def __init__(self, sequence, rest, executor):
        del executor
        change = globals().get(rest, lambda _, outputs: outputs)
        super().__init__(sequence, lambda _, outputs: change(sequence, outputs))


@pytest.fixture(autouse=True)
def odd(monkeypatch):
    monkeypatch.setitem(BUILT_IN, "odd", f"{__name__}:Deviating")


def test_a_target_that_does_what_the_model_does_diverges_nowhere():
    scenario = sequencer.load(CALM)
    record = scenario.fly(on="odd:nothing")
    assert record.divergences == ()
    assert_same(record, scenario.fly())
    assert first_divergence(record) is None


def test_the_model_alone_has_nothing_beside_it(monkeypatch):
    def never(*_):
        raise AssertionError("the model ran twice")

    monkeypatch.setattr(Beside, "__init__", never)
    assert sequencer.load(CALM).fly().divergences == ()
    with pytest.raises(AssertionError):
        sequencer.load(CALM).fly(on="pad=odd:nothing")


def test_each_computer_has_its_own_and_the_first_of_them_is_the_flights():
    record = sequencer.load(CALM).fly(on="odd:sounds_twice")
    assert [(each.computer, each.sentence) for each in record.divergences] == [
        (
            "pad",
            "pad: at 2.20 s (tick 110, in arming) the firmware fired 'horn' twice, the model once",
        ),
        ("flight", PARTED_TWICE),
    ]
    assert first_divergence(record) is record.divergences[0]


def test_a_divergence_falls_short_although_everything_else_is_as_expected():
    scenario = sequencer.load(CALM)
    record = scenario.fly(on="pad=odd:sounds_twice")
    (divergence,) = record.divergences
    first = scenario.shortfalls(record)[0]
    assert (first.what, first.divergence) == (divergence.sentence, divergence)


def test_a_target_that_gives_up_after_it_is_told_with_it():
    with pytest.raises(LostError) as caught:
        sequencer.load(CALM).fly(on="flight=odd:gives_up")
    assert str(caught.value) == (
        f"program 'firmware' ended with status 1; before that, {PARTED_TWICE}"
    )


def test_every_report_has_it(tmp_path, capsys):
    files = tmp_path / "found.json", tmp_path / "found.xml"
    words = ["--json", str(files[0]), "--junit", str(files[1])]
    status = main(["fly", str(CALM), "-v", "--on", "flight=odd:holds_still", *words])
    assert status == 1
    sentence = (
        "flight: at 12.60 s (tick 1260, in released) the model demands 0.00366 deg of "
        "'ascent_y', the firmware demands 0 deg of 'ascent_y'"
    )
    out = capsys.readouterr().out
    assert f"  fell short   {sentence}\n    model        took 'lift seen', " in out
    assert f"  > {sentence}" in out  # in the timeline
    assert "    inputs on tick 1260\n      gyro_x  0.03" in out
    (flight,) = [each["flight"] for each in json.loads(files[0].read_text())["results"]]
    (told,) = flight["divergences"]
    assert told["sentence"] == sentence
    assert [each["name"] for each in told["inputs"]] == ["gyro_x", "gyro_y", "gyro_z"]
    failure = ET.parse(files[1]).getroot()[0].find("testcase/failure")
    assert failure.get("message") == sentence
    assert "    inputs on tick 1260" in failure.text


def test_a_result_has_it_too_and_can_be_sent_to_another_process():
    (result,) = fly_many([CALM], on="flight=odd:holds_still")
    assert not result.as_expected
    divergence = first_divergence(result)
    assert divergence.computer == "flight"
    assert pickle.loads(pickle.dumps(divergence)) == divergence  # noqa: S301 - our own
