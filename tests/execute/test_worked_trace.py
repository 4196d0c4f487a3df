"""The trace that docs/semantics.md works by hand, replayed tick by tick."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from sequencer.execute import ReferenceExecutor
from sequencer.sequence import load_sequence

PAGE = (Path(__file__).parents[2] / "docs" / "semantics.md").read_text(encoding="utf-8")
SECTION = PAGE.partition("## A trace worked by hand")[2]


def table():
    """The rows of the trace, each as column -> cell."""
    lines = [line for line in SECTION.splitlines() if line.startswith("|")]
    head, _, *rows = [[cell.strip() for cell in line[1:-1].split("|")] for line in lines]
    return [dict(zip(head, row, strict=True)) for row in rows]


@pytest.fixture
def sequence(tmp_path):
    path = tmp_path / "flight.sequence.toml"
    path.write_text(re.search(r"```toml\n(.*?)```", SECTION, re.DOTALL)[1], encoding="utf-8")
    return load_sequence(path)


def listed(out):
    return [f"{kind} {name}" for kind, name, _ in out.events]


def test_the_trace_of_the_page_is_what_the_reference_does(sequence):
    executor = ReferenceExecutor(sequence)
    rows = table()
    pulsed = [f.name for f in sequence.functions.values() if f.kind != "servo"]
    assert len(rows) == 18
    for row in rows:
        cells = [row[name] for name in sequence.inputs]
        out = executor.tick(
            int(row["tick"]),
            [float(cell) if cell else math.nan for cell in cells],
            [bool(cell) for cell in cells],
        )
        registers = executor.registers()
        where = f"tick {row['tick']}"
        assert out.state == row["state"], where
        assert listed(out) == [e.strip() for e in row["events"].split(",") if e], where
        on = {name for name, is_on in zip(pulsed, out.on, strict=True) if is_on}
        assert on == set(row["on"].split()), where
        for name in sequence.estimates:
            if row[name] == "bad":
                assert registers[f"estimate.{name}.bad"] == 1.0, where
            else:
                assert registers[f"estimate.{name}.bad"] == 0.0, where
                assert registers[f"estimate.{name}"] == float(row[name]), where
        for name in ("liftoff", "burnout", "tumble", "apogee"):
            left = row[name].rpartition(">")[2]
            assert registers[f"hold.{name}"] == float(left), f"{where}: {name}"


def test_a_counter_that_reached_its_number_was_taken():
    """The `2>0` of a row belongs to the `took` among its events."""
    for row in table():
        reached = {name for name, cell in row.items() if name != "events" and ">" in cell}
        took = {event.split()[1] for event in row["events"].split(",") if "took" in event}
        assert reached == took - {"again"}
