"""Flags and states worked out from the events, against what the executors held on every tick."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import sequencer
from sequencer.execute import Outputs
from sequencer.flight.model import ModelTarget
from sequencer.flight.recorder import Recorder
from sequencer.record.logic import flag_signal, state_signal


@pytest.mark.parametrize("name", ["planned_recovery", "reboot_in_coast", "abort_button"])
def test_they_are_what_the_executors_held(
    demo: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    held: dict[str, float] = {}
    seen: list[dict[str, float]] = []
    exchange, keep = ModelTarget.exchange, Recorder.keep

    def watched_exchange(target: ModelTarget, *arguments: object) -> Outputs:
        outputs = exchange(target, *arguments)  # type: ignore[arg-type]
        logic, executor = target._sequence, target._executor
        held.update({state_signal(logic.name, state): 0.0 for state in logic.states})
        held[state_signal(logic.name, outputs.state)] = 1.0
        for flag, value in executor.flags().items():
            held[flag_signal(logic.name, flag)] = float(value)
        return outputs

    def watched_keep(recorder: Recorder) -> None:
        seen.append(dict(held))
        keep(recorder)

    monkeypatch.setattr(ModelTarget, "exchange", watched_exchange)
    monkeypatch.setattr(Recorder, "keep", watched_keep)
    record = sequencer.load(demo / f"{name}.scenario.toml").fly()

    powered = {computer: np.ones(record.ticks, dtype=bool) for computer in ("pad", "flight")}
    for computer, mask in powered.items():
        for booted in record.find(f"booted {computer}"):
            cut = max(
                e.tick for e in record.events if e.kind == "fault_begun" and e.tick <= booted.tick
            )
            mask[cut : booted.tick] = False
    assert set(seen[-1]) == set(record.logic)
    changes = 0
    for signal in record.logic:
        mask = powered[signal.split("_", 1)[0]]
        was = np.array([tick[signal] for tick in seen])
        np.testing.assert_array_equal(record[signal][mask], was[mask], err_msg=signal)
        assert not record[signal][~mask].any()
        changes += int(np.count_nonzero(np.diff(was)))
    assert changes > 15
