"""Whole flights come out the same on either executor, to the last bit."""

from __future__ import annotations

from pathlib import Path

import pytest

import sequencer

DEMO = Path(__file__).parents[2] / "scenarios"


@pytest.mark.parametrize(
    "name",
    ["calm_landing", "gyro_lost", "reboot_in_ascent", "separation_wire_shorts", "replay_calm"],
)
def test_the_same_flight_on_both(name: str) -> None:
    scenario = sequencer.load(DEMO / f"{name}.scenario.toml")
    compiled, reference = scenario.fly(), scenario.fly(executor="reference")
    assert compiled.events == reference.events
    assert repr(compiled.facts) == repr(reference.facts)
    assert [repr(verdict) for verdict in compiled.verdicts] == [
        repr(verdict) for verdict in reference.verdicts
    ]
    for signal, values in compiled.signals.items():
        assert values.values.tobytes() == reference.signals[signal].values.tobytes()
