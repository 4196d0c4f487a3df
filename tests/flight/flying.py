"""Flies the calm landing with one change; compares two flights."""

from __future__ import annotations

from pathlib import Path

import numpy as np

import sequencer
from sequencer.record import FlightRecord

HEAD = """\
[scenario]
extends = "calm_landing.scenario.toml"
title = "made for a test"
reason = "one change"
covers = {{ fault = "none", phase = "any" }}
stop_s = {stop}
{more}
[expect]
outcome = "landed"
"""


def fly(folder: Path, more: str = "", *, stop: float = 18.0) -> FlightRecord:
    path = folder / "tried.scenario.toml"
    path.write_text(HEAD.format(more=more, stop=stop), encoding="utf-8")
    return sequencer.load(path).fly()


def same_until(first: FlightRecord, second: FlightRecord, tick: int) -> None:
    """Bit for bit the same signals and events up to, and on, this tick."""
    assert first.signals.keys() == second.signals.keys()
    for name in first.signals:
        np.testing.assert_array_equal(
            first[name][: tick + 1], second[name][: tick + 1], err_msg=name
        )
    kinds = ("fault_begun", "fault_ended")
    assert [e for e in first.events if e.tick < tick and e.kind not in kinds] == [
        e for e in second.events if e.tick < tick and e.kind not in kinds
    ]


def at(record: FlightRecord, label: str) -> int:
    """Tick of the first such event, which must have come."""
    event = record.first(label)
    assert event is not None, f"'{label}' never came"
    return event.tick


def all_at(record: FlightRecord, label: str) -> list[int]:
    """Ticks of all such events."""
    return [event.tick for event in record.events if event.label == label]
