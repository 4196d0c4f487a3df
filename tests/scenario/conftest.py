"""A copy of the demo folder that tests may write into."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

DEMO = Path(__file__).parents[2] / "scenarios"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The demo's vehicle, sequences, requirements and scenarios in a folder of their own."""
    copy = tmp_path / "scenarios"
    shutil.copytree(DEMO, copy)
    return copy
