"""Campaigns: the same table whoever flies it, whenever it is ended; errors are one line."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

import sequencer
from sequencer.cli.main import main
from sequencer.errors import InputError, UsageError
from sequencer.scenario import load_scenario
from sequencer.studies import campaign, shards
from sequencer.studies.campaign import fly_campaign, looks
from sequencer.studies.columns import columns_of, input_of, margin_of
from sequencer.studies.flying import fly_range
from sequencer.studies.sampling import Design
from sequencer.studies.shards import Shards
from sequencer.studies.summary import Summary


@pytest.fixture(autouse=True)
def small_shards(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (shards, campaign):
        monkeypatch.setattr(module, "SHARD", 6)
    monkeypatch.setattr(campaign, "_TASK", 4)


def run(path: Path, folder: Path | None, flights: int = 14, **more) -> Summary:
    seed = more.pop("seed", 3)
    sampling = more.pop("sampling", "plain")
    replicates = more.pop("replicates", 1)

    def design(scenario):
        return Design(flights, seed, len(scenario.dispersions.each), sampling, replicates)

    return fly_campaign(path, design, folder=folder, **more)


def table(folder: Path) -> list:
    """All rows, in the order of the files."""
    rows = []
    for file in sorted(folder.glob("flights-*.parquet")):
        rows += pq.read_table(file, partitioning=None).to_pylist()
    return [repr(row) for row in rows]


def test_one_and_two_workers_and_a_flight_alone_give_the_same(short, tmp_path):
    first = run(short, tmp_path / "one", jobs=1)
    second = run(short, tmp_path / "two", jobs=2)
    assert table(tmp_path / "one") == table(tmp_path / "two")
    assert len(table(tmp_path / "one")) == 14
    assert first == second
    scenario = load_scenario(short)
    alone = fly_range(scenario, range(9, 10), 3)
    (row,) = (
        pq.read_table(tmp_path / "one" / "flights-000000007-000000012.parquet")
        .slice(2, 1)
        .to_pylist()
    )
    assert repr({name: values[0] for name, values in alone.items()}) == repr(row)
    record = sequencer.load(short).fly(flight=9, seed=3)
    assert record.verdicts[0].margin == row[margin_of("stands in light wind")]


KILLED = """
import sys
from pathlib import Path
from sequencer.studies import campaign, shards
from sequencer.studies.sampling import Design
if __name__ == "__main__":
    shards.SHARD = campaign.SHARD = 6
    campaign._TASK = 4
    campaign.fly_campaign(
        Path(sys.argv[1]), lambda s: Design(40, 3, len(s.dispersions.each)),
        folder=Path(sys.argv[2]), jobs=2,
    )
"""


def test_killed_and_gone_on_with_gives_the_same(short, tmp_path):
    script = tmp_path / "killed.py"
    script.write_text(KILLED, encoding="utf-8")
    where = tmp_path / "killed"
    root = str(Path(sequencer.__file__).parents[1])
    started = subprocess.Popen(
        [sys.executable, script, short, where], env={**os.environ, "PYTHONPATH": root}
    )
    for _ in range(1200):
        if list(where.glob("flights-*.parquet")):
            break
        time.sleep(0.05)
    started.send_signal(signal.SIGKILL)
    assert started.wait() == -signal.SIGKILL
    before = len(table(where))
    assert 6 <= before < 40
    files = {file: file.stat().st_mtime_ns for file in where.glob("flights-*.parquet")}
    (where / "flights-000000099-000000100.parquet.part").write_bytes(b"cut off")
    seen = []
    went_on = run(short, where, 40, jobs=1, progress=seen.append)
    assert seen[0] == before
    assert sum(seen) == 40
    assert all(file.stat().st_mtime_ns == when for file, when in files.items())
    assert not list(where.glob("*.part"))
    whole = run(short, tmp_path / "whole", 40, jobs=1)
    assert table(where) == table(tmp_path / "whole")
    assert went_on == whole


STOPPED = """
import os, signal, sys, time
from pathlib import Path
from sequencer.studies import campaign, shards
from sequencer.studies.sampling import Design

flown = campaign._fly

def one_that_lasts(scenario, task):
    if 7 in task.flights:
        Path(sys.argv[2], f"{os.getpid()}.began").touch()
        time.sleep(600)
    return flown(scenario, task)

shards.SHARD = campaign.SHARD = 6
campaign._TASK = 6
campaign._fly = one_that_lasts
if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        campaign.fly_campaign(
            Path(sys.argv[1]), lambda s: Design(40, 3, len(s.dispersions.each)),
            folder=Path(sys.argv[2]), jobs=2,
        )
    except KeyboardInterrupt:
        sys.exit(130)
"""


def test_stopped_it_waits_for_no_worker_and_keeps_what_is_whole(short, tmp_path):
    """The signal reaches the parent alone, while a worker is ten minutes from its task's end."""
    script = tmp_path / "stopped.py"
    script.write_text(STOPPED, encoding="utf-8")
    where = tmp_path / "stopped"
    root = str(Path(sequencer.__file__).parents[1])
    started = subprocess.Popen(
        [sys.executable, script, short, where],
        env={**os.environ, "PYTHONPATH": root},
        stderr=subprocess.PIPE,
        text=True,
    )
    for _ in range(1200):
        (began, *_), whole = [*where.glob("*.began"), None], list(where.glob("flights-*.parquet"))
        if began is not None and whole:
            break
        time.sleep(0.05)
    started.send_signal(signal.SIGINT)
    _, told = started.communicate(timeout=120)
    assert (started.returncode, told) == (130, "")
    with pytest.raises(ProcessLookupError):
        os.kill(int(began.stem), 0)
    assert [file.name for file in where.glob("flights-*")] == [
        "flights-000000001-000000006.parquet"
    ]


@pytest.mark.parametrize("package", ["scipy", "pyarrow"])
def test_a_package_that_is_missing_is_one_line(short, package, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, package, None)  # as if it could not be imported
    assert main(["campaign", str(short)]) == 2
    assert capsys.readouterr().err == (
        f"drycount: campaigns need the package '{package}': the extra 'campaign' has it\n"
    )


def test_plain_flights_can_become_more(short, tmp_path):
    run(short, tmp_path / "grown", 8, jobs=1)
    run(short, tmp_path / "grown", 14, jobs=1)
    run(short, tmp_path / "at once", 14, jobs=1)
    assert table(tmp_path / "grown") == table(tmp_path / "at once")


def test_a_flight_of_a_design_is_flown_again_by_its_number(short, tmp_path, capsys):
    summary = run(short, tmp_path / "latin", 12, jobs=1, sampling="latin", replicates=3)
    assert summary.design.replicates == 3
    rows = pq.read_table(tmp_path / "latin" / "flights-000000007-000000012.parquet").to_pylist()
    out = tmp_path / "eight.json"
    main(["fly", str(short), "--flight", "8", "--of", str(tmp_path / "latin"), "--json", str(out)])
    capsys.readouterr()
    assert f'"margin": {rows[1][margin_of("stands in light wind")]!r}' in out.read_text("utf-8")
    winds = [row[input_of("weather.wind.speed_m_s")] for row in rows]
    assert len(set(winds)) == len(winds)
    assert main(["fly", str(short), "--flight", "13", "--of", str(tmp_path / "latin")]) == 2
    assert capsys.readouterr().err == "drycount: there is no flight 13 among 12\n"
    assert main(["fly", str(short), "--flight", "1", "--of", str(tmp_path)]) == 2
    assert capsys.readouterr().err == f"drycount: {tmp_path}: holds no campaign\n"


def test_it_stops_early_at_a_look_and_says_so(short, tmp_path):
    scenario = load_scenario(short)
    assert columns_of(scenario)[0] == "flight"
    summary = run(short, tmp_path / "out", 60, jobs=1, until_width=0.9)
    assert summary.look == (1, 5)
    assert summary.flights == 12
    assert summary.confidence == pytest.approx(0.99)
    assert len(table(tmp_path / "out")) == 12
    with pytest.raises(UsageError, match="needs plain sampling"):
        run(short, None, 12, sampling="latin", replicates=3, until_width=0.5)


def test_looks_spend_the_risk_once():
    for flights in (1, 6, 7, 30, 100, 1000):
        found = looks(flights)
        assert found[-1][0] == flights
        assert len(found) <= 5
        assert sum(1.0 - confidence for _, confidence in found) == pytest.approx(0.05)
        assert all(place % 6 == 0 for place, _ in found[:-1])


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"seed": 4}, "holds another campaign (seed 3, not 4)"),
        ({"flights": 3}, "holds another campaign (4 flights, not 3)"),
        ({"sampling": "latin", "replicates": 2}, "(sampling plain, not latin)"),
    ],
)
def test_a_folder_that_holds_another_campaign_is_refused(short, tmp_path, change, what):
    scenario = load_scenario(short)
    design = Design(4, 3, len(scenario.dispersions.each))
    Shards(tmp_path / "out", design, scenario.hashes, columns_of(scenario)).close()
    with pytest.raises(UsageError) as caught:
        run(short, tmp_path / "out", change.pop("flights", 4), **change)
    assert what in str(caught.value)


def test_a_changed_file_is_another_campaign(short, tmp_path):
    scenario = load_scenario(short)
    design = Design(4, 3, len(scenario.dispersions.each))
    Shards(tmp_path / "out", design, scenario.hashes, columns_of(scenario)).close()
    short.write_text(short.read_text("utf-8").replace("2.5", "2.6"), encoding="utf-8")
    with pytest.raises(UsageError, match=r"another campaign \(hash of scenario differs\)"):
        run(short, tmp_path / "out", 4)


def test_two_at_once_do_not_share_a_folder(short, tmp_path):
    scenario = load_scenario(short)
    design = Design(4, 3, len(scenario.dispersions.each))
    with (
        Shards(tmp_path / "out", design, scenario.hashes, columns_of(scenario)),
        pytest.raises(UsageError, match="another process works on this campaign"),
    ):
        run(short, tmp_path / "out", 4)


def test_a_folder_that_cannot_be_made_is_one_line(short, tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(UsageError, match=r"file/out: cannot be written: not a directory"):
        run(short, tmp_path / "file" / "out")


def test_a_full_disk_is_one_line_and_keeps_what_was_flown(short, tmp_path, monkeypatch):
    write = pq.write_table
    written = []

    def full(rows, where):
        if written:
            raise OSError(errno.ENOSPC, "No space left on device")
        written.append(where)
        write(rows, where)

    monkeypatch.setattr(pq, "write_table", full)
    with pytest.raises(UsageError) as caught:
        run(short, tmp_path / "out", jobs=1)
    assert str(caught.value).endswith("000012.parquet: cannot be written: no space left on device")
    monkeypatch.setattr(pq, "write_table", write)
    seen = []
    run(short, tmp_path / "out", jobs=1, progress=seen.append)
    assert seen[0] == 6


def test_a_damaged_file_is_one_line(short, tmp_path):
    run(short, tmp_path / "out", 4, jobs=1)
    (tmp_path / "out" / "flights-000000001-000000004.parquet").write_bytes(b"nothing")
    with pytest.raises(UsageError, match="is damaged"):
        run(short, tmp_path / "out", 4, jobs=1)


def test_without_dispersions_all_flights_would_be_alike(folder):
    with pytest.raises(InputError) as caught:
        run(folder / "calm_landing.scenario.toml", None)
    assert str(caught.value).endswith(
        "calm_landing.scenario.toml: there are no [[dispersions]]: all flights would be alike"
    )


@pytest.mark.parametrize(
    ("line", "what"),
    [
        ("--flights 0", "'0' is not a whole number from 1 to"),
        ("--sampling sobol --flights 96", "a Sobol sequence is even only over a power of two"),
        ("--sampling latin --flights 100", "100 flights are no multiple of 16 replicates"),
        ("--sampling even", "'even' is not one of 'plain', 'latin', 'sobol'"),
        ("--until-width 2", "'2' is not a number between 0 and 1"),
        ("--replicates 3", "plain sampling has no replicates"),
    ],
)
def test_bad_options_are_one_line(short, capsys, line, what):
    assert main(["campaign", str(short), *line.split()]) == 2
    error = capsys.readouterr().err
    assert what in error
    assert error.count("\n") == 1


def test_the_command_prints_and_writes_what_came_out(short, tmp_path, capsys):
    out = tmp_path / "results.json"
    line = ["campaign", str(short), "--flights", "8", "--seed", "3", "--jobs", "1"]
    assert main([*line, "--json", str(out)]) == 0
    text = capsys.readouterr().out
    assert text.startswith("short: 8 flights, seed 3, plain\n")
    assert "stands in light wind" in text
    assert '"flights": 8' in out.read_text("utf-8")
    assert np.isfinite(float(text.partition("on_pad")[2].split()[0]))
