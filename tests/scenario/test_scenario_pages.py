"""docs/scenarios.md, docs/vehicle.md and the names of signals: nothing is left out or made up."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from sequencer.checks.tables import RequirementTable
from sequencer.scenario import OUTCOMES, load_scenario
from sequencer.scenario.computer_faults import COMPUTER_FAULTS
from sequencer.scenario.schema import ScenarioFile
from sequencer.vehicle.logger import LoggerTable
from sequencer.vehicle.schema import VehicleFile

DOCS = Path(__file__).parents[2] / "docs"
SCENARIOS = (DOCS / "scenarios.md").read_text(encoding="utf-8")

EVENTS = (DOCS / "events.md").read_text(encoding="utf-8")
#: signals that the page names after "So there are"
EXAMPLES = re.findall(r"`(\w+)`", EVENTS.partition("So there are")[2].partition(".\n")[0])
assert len(EXAMPLES) > 3

#: docs/requirements.md tells about these
ELSEWHERE = {*RequirementTable.model_fields, "between", "until", "before", "after"}


def keys(schema: dict[str, Any]) -> Iterator[str]:
    yield from schema["properties"]
    for table in schema["$defs"].values():
        yield from table.get("properties", {})


@pytest.mark.parametrize("key", sorted({*keys(ScenarioFile.model_json_schema())} - ELSEWHERE))
def test_every_key_of_a_scenario_is_on_its_page(key: str) -> None:
    assert re.search(rf"\b{key}\b", SCENARIOS)


@pytest.mark.parametrize("table", VehicleFile.model_json_schema()["properties"])
def test_every_table_of_a_vehicle_is_on_its_page(table: str) -> None:
    text = (DOCS / "vehicle.md").read_text(encoding="utf-8")
    assert re.search(rf"`\[{table}\b", text)


@pytest.mark.parametrize("key", LoggerTable.model_fields)
def test_every_key_of_a_logger_is_on_the_page(key: str) -> None:
    assert f"| `{key}` |" in (DOCS / "vehicle.md").read_text(encoding="utf-8")


def test_the_page_lists_every_fault_of_computers_and_none_more() -> None:
    page = (DOCS / "faults.md").read_text(encoding="utf-8").partition("## In a computer")[2]
    rows = [line for line in page.splitlines() if line.startswith("| `")]
    assert rows == [
        f"| `{word}` | {row.place} | {row.unit or '-'} | {row.about} |"
        for word, row in COMPUTER_FAULTS.items()
    ]


@pytest.mark.parametrize("word", OUTCOMES)
def test_every_outcome_is_on_the_page(word: str) -> None:
    assert f"`{word}`" in SCENARIOS


@pytest.mark.parametrize("signal", EXAMPLES)
def test_signals_that_the_page_gives_as_examples_can_be_asked_for(
    signal: str, folder: Path
) -> None:
    condition = signal if signal == "pad_arm_key" else f"{signal} > 0"
    own = (
        '[[requirements]]\nname = "r"\nreason = "r"\npattern = "universality"\n'
        f'condition = "{condition}"\n'
    )
    calm = folder / "calm_landing.scenario.toml"
    calm.write_text(calm.read_text(encoding="utf-8") + own, encoding="utf-8")
    assert load_scenario(calm).requirements[-1].name == "r"
