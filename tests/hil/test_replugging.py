"""A board whose USB adapter is pulled out and put in again while a folder is flown."""

from __future__ import annotations

import os
import pty
import threading
import tty

import pytest
from reference_board import ReferenceBoard
from wires import DEMO

from sequencer.errors import UnreachableError
from sequencer.flight import fly_many
from sequencer.sequence import load_sequence

FLIGHT = load_sequence(DEMO / "flight.sequence.toml")
#: some 900 ticks each
SHORT = [f"start_refused_by_{what}" for what in ("igniters", "switches", "the_pad")]
SCENARIOS = [DEMO / f"{name}.scenario.toml" for name in SHORT]


class Adapter:
    """A board behind a pseudo terminal that has a name in a folder as long as it is plugged in."""

    def __init__(self, folder, name="ttyUSB0"):
        self.folder, self.name = folder, folder / name
        self._thread = None

    def plug(self, name="ttyUSB0", *, frames=None, board=None):
        """In again; it is pulled out after so many frames from the host."""
        if self._thread is not None:
            self._thread.join()
        mine, its = pty.openpty()
        tty.setraw(mine)
        tty.setraw(its)
        (self.folder / name).symlink_to(os.ttyname(its))
        board = board or ReferenceBoard(FLIGHT)
        self._thread = threading.Thread(
            target=self._carry, args=(board, mine, its, self.folder / name, frames)
        )
        self._thread.start()

    def _carry(self, board, mine, its, name, frames):
        os.write(mine, board.ready())
        while True:
            received = os.read(mine, 65536)
            if received == b"\x04":  # from `unplug`
                break
            if frames is not None:
                frames -= received.count(b"\x00")
                if frames < 0:
                    break
            os.write(mine, board.receive(received))
        name.unlink()
        os.close(its)
        os.close(mine)

    def end(self, name="ttyUSB0"):
        if self._thread.is_alive():
            port = os.open(self.folder / name, os.O_RDWR)
            os.write(port, b"\x04")
            self._thread.join()
            os.close(port)


@pytest.fixture
def adapter(tmp_path):
    return Adapter(tmp_path)


def fly(adapter, announce=None):
    return fly_many(SCENARIOS, on=f"flight=serial:{adapter.name}", announce=announce)


def test_replugged_in_a_flight_that_one_is_void_and_the_others_are_flown(adapter):
    said = []

    def plug_in_again(line):
        if "plug it in again" in line:
            said.append(line)
            adapter.plug()

    adapter.plug(frames=1400)
    results = fly(adapter, plug_in_again)
    adapter.end()
    assert [result.name for result in results] == SHORT
    first, second, third = results
    assert first.as_expected
    assert third.as_expected
    where = f"port '{adapter.name}'"
    assert second.error.startswith(
        f"{SCENARIOS[1]}: board 'reference' on {where} is not there any more; lost on tick "
    )
    assert second.error.endswith(", this flight is void")
    (line,) = said
    assert line.startswith(f"{where} does not exist")
    assert line.endswith("; plug it in again, under this name: waiting 60 s")


def test_replugged_between_two_scenarios_nothing_is_lost(adapter):
    def replug(result):
        if result.name == SHORT[0]:
            adapter.end()
            adapter.plug()

    adapter.plug()
    results = fly_many(SCENARIOS, on=f"flight=serial:{adapter.name}", progress=replug)
    adapter.end()
    assert all(result.as_expected for result in results)


def test_back_under_another_name_what_was_flown_is_kept(adapter, monkeypatch):
    monkeypatch.setattr("sequencer.flight.reopening.WAIT_S", 0.0)
    adapter.plug(frames=1400)
    results = fly(adapter, lambda _: adapter.plug("ttyUSB1"))
    adapter.end("ttyUSB1")
    assert results[0].as_expected
    assert "lost on tick" in results[1].error
    assert results[2].error.startswith(f"port '{adapter.name}' does not exist")
    assert results[2].error.endswith("; waited 0 s for it")


def test_a_board_that_reboots_in_a_flight_is_void_there_only(adapter):
    """A USB port that lets go for a moment: the port is the same, the board's memory is gone."""
    board = ReferenceBoard(FLIGHT)
    receive = board.receive

    def reboots_once(data):
        if board.ticks_run == 1100:
            board.ticks_run += 1
            board.boots += 1
            board.power_up()
            return board.ready()
        return receive(data)

    board.receive = reboots_once
    adapter.plug(board=board)
    results = fly(adapter)
    adapter.end()
    assert [result.as_expected for result in results] == [True, False, True]
    assert "its memory is gone; lost on tick " in results[1].error


def test_a_board_that_lets_its_outputs_through_ends_everything(adapter):
    """No other flight is begun on it."""
    board = ReferenceBoard(FLIGHT)
    receive = board.receive

    def unmasked_later(data):
        board.masked = board.ticks_run < 1100
        return receive(data)

    board.receive = unmasked_later
    adapter.plug(board=board)
    results = fly(adapter)
    adapter.end()
    assert results[0].as_expected
    assert "has outputs that are not masked" in results[1].error
    assert results[2].error == results[1].error
    assert board.ticks_run < 1110


def test_a_port_that_is_not_there_at_first_ends_the_run_at_once(adapter):
    with pytest.raises(UnreachableError, match="does not exist"):
        fly(adapter, pytest.fail)
