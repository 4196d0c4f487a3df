"""Targets that execute the image of a board without the board: machine code on an emulated core.

Registered in pyproject.toml under the entry point group ``drycount.targets``. Both take the same
file, one built with `hil/kit/bench/lm3s`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

from hil.cores import CoreStream, Image, load_image
from hil.link import PATIENCE_S
from hil.messages import Board
from hil.streams import ProgramStream, Stream
from hil.targets import LinkTarget
from sequencer.errors import UsageError
from sequencer.sequence import Sequence as FlightLogic

__all__ = ["QEMU", "CoreTarget", "QemuTarget"]

#: an emulator that is another process may have to wait for a core of this machine
_PATIENCE_S: Final = 30.0
#: stands for the name of the computer in the name of the file
_COMPUTER: Final = "{computer}"
#: starts a board with its UART on standard input and output; the image follows. Its core is a
#: Cortex-M3; a Cortex-M4 executes the same, and what was built for a floating-point unit too
QEMU: Final = (
    *(
        "qemu-system-arm",
        "-M",
        "lm3s6965evb",
        "-cpu",
        "cortex-m4",
        "-display",
        "none",
        "-monitor",
        "none",
    ),
    *("-serial", "stdio", "-kernel"),
)


class _ImageTarget(LinkTarget):
    """A sequence executed by an image on some emulator."""

    def __init__(
        self,
        sequence: FlightLogic,
        image: Image,
        stream: Stream,
        wiring: str,
        patience_s: float = PATIENCE_S,
    ) -> None:
        super().__init__(sequence, stream, wiring=wiring, patience_s=patience_s)
        self._image = image

    def _firmware(self, board: Board) -> str:
        """Of the file, which is all that is executed."""
        del board
        return self._image.digest


class CoreTarget(_ImageTarget):
    """``core:FIRMWARE.elf``: the image on an emulated core in this process.

    ``{computer}`` in it stands for the computer whose sequence is executed.
    """

    @staticmethod
    def check(rest: str, executor: str) -> None:
        """Refuse what names no image."""
        del executor
        _named("core", rest)

    def __init__(
        self, sequence: FlightLogic, rest: str, executor: str, *, wiring: str = ""
    ) -> None:
        del executor
        image = load_image(_named("core", rest.replace(_COMPUTER, sequence.name)))
        super().__init__(sequence, image, CoreStream(image), wiring)


class QemuTarget(_ImageTarget):
    """``qemu:FIRMWARE.elf``: the image on a whole emulated board, through its UART.

    ``{computer}`` in it stands for the computer whose sequence is executed.
    """

    @staticmethod
    def check(rest: str, executor: str) -> None:
        """Refuse what names no image."""
        del executor
        _named("qemu", rest)

    def __init__(
        self, sequence: FlightLogic, rest: str, executor: str, *, wiring: str = ""
    ) -> None:
        del executor
        path = _named("qemu", rest.replace(_COMPUTER, sequence.name))
        image = load_image(path)
        board = ProgramStream([*QEMU, str(path)], stays=True)
        super().__init__(sequence, image, board, wiring, _PATIENCE_S)


def _named(scheme: str, rest: str) -> Path:
    if not rest:
        raise UsageError(f"target '{scheme}' needs an image: {scheme}:FIRMWARE.elf")
    return Path(rest)
