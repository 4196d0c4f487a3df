"""The demo folder, for flights."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

DEMO = Path(__file__).parents[2] / "scenarios"


@pytest.fixture
def demo() -> Path:
    """The demo folder itself, to be read only."""
    return DEMO


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the demo that may be written into."""
    copy = tmp_path / "scenarios"
    shutil.copytree(DEMO, copy)
    return copy
