"""Boards behind a pseudo terminal and a socket; ports that cannot be used."""

from __future__ import annotations

import errno
import logging
import os
import pty
import socket
import threading
import tty

import pytest
import serial
from reference_board import ReferenceBoard, serve
from wires import sequence_in

from hil.link import Link, LinkError
from hil.measuring import Measured, warning
from hil.streams import DescriptorStream, PortStream
from hil.targets import SerialTarget
from sequencer.errors import UsageError
from sequencer.flight.target import Boot


@pytest.fixture
def sequence(tmp_path):
    return sequence_in(tmp_path)


@pytest.fixture
def terminal(sequence):
    """(a reference board behind a pseudo terminal, name of the host's port)"""
    mine, its = pty.openpty()
    tty.setraw(mine)
    tty.setraw(its)
    board = ReferenceBoard(sequence)
    thread = threading.Thread(target=serve, args=(board, mine, mine))
    thread.start()
    yield board, os.ttyname(its)
    os.close(its)  # the last end of the host's that is open
    thread.join()
    os.close(mine)


def test_a_board_on_a_pseudo_terminal(sequence, terminal, caplog):
    board, name = terminal
    with caplog.at_level(logging.WARNING):
        target = SerialTarget(sequence, f"{name}@921600", "compiled")
    target.reset(Boot.COLD)
    assert target.exchange(0, [9.0, 1.0], [True, True]).state == "go"
    assert target.describe()["round trip"].endswith(" ms")
    target.close()
    assert board.safe


def test_a_port_in_use_is_told(sequence, terminal):
    _, name = terminal
    target = SerialTarget(sequence, name, "compiled")
    with pytest.raises(UsageError, match=f"port '{name}' is in use"):
        SerialTarget(sequence, name, "compiled")
    target.close()


def test_a_port_that_is_not_there():
    with pytest.raises(UsageError, match=r"port '/dev/ttyNONE7' does not exist(;| \()"):
        PortStream("/dev/ttyNONE7")


def test_a_port_that_is_no_port(tmp_path):
    file = tmp_path / "port"
    file.write_text("")
    with pytest.raises(UsageError) as caught:
        PortStream(str(file))
    assert str(caught.value) == f"port '{file}' is no serial port"


@pytest.mark.parametrize(("mode", "hint"), [(0o660, ": group '{}' may; join it,"), (0o600, "")])
def test_a_port_that_this_user_may_not_open(mode, hint, tmp_path, monkeypatch):
    """Tests may run as root, whom no permission stops: so the refusal is put in by hand."""
    file = tmp_path / "port"
    file.touch()
    file.chmod(mode)

    def refuse(*_, **__):
        raise serial.SerialException(errno.EACCES, f"could not open port {file}: no")

    monkeypatch.setattr("hil.streams.serial.serial_for_url", refuse)
    with pytest.raises(UsageError) as caught:
        PortStream(str(file))
    said = f"port '{file}' may not be opened by this user{hint.format(file.group())}"
    assert str(caught.value).startswith(said)
    assert hint or str(caught.value) == said


@pytest.mark.parametrize("port", ["socket://127.0.0.1:1", "nonsense://x", "socket://nowhere"])
def test_an_address_that_does_not_answer(port):
    with pytest.raises(UsageError, match=f"port '{port}' cannot be opened: ") as caught:
        PortStream(port)
    assert "\n" not in str(caught.value)


def test_a_line_that_echoes():
    stream = PortStream("loop://")
    link = Link(stream, patience_s=0.2)
    with pytest.raises(LinkError, match="only returns what is sent to it"):
        link.greet()
    link.close()


def test_a_board_behind_a_socket_without_delay(sequence):
    with socket.create_server(("127.0.0.1", 0)) as server:

        def answer():
            with server.accept()[0] as end:
                serve(ReferenceBoard(sequence), end.fileno(), end.fileno())

        threading.Thread(target=answer, daemon=True).start()
        target = SerialTarget(sequence, f"socket://127.0.0.1:{server.getsockname()[1]}", "compiled")
        inner = target.link.stream._port._socket
        assert inner.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
        target.reset(Boot.COLD)
        assert target.exchange(0, [9.0, 1.0], [True, True]).state == "go"
        target.close()


def test_an_end_that_closes_is_told():
    reads, writes = os.pipe()
    os.close(writes)
    back, out = os.pipe()
    link = Link(DescriptorStream("pipe", reads, out), patience_s=0.2)
    with pytest.raises(LinkError, match="pipe was closed at the other end"):
        link.greet()
    link.close()
    os.close(back)


@pytest.mark.parametrize(
    ("trip_s", "baud", "warns"),
    [(0.0005, 115200, False), (0.0271, 115200, True), (0.016, 921600, True), (0.135, 9600, False)],
)
def test_round_trips_that_look_held_back(trip_s, baud, warns):
    """16 ms is what USB adapters wait by default; 64 bytes each way take 133 ms at 9600 baud."""
    line = warning(Measured(64, 20, trip_s, trip_s), baud)
    assert (line is not None) == warns
    if line:
        assert "latency" in line
        assert "\n" not in line
