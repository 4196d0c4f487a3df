"""A campaign on an engine: the same table, whoever comes and goes; other platforms are left out."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import distributed
import pyarrow.parquet as pq
import pytest

from sequencer.cli.main import main
from sequencer.errors import UsageError
from sequencer.studies import campaign, engine, shards
from sequencer.studies.campaign import fly_campaign
from sequencer.studies.platforms import different, platform_here
from sequencer.studies.sampling import Design


@pytest.fixture(autouse=True)
def small_shards(monkeypatch):
    for module in (shards, campaign):
        monkeypatch.setattr(module, "SHARD", 20)


@pytest.fixture(scope="module")
def cluster():
    """Two worker processes on this machine, reached through loopback only."""
    with distributed.LocalCluster(
        n_workers=2,
        threads_per_worker=2,
        host="127.0.0.1",
        dashboard_address="127.0.0.1:0",
        worker_dashboard_address=None,
    ) as started:
        yield started


def run(path: Path, folder: Path, flights: int, **more):
    def design(scenario):
        return Design(flights, 3, len(scenario.dispersions.each))

    return fly_campaign(path, design, folder=folder, **more)


def table(folder: Path) -> list[str]:
    return [
        repr(row)
        for file in sorted(folder.glob("flights-*.parquet"))
        for row in pq.read_table(file, partitioning=None).to_pylist()
    ]


def test_the_table_is_the_same_also_when_a_worker_is_killed_in_the_middle(short, tmp_path, cluster):
    expected = run(short, tmp_path / "here", 60, jobs=1)
    with distributed.Client(cluster, set_as_default=False) as client:
        pids = list(client.run(os.getpid).values())
    killed = []

    def progress(_):
        if len(list((tmp_path / "there").glob("flights-*.parquet"))) >= 1 and not killed:
            killed.append(pids[0])
            os.kill(pids[0], signal.SIGKILL)

    found = run(
        short, tmp_path / "there", 60, scheduler=cluster.scheduler_address, progress=progress
    )
    assert killed
    assert found == expected
    assert table(tmp_path / "there") == table(tmp_path / "here")
    assert len(table(tmp_path / "there")) == 60


def test_a_worker_that_joins_in_the_middle_is_used_and_changes_nothing(
    short, tmp_path, monkeypatch
):
    monkeypatch.setattr(engine, "_LOOK_S", 0.1)
    expected = run(short, tmp_path / "here", 120, jobs=1)
    with distributed.LocalCluster(
        n_workers=1,
        threads_per_worker=1,
        host="127.0.0.1",
        dashboard_address="127.0.0.1:0",
        worker_dashboard_address=None,
    ) as growing:
        joined: list[str] = []

        def progress(_):
            if not joined and list((tmp_path / "there").glob("flights-*.parquet")):
                growing.scale(2)
                growing.wait_for_workers(2)
                joined.append("a worker")

        found = run(
            short, tmp_path / "there", 120, scheduler=growing.scheduler_address, progress=progress
        )
        with distributed.Client(growing, set_as_default=False) as client:
            # what it flies a worker has unpacked first
            unpacked = client.run(lambda: engine._unpacked.cache_info().currsize)
    assert joined
    assert list(unpacked.values()) == [1, 1]
    assert found == expected
    assert table(tmp_path / "there") == table(tmp_path / "here")


def test_workers_of_another_platform_are_told_of_and_get_nothing(
    short, tmp_path, cluster, monkeypatch
):
    monkeypatch.setattr(engine, "platform_here", lambda: {**platform_here(), "numpy": "0.1"})
    said: list[str] = []
    with pytest.raises(UsageError, match="no worker of the engine is of this platform"):
        run(short, tmp_path / "c", 5, scheduler=cluster.scheduler_address, announce=said.append)
    assert said
    numpy = platform_here()["numpy"]
    assert all(line.endswith(f"is left out: numpy {numpy}, here 0.1") for line in said)
    assert table(tmp_path / "c") == []


def test_where_nothing_answers_one_line_says_so(short, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(engine, "_CONNECT_S", 0.3)
    for address in ("tcp://127.0.0.1:1", "nonsense://x", ""):
        with pytest.raises(UsageError, match="no scheduler answers") as caught:
            run(short, tmp_path / "c", 5, scheduler=address)
        assert "\n" not in str(caught.value)
    assert main(["campaign", str(short), "--scheduler", "tcp://127.0.0.1:1"]) == 2
    assert "tcp://127.0.0.1:1: no scheduler answers" in capsys.readouterr().err


def test_platforms_differ_by_the_first_thing_that_does():
    here = platform_here()
    assert different(here, dict(here)) is None
    assert different(here, {**here, "functions": "x"}) == f"functions x, here {here['functions']}"
    assert different({"a": "1"}, {}) == "a unknown, here 1"


def test_an_engine_that_goes_away_is_told_in_one_line_and_what_was_flown_is_kept(
    short, tmp_path, cluster, monkeypatch
):
    """The last one here: nothing is left of the cluster."""
    monkeypatch.setattr(engine, "_CONNECT_S", 1.0)

    def progress(_):
        if len(list(tmp_path.glob("c/flights-*.parquet"))) == 1:
            cluster.close()

    with pytest.raises(UsageError, match="the engine has gone; what is on disk is kept"):
        run(short, tmp_path / "c", 1000, scheduler=cluster.scheduler_address, progress=progress)
    assert len(table(tmp_path / "c")) >= 20
