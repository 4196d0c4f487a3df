"""One flight of a campaign, flown alone by its number."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import sequencer
from sequencer.cli.main import main
from sequencer.flight import fly_many

SCATTER = """\
[scenario]
extends = "calm_landing.scenario.toml"
title = "made for a test"
reason = "something differs from flight to flight"
covers = { fault = "weather", phase = "any" }
stop_s = 16.0

[[dispersions]]
quantity = "motors.A*.total_impulse_n_s"
distribution = "normal"
as = "factor"
mean = 1.0
sd = 0.02

[expect]
outcome = "in_flight"
"""


@pytest.fixture
def scatter(folder: Path) -> Path:
    path = folder / "scatter.scenario.toml"
    path.write_text(SCATTER, encoding="utf-8")
    return path


def test_a_flight_is_the_same_each_time_and_unlike_its_neighbours(scatter: Path) -> None:
    loaded = sequencer.load(scatter)
    first, again, other, elsewhere, plain = (
        loaded.fly(flight=flight, seed=seed)
        for flight, seed in ((3, 5), (3, 5), (4, 5), (3, 6), (0, None))
    )
    for name in first.signals:
        np.testing.assert_array_equal(first[name], again[name], err_msg=name)
    assert first.events == again.events
    tops = {max(record["height_m"]) for record in (first, other, elsewhere, plain)}
    assert len(tops) == 4
    np.testing.assert_array_equal(plain["height_m"], loaded.fly()["height_m"])


def test_many_scenarios_fly_the_flight_that_is_asked_for(scatter: Path) -> None:
    (result,) = fly_many([scatter], flight=3, seed=5)
    assert result.record is not None
    alone = sequencer.load(scatter).fly(flight=3, seed=5)
    np.testing.assert_array_equal(result.record["height_m"], alone["height_m"])


def test_the_command_line_asks_for_it(
    scatter: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [tmp_path / "a.json", tmp_path / "b.json", tmp_path / "c.json"]
    for file, flight in zip(files, ("3", "3", "4"), strict=True):
        main(["fly", str(scatter), "--flight", flight, "--seed", "5", "--json", str(file)])
    first, again, other = (file.read_text(encoding="utf-8") for file in files)
    assert first == again != other
    assert main(["fly", str(scatter), "--flight", "0"]) == 2
    assert "'0' is not a whole number from 1 to" in capsys.readouterr().err
