"""A short scenario with dispersions: three seconds of the count, a tenth of a second to fly."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

DEMO = Path(__file__).parents[2] / "scenarios"
SHORT = """\
[scenario]
extends = "breeze.scenario.toml"
title = "made for a test"
reason = "something differs from flight to flight"
covers = { fault = "weather", phase = "any" }
requirements = []
stop_s = 2.5

[[requirements]]
name = "stands in light wind"
reason = "made for a test"
pattern = "universality"
condition = "mast_wind_m_s < 1.0"

[expect]
outcome = "on_pad"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the demo that may be written into."""
    copy = tmp_path / "scenarios"
    shutil.copytree(DEMO, copy)
    return copy


@pytest.fixture
def short(folder: Path) -> Path:
    """The short scenario."""
    path = folder / "short.scenario.toml"
    path.write_text(SHORT, encoding="utf-8")
    return path
