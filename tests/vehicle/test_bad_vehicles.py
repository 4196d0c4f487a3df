"""Files that are no vehicle at all, and one that lacks a part."""

from __future__ import annotations

import pytest
from spoiling import GOOD

from sequencer.errors import InputError
from sequencer.vehicle import load_vehicle


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "there is no table \\[vehicle\\]"),
        (b"[vehicle", "not valid TOML"),
        (b"\xff\xfe", "not UTF-8"),
        (b"x = 1", "unknown key 'x'"),
        (b"vehicle = 3", "must be a table"),
    ],
)
def test_files_that_are_no_vehicle(content, says, tmp_path):
    path = tmp_path / "bad.vehicle.toml"
    path.write_bytes(content)
    with pytest.raises(InputError, match=says):
        load_vehicle(path)


def test_a_missing_file_names_its_neighbour(tmp_path):
    (tmp_path / "dart.vehicle.toml").write_text(GOOD, encoding="utf-8")
    with pytest.raises(InputError, match="no such file") as caught:
        load_vehicle(tmp_path / "drat.vehicle.toml")
    assert caught.value.nearest == str(tmp_path / "dart.vehicle.toml")


def test_one_part_has_no_separation(tmp_path):
    start, end = GOOD.index("[parts.booster]"), GOOD.index("[curves.flat]")
    text = GOOD[:start] + GOOD[end:]
    text = text.replace('part = "booster"', 'part = "dart"').replace("0.9\n", "0.5\n")
    text = text.replace("0.85", "0.45").replace("centre_tail_m = 0.8", "centre_tail_m = 0.4")
    start, end = text.index("[aero.stage]"), text.index("[aero.fins_out]")
    path = tmp_path / "one.vehicle.toml"
    path.write_text(text[:start] + text[end:], encoding="utf-8")
    with pytest.raises(InputError, match="a vehicle of one part has no separation"):
        load_vehicle(path)
