"""Targets behind a link: a program on this host, and a board on a port.

Registered in pyproject.toml under the entry point group ``drycount.targets``.
"""

from __future__ import annotations

import contextlib
import hashlib
import logging
import shlex
import shutil
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Final

from hil.agreeing import agree
from hil.channels import Channels, measure_channels
from hil.link import PATIENCE_S, Link, LinkError, LinkLostError
from hil.measuring import measure, warning
from hil.messages import NOT_TOLD, Ability, Board, Frames, MalformedError, Output, OutputFlag, Reset
from hil.showing import Showing
from hil.streams import DEFAULT_BAUD, PortStream, ProgramStream, Stream
from hil.wording import Wording
from sequencer.errors import UsageError, printable
from sequencer.execute import Outputs
from sequencer.flight.target import Boot, Capability
from sequencer.sequence import Sequence as FlightLogic

__all__ = ["LinkTarget", "ProgramTarget", "SerialTarget"]

_LOG: Final = logging.getLogger(__name__)
#: a program may have to wait for a core; one that died is noticed at once
_PROGRAM_PATIENCE_S: Final = 30.0
#: stands for the name of the computer in what follows the scheme
_COMPUTER: Final = "{computer}"
_BAUDS: Final = (300, 4_000_000)
_MASKED: Final = int(OutputFlag.MASKED)


class LinkTarget:
    """A sequence executed by whatever is at the other end of a byte stream, in lock step.

    wiring   SHA-256 (hex) of the computer's, `Vehicle.firmware_wiring`; empty: not known

    Raises UsageError if it executes another sequence, was built for another wiring, lacks an input,
    or does not keep to docs/link.md; the stream is closed then.
    """

    tolerance_s = 0.0
    #: a board can be built for a wiring, and is refused for another
    takes_wiring = True

    def __init__(
        self,
        sequence: FlightLogic,
        stream: Stream,
        *,
        wiring: str = "",
        patience_s: float = PATIENCE_S,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.link = Link(stream, patience_s=patience_s, clock=clock)
        self.link.on_text = Showing(stream.name)
        self._sequence = sequence
        self._channels: Channels | None = None
        try:
            board = self.link.greet()
            agree(self.link, sequence, wiring)
            told = bytes.fromhex(wiring) if wiring else NOT_TOLD
            self.link.configure(bytes.fromhex(sequence.digest), told)
        except BaseException:
            self.link.close()
            raise
        self._board = board
        self._frames = Frames(board)
        self._wording = Wording(sequence)
        self.capabilities = frozenset({Capability.LOCK_STEP})
        if board.abilities & Ability.WARM_RESET:
            self.capabilities |= {Capability.REBOOT}
        if board.value_bytes == 4:
            self.tolerance_s = 1.0 / sequence.rate_hz

    def reset(self, boot: Boot) -> None:
        """Start the logic anew; raises LinkLostError, also for a warm reset that it cannot do."""
        try:
            self.link.reset(Reset.WARM if boot is Boot.WARM else Reset.COLD)
        except LinkError as error:
            raise _void(error) from error

    def exchange(self, tick: int, values: Sequence[float], fresh: Sequence[bool]) -> Outputs:
        """One tick on the board.

        Raises LinkLostError where this flight cannot go on, LinkError for outputs that are not
        masked: no other is to be begun then.
        """
        sent = self._frames.tick(tick, self._sequence.rate_hz, values, fresh)
        try:
            output = self._frames.output(self.link.tick(sent))
            if output.flags & _MASKED:
                self._look_at(output, tick)
                return self._wording.tell(output)
        except MalformedError as error:
            what = self.link.error(f"sends an output frame that is no use: {error}")
            raise _void(what, tick) from error
        except LinkError as error:
            raise _void(error, tick) from error
        raise self.link.error(
            "has outputs that are not masked, without a permit: take everything off its channels"
        )

    def close(self) -> None:
        """Tell the board to go safe, and let go of it."""
        self.link.close()

    def describe(self) -> Mapping[str, str]:
        """What executed the sequence, as it says itself."""
        board = self._board
        can_fire = board.abilities & Ability.CAN_FIRE
        facts = {
            "target": self.link.stream.name,
            "board": printable(board.name),
            "build": printable(board.build),
            "sequence": board.sequence.hex(),
            "firmware": self._firmware(board),
            "wiring": board.wiring.hex() if board.wiring != NOT_TOLD else "not told",
            "numbers": "double" if board.value_bytes == 8 else "single",
            "outputs": "masked, permit possible" if can_fire else "always masked",
        }
        if self._channels is not None:
            facts["channels"] = ", ".join(self._channels.words())
        return facts

    def measure_channels(self) -> Channels:
        """The resistances of the board's channels, now; `describe` tells the last ones.

        Raises LinkError where the board cannot measure.
        """
        self._channels = measure_channels(self.link)
        return self._channels

    def _firmware(self, board: Board) -> str:
        """A hash of what the board says it is: its image cannot be read from here."""
        told = (board.name, board.build, board.sequence.hex(), board.wiring.hex())
        return hashlib.sha256(repr(told).encode()).hexdigest()

    def _look_at(self, output: Output, tick: int) -> None:
        if output.tick != tick:
            raise MalformedError(f"it is about tick {output.tick}, not {tick}")
        if output.flags & OutputFlag.EVENTS_LOST:
            raise MalformedError("not all events of the tick fit into it")


class ProgramTarget(LinkTarget):
    """``exec:PROGRAM WORDS...``: a program built for this host, over its pipes.

    ``{computer}`` in it stands for the computer whose sequence is executed.
    """

    @staticmethod
    def check(rest: str, executor: str) -> None:
        """Refuse what names no program."""
        del executor
        _words(rest)

    def __init__(
        self, sequence: FlightLogic, rest: str, executor: str, *, wiring: str = ""
    ) -> None:
        del executor
        words = [word.replace(_COMPUTER, sequence.name) for word in _words(rest)]
        self._words = words
        super().__init__(
            sequence, ProgramStream(words), wiring=wiring, patience_s=_PROGRAM_PATIENCE_S
        )

    def _firmware(self, board: Board) -> str:
        """A hash of the program, and of the files that are named behind it."""
        del board
        sums = hashlib.sha256()
        for word in (shutil.which(self._words[0]) or "", *self._words[1:]):
            file = Path(word)
            with contextlib.suppress(OSError, ValueError):
                if file.is_file():  # reading a pipe or a port would wait for somebody
                    sums.update(hashlib.sha256(file.read_bytes()).digest())
        return sums.hexdigest()


class SerialTarget(LinkTarget):
    """``serial:PORT`` or ``serial:PORT@BAUD``: a board on a serial port or an address.

    The link is measured first; where it looks as if something on the way held bytes back, a
    warning is logged. ``{computer}`` in PORT stands for the computer.
    """

    #: a port can be opened once
    one_at_a_time = True

    @staticmethod
    def check(rest: str, executor: str) -> None:
        """Refuse what names no port, and impossible rates."""
        del executor
        _port(rest)

    def __init__(
        self, sequence: FlightLogic, rest: str, executor: str, *, wiring: str = ""
    ) -> None:
        del executor
        port, baud = _port(rest.replace(_COMPUTER, sequence.name))
        super().__init__(sequence, PortStream(port, baud), wiring=wiring)
        try:
            self.measured = measure(self.link, self._frames)
        except BaseException:
            self.link.close()
            raise
        slow = warning(self.measured, baud)
        if slow is not None:
            _LOG.warning("warning: %s: %s", self.link.stream.name, slow)

    def describe(self) -> Mapping[str, str]:
        """What executed the sequence, and how long a round trip takes."""
        trip = f"{self.measured.median_s * 1000.0:.2f} ms"
        return {**super().describe(), "round trip": trip}


def _void(error: LinkError, tick: int | None = None) -> LinkLostError:
    """What ends a flight, and no other."""
    when = "" if tick is None else f" on tick {tick}"
    return LinkLostError(f"{error}; lost{when}, this flight is void")


def _words(rest: str) -> list[str]:
    try:
        words = shlex.split(rest)
    except ValueError as error:
        raise UsageError(f"target 'exec:{rest}': {str(error).lower()}") from error
    if not words:
        raise UsageError("target 'exec' needs a program: exec:PROGRAM")
    return words


def _port(rest: str) -> tuple[str, int]:
    port, at, baud = rest.rpartition("@")
    if not at:
        port, baud = rest, str(DEFAULT_BAUD)
    if not port:
        raise UsageError("target 'serial' needs a port: serial:PORT or serial:PORT@BAUD")
    if not (baud.isascii() and baud.isdigit() and _BAUDS[0] <= int(baud) <= _BAUDS[1]):
        raise UsageError(f"target 'serial:{rest}': '{baud}' is no baud rate")
    return port, int(baud)
