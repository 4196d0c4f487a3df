"""docs/sequences.md: it leaves out no key, block or command, and its example is a sequence."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from sequencer.documents import parse_document
from sequencer.parsing import MAX_DEPTH, MAX_LENGTH
from sequencer.sequence import resolve_sequence
from sequencer.sequence.blocks import BLOCKS, LOOP_BLOCKS
from sequencer.sequence.model import FUNCTION_VERBS
from sequencer.sequence.schema import SequenceFile

PAGE = (Path(__file__).parents[2] / "docs" / "sequences.md").read_text(encoding="utf-8")
(EXAMPLE,) = re.findall(r"^```toml\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
PROSE = PAGE.replace(EXAMPLE, "")


def keys_of_tables() -> Iterator[str]:
    """Every key that the schema allows below the file's own tables."""
    for table in SequenceFile.model_json_schema()["$defs"].values():
        yield from table["properties"]


def section(heading: str) -> str:
    """Text under the heading that holds `heading` in backticks, up to the next one."""
    found = re.search(
        rf"^#+ [^\n]*`{re.escape(heading)}`.*?(?=^#|\Z)", PROSE, re.MULTILINE | re.DOTALL
    )
    assert found, f"no section for {heading}"
    return found[0]


@pytest.mark.parametrize("key", sorted(set(keys_of_tables()) - {"y", "z"}))
def test_every_key_is_in_the_page(key):
    assert f"`{key}`" in PROSE


@pytest.mark.parametrize("table", SequenceFile.model_json_schema()["properties"])
def test_every_table_has_a_section(table):
    headings = [line for line in PROSE.splitlines() if line.startswith("## ")]
    assert any(re.search(rf"`\[+{table}[].]", heading) for heading in headings)


@pytest.mark.parametrize("kind", BLOCKS)
def test_every_block_has_a_section_with_its_keys_and_its_start(kind):
    text = section(kind)
    fields = BLOCKS[kind].model_fields
    for name in fields.keys() - {"block", "unit"}:
        assert f"`{fields[name].alias or name}`" in text
    assert "Initial value" in text or "No state" in " ".join(text.split())


@pytest.mark.parametrize("kind", LOOP_BLOCKS)
def test_every_loop_block_is_told_with_its_keys(kind):
    text = section("[loops]")
    assert f"`{kind}`" in text
    assert all(f"`{name}`" in text for name in LOOP_BLOCKS[kind].model_fields)


@pytest.mark.parametrize("kind", FUNCTION_VERBS)
def test_every_kind_of_function_and_its_verb_is_in_the_page(kind):
    assert f"`{kind}`" in section("[functions]")
    rows = [line for line in PROSE.splitlines() if line.startswith(f"| `{FUNCTION_VERBS[kind]} ")]
    assert any(kind in row for row in rows)


def test_the_caps_are_those_of_the_parser():
    caps = re.search(r"At most (\d+) characters, nested\nat most (\d+) deep", PROSE)
    assert caps is not None
    assert (int(caps[1]), int(caps[2])) == (MAX_LENGTH, MAX_DEPTH)


def test_the_example_loads_and_shows_every_block():
    sequence = resolve_sequence(parse_document(EXAMPLE, "flight.sequence.toml"))
    assert {estimate.block.kind for estimate in sequence.estimates.values()} == set(BLOCKS)
    assert {loop.block.kind for loop in sequence.loops.values()} == set(LOOP_BLOCKS)
    assert [exit_.name for exit_ in sequence.common_exits] == ["tilt abort"]
    assert list(sequence.states) == ["pad", "ascent", "descent"]
