"""The demo's own properties do fail when its logic is spoilt."""

from __future__ import annotations

import runpy
import shutil

import pytest

from sequencer.scenario.starter import demo_folder
from sequencer.sequence import load_sequence
from sequencer.testing import InputStream

HARMLESS = {"name": "wind", "kind": "sensor_frozen", "place": "pad.wind", "at_s": 50.0}


@pytest.fixture
def spoilt(tmp_path):
    """A copy of the demo whose flight logic is changed; gives the module of its properties."""
    folder = tmp_path / "demo"
    shutil.copytree(demo_folder(), folder)

    def spoil(*changes):
        path = folder / "flight.sequence.toml"
        text = path.read_text(encoding="utf-8")
        for old, new in changes:
            assert old in text, "the demo has changed: this test no longer spoils it"
            text = text.replace(old, new)
        path.write_text(text, encoding="utf-8")
        return folder, runpy.run_path(str(folder / "test_sandpiper.py"))

    return spoil


def test_a_landing_under_the_parachute_is_found(spoilt):
    _, module = spoilt(
        (', "chute_out"]', "]"),
        (
            'to = "under_chute"\nwhen = "plan_chute and fall',
            'to = "relight"\nwhen = "plan_chute and fall',
        ),
    )
    prop = module["test_a_fired_parachute_is_never_followed_by_a_landing_motor"].hypothesis
    with pytest.raises(AssertionError):
        prop.inner_test(HARMLESS, {})


def test_a_charge_that_fires_on_the_ground_is_found(spoilt):
    folder, module = spoilt(
        ('on_entry = ["clear at_ignition",', 'on_entry = ["fire main_chute", "clear at_ignition",')
    )
    logic = load_sequence(folder / "flight.sequence.toml")
    with pytest.raises(AssertionError):
        module["test_nothing_fires_before_lift"].hypothesis.inner_test(
            InputStream(logic, ((1, "arm_key", 1.0),), 20)
        )
