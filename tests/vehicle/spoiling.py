"""The minimal vehicle file with one thing wrong in it, and what must be said of that.

A case is (name, text to replace, its replacement, text that begins the line to be named, words of
the message, nearest name). Only the first occurrence after the header given in front of "|" is
replaced.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from sequencer.errors import InputError
from sequencer.vehicle import load_vehicle

GOOD = (Path(__file__).parent / "minimal.vehicle.toml").read_text(encoding="utf-8")


def spoil(case):
    """The minimal file with one thing wrong, and the line (from 1) at which that shows."""
    _, change, replacement, shows_at, _, _ = case
    header, old = change.split("|")
    start = GOOD.index(header)
    old = old or header
    at = GOOD.index(old, start)
    bad = GOOD[:at] + replacement + GOOD[at + len(old) :]
    if case[0] == "order of parts":
        bad = bad.replace("tail_station_m = 0.9", "tail_station_m = 0.3")
    near = bad.find(shows_at, start)
    place = bad.index(shows_at) if shows_at.startswith("[") or near < 0 else near
    return bad, bad.count("\n", 0, place) + 1


def refused(case, tmp_path):
    """Assert that the case is told in one line, with its place and the nearest name."""
    text, line = spoil(case)
    path = tmp_path / "bad.vehicle.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_vehicle(path)
    error = caught.value
    assert case[4] in error.what
    assert (error.file, error.line) == (str(path), line)
    assert error.nearest == case[5]
    assert "\n" not in str(error)
