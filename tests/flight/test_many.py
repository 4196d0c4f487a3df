"""Finding scenarios and flying many: what is told before anything is compiled or flown."""

from __future__ import annotations

import os
import re
import signal
import threading
from pathlib import Path

import pytest

import sequencer.world
from sequencer.errors import InputError, UsageError
from sequencer.flight import find_scenarios, fly_many, workers


@pytest.fixture
def no_kernel(monkeypatch: pytest.MonkeyPatch) -> None:
    def prepare(_: object) -> None:
        pytest.fail("the kernel was asked for")

    monkeypatch.setattr(sequencer.world, "prepare", prepare)


def make(folder: Path, *names: str) -> None:
    for name in names:
        (folder / f"{name}.scenario.toml").write_text("[scenario]\n", encoding="utf-8")


@pytest.mark.usefixtures("no_kernel")
def test_where_nothing_can_be_flown_nothing_is_compiled(tmp_path: Path) -> None:
    make(tmp_path, "a", "b")
    seen = []
    results = fly_many([tmp_path], progress=seen.append)
    assert [result.name for result in results] == ["a", "b"]
    assert seen == results
    for result in results:
        assert result.error is not None
        assert re.search(r"[ab]\.scenario\.toml:1: .* is missing", result.error)


@pytest.mark.usefixtures("no_kernel")
def test_an_unknown_target_is_told_before_anything_is_compiled(tmp_path: Path) -> None:
    make(tmp_path, "a")
    with pytest.raises(UsageError, match="unknown target 'modle'; did you mean 'model'"):
        fly_many([tmp_path], on="modle")


def test_a_link_to_nothing_is_one_result(tmp_path: Path) -> None:
    link = tmp_path / "gone.scenario.toml"
    link.symlink_to(tmp_path / "nowhere")
    (result,) = fly_many([link])
    assert result.error == f"{link}: is a link to nothing"


def test_a_folder_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Tests may run as root, whom no permission stops: so the refusal is put in by hand."""

    def refuse(self: Path) -> None:
        raise PermissionError(13, os.strerror(13), str(self))

    monkeypatch.setattr(Path, "iterdir", refuse)
    with pytest.raises(InputError, match="cannot be read: Permission denied"):
        find_scenarios([tmp_path])


def test_names_are_sorted_each_once_and_chosen_by_a_word(tmp_path: Path) -> None:
    make(tmp_path, "calm", "gusty", "calm_again")
    found = find_scenarios([tmp_path / "gusty.scenario.toml", tmp_path], keyword="CALM")
    assert [path.name for path in found] == ["calm.scenario.toml", "calm_again.scenario.toml"]
    found = find_scenarios([tmp_path / "gusty.scenario.toml", tmp_path])
    assert len(found) == 3


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="no signal masks here")
@pytest.mark.parametrize("other_thread", [False, True])
def test_ctrl_c_waits_while_workers_start(*, other_thread: bool) -> None:
    """A worker that is interrupted while it imports would print where it was.

    A signal to the process goes to any thread that lets it through, so another one is tried too.
    """
    done = []
    over = threading.Event()
    idle = threading.Thread(target=over.wait)
    if other_thread:
        idle.start()

    def start() -> None:
        with workers.interrupts_held_back():
            os.kill(os.getpid(), signal.SIGINT)
            done.extend("started" for _ in range(20_000))  # time to notice the signal in

    before = signal.getsignal(signal.SIGINT)
    try:
        with pytest.raises(KeyboardInterrupt):
            start()
    finally:
        over.set()
    assert len(done) == 20_000
    assert signal.getsignal(signal.SIGINT) is before
