"""Byte streams to a board: pipes of a program on this host, a file descriptor, a port.

All of them read whatever is there, at once: a read that waits for some byte costs a system call for
every byte, five to ten times the time of a round trip.
"""

from __future__ import annotations

import contextlib
import errno
import os
import select
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import IO, Any, Final, Protocol

import serial
from serial.tools import list_ports

from sequencer.errors import UnreachableError, UsageError, nearest, printable

__all__ = ["DEFAULT_BAUD", "DescriptorStream", "GoneError", "PortStream", "ProgramStream", "Stream"]

DEFAULT_BAUD: Final = 115200
_CHUNK: Final = 65536
#: how long a program that was asked to end may take for it, s
_GRACE_S: Final = 2.0


class GoneError(Exception):
    """The other end is not there any more; the text says how that showed."""


class Stream(Protocol):
    """Bytes to and from a board. `name` is what errors call it.

    One may have a `doubt`: what to look at, as a question, if nothing sensible ever came.
    """

    name: str

    def write(self, data: bytes) -> None:
        """Send all of it. Raises GoneError."""

    def read(self, timeout_s: float) -> bytes:
        """What has come, or nothing: waits at most so long for the first byte. Raises GoneError."""

    def close(self) -> None:
        """Let go of it; may be called twice."""


class DescriptorStream:
    """Two file descriptors that are open already, or one for both ways; `close` closes them."""

    def __init__(self, name: str, reads: int, writes: int | None = None) -> None:
        self.name = name
        self._reads = reads
        self._writes = reads if writes is None else writes
        self._poll = select.poll()
        self._poll.register(reads, select.POLLIN)
        self._open = True

    def write(self, data: bytes) -> None:
        """Send all of it."""
        try:
            sent = os.write(self._writes, data)
            while sent < len(data):
                sent += os.write(self._writes, data[sent:])
        except OSError as error:
            raise GoneError(f"cannot be written to: {_why(error)}") from error

    def read(self, timeout_s: float) -> bytes:
        """What has come, or nothing."""
        if not self._poll.poll(max(0.0, timeout_s) * 1000.0):
            return b""
        try:
            received = os.read(self._reads, _CHUNK)
        except BlockingIOError:
            return b""
        except OSError as error:  # a pty whose other end was closed says EIO
            raise GoneError("was closed at the other end") from error
        if not received:
            raise GoneError("was closed at the other end")
        return received

    def close(self) -> None:
        """Close the descriptors."""
        if self._open:
            self._open = False
            for each in {self._reads, self._writes}:
                with contextlib.suppress(OSError):
                    os.close(each)


class ProgramStream:
    """A program that was started for this, over its standard input and output.

    stays   whether it runs on when its input is closed, as an emulator does: where the system can,
            it is made to end with this process, however that ends

    Raises UsageError if it cannot be started. What it writes to standard error is kept; its last
    line stands in the error if it ends too early.
    """

    def __init__(self, words: Sequence[str], *, stays: bool = False) -> None:
        self._stays = stays
        self.name = f"program '{words[0]}'"
        self.doubt = "does it speak the link on its standard output?"
        found = shutil.which(words[0])
        if found is None:
            raise UsageError(f"{self.name} cannot be started: no such program")
        self._said: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115 - closed by close()
        try:
            self._program = subprocess.Popen(  # noqa: S603 - what the user asked for
                [*(_leash() if stays else ()), found, *words[1:]],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._said,
                bufsize=0,
            )
        except OSError as error:
            self._said.close()
            raise UsageError(f"{self.name} cannot be started: {_why(error)}") from error
        assert self._program.stdin is not None  # noqa: S101 - asked for above
        assert self._program.stdout is not None  # noqa: S101
        self._pipes = DescriptorStream(
            self.name, self._program.stdout.fileno(), self._program.stdin.fileno()
        )
        self._open = True

    def write(self, data: bytes) -> None:
        """Send all of it."""
        try:
            self._pipes.write(data)
        except GoneError as error:
            raise self._ended() from error

    def read(self, timeout_s: float) -> bytes:
        """What has come, or nothing."""
        try:
            return self._pipes.read(timeout_s)
        except GoneError as error:
            raise self._ended() from error

    def close(self) -> None:
        """Close its input, and end it if it does not end by itself."""
        if not self._open:
            return
        self._open = False
        program = self._program
        assert program.stdin is not None  # noqa: S101 - as above
        with contextlib.suppress(OSError):
            program.stdin.close()
        ends: tuple[Callable[[], object], ...] = (program.poll, program.terminate, program.kill)
        for end in ends[self._stays :]:
            end()
            with contextlib.suppress(subprocess.TimeoutExpired):
                program.wait(_GRACE_S)
                break
        assert program.stdout is not None  # noqa: S101 - as above
        program.stdout.close()
        self._said.close()

    def _ended(self) -> GoneError:
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._program.wait(_GRACE_S)
        self._said.seek(0)
        lines = self._said.read()[-2000:].decode("utf-8", "replace").split("\n")
        last = next((line.strip() for line in reversed(lines) if line.strip()), "")
        code = self._program.poll()
        how = "closed its output" if code is None else f"ended with status {code}"
        return GoneError(how + (f": {printable(last)}" if last else ""))


def _leash() -> tuple[str, ...]:
    """Words in front of a program that end it with the process that starts it (util-linux)."""
    setpriv = shutil.which("setpriv")
    return () if setpriv is None else (setpriv, "--pdeathsig", "KILL", "--")


class PortStream:
    """A serial port, or an address that pyserial knows, such as ``socket://127.0.0.1:7000``.

    Raises UnreachableError for a port that is not there, is in use, or may not be opened.
    """

    def __init__(self, port: str, baud: int = DEFAULT_BAUD) -> None:
        self.name = f"port '{port}'"
        self.baud = baud
        self.doubt = f"has the board power, its bench image, and {baud} baud?"
        try:
            self._port: Any = serial.serial_for_url(
                port, baudrate=baud, timeout=0.0, write_timeout=_GRACE_S, exclusive=True
            )
        except (OSError, ValueError) as error:  # SerialException is an OSError
            raise UnreachableError(_not_opened(port, error)) from error
        _without_delay(self._port)
        self._timeout = 0.0
        # a descriptor can be asked directly, without the bookkeeping of every read
        self._open = -1
        with contextlib.suppress(AttributeError, OSError, ValueError):
            self._open = self._port.fileno()
            poll = select.poll()
            poll.register(self._open, select.POLLIN)
            self._poll = poll.poll

    def write(self, data: bytes) -> None:
        """Send all of it."""
        try:
            if self._open >= 0:
                try:
                    sent = os.write(self._open, data)
                except BlockingIOError:
                    sent = 0
                if sent == len(data):
                    return
                data = data[sent:]
            self._port.write(data)  # it takes no more just now: pyserial waits for it
        except OSError as error:
            raise GoneError(f"cannot be written to: {_why(error)}") from error

    def read(self, timeout_s: float) -> bytes:
        """What has come, or nothing."""
        try:
            if self._open >= 0:
                if not self._poll(timeout_s * 1000.0 if timeout_s > 0.0 else 0.0):
                    return b""
                received = os.read(self._open, _CHUNK)
                if not received:
                    raise GoneError("is not there any more")
                return received
            if timeout_s != self._timeout:
                self._port.timeout = self._timeout = timeout_s
            first: bytes = self._port.read(1)
            return first + bytes(self._port.read(self._port.in_waiting)) if first else b""
        except BlockingIOError:
            return b""
        except OSError as error:
            raise GoneError("is not there any more") from error

    def close(self) -> None:
        """Close the port."""
        self._open = -1
        with contextlib.suppress(OSError):
            self._port.close()


def _without_delay(port: object) -> None:
    """Small frames go at once: else each waits 40 ms for the acknowledgement of the last."""
    inner = getattr(port, "_socket", None)
    if isinstance(inner, socket.socket):
        inner.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def _not_opened(port: str, error: OSError | ValueError) -> str:
    """One line: why a port could not be opened."""
    code = getattr(error, "errno", None)
    text = str(error)
    if code in {errno.EAGAIN, errno.EBUSY} or "exclusively lock" in text:
        return f"port '{port}' is in use by another program, or by another computer of the scenario"
    if code == errno.EACCES:
        return f"port '{port}' may not be opened by this user{_its_group(port)}"
    if "://" in port:
        return f"port '{port}' cannot be opened: {_last(text)}"
    if code in {errno.ENOTTY, None} and Path(port).exists():
        return f"port '{port}' is no serial port"
    if code in {errno.ENOENT, errno.ENODEV, errno.ENXIO, None}:
        there = [each.device for each in list_ports.comports()]
        guess = nearest(port, there)
        hint = f"; did you mean '{guess}'?" if guess else f" (there: {', '.join(there) or 'none'})"
        return f"port '{port}' does not exist{hint}"
    return f"port '{port}' cannot be opened: {os.strerror(code).lower()}"


def _its_group(port: str) -> str:
    """What would let a user open it: ports usually belong to a group that may."""
    # gone meanwhile, a group without a name, a system without groups: then there is no hint to give
    with contextlib.suppress(OSError, KeyError, NotImplementedError):
        if Path(port).stat().st_mode & 0o060 == 0o060:
            return f": group '{Path(port).group()}' may; join it, and log in anew"
    return ""


def _last(text: str) -> str:
    """The innermost reason in an error of pyserial."""
    return printable(" ".join(text.rpartition("] ")[2].rpartition(": ")[2].split())) or "no reason"


def _why(error: OSError) -> str:
    return error.strerror.lower() if error.strerror else str(error)
