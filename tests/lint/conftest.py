"""A small sequence in which lint finds nothing, and the demo, to take apart."""

from __future__ import annotations

from pathlib import Path

import pytest
from seeding import edited

from sequencer.lint import lint, read_subjects

SMALL = (Path(__file__).parent / "data" / "small.sequence.toml").read_text()


@pytest.fixture
def small(tmp_path):
    """Writes the small sequence with edits and gives its path."""

    def write(*edits):
        path = tmp_path / "small.sequence.toml"
        path.write_text(edited(SMALL, *edits))
        return path

    return write


@pytest.fixture
def found(small):
    """What lint finds in the small sequence with edits."""

    def look(*edits):
        return lint(read_subjects([small(*edits)]))

    return look
