"""The frame decoder against millions of damaged frames: ``python -m hil.soaking --frames N``.

Frames are sent in runs; a run is fully given by the seed and its number. How many runs are done is
kept in a small file, so that a soak that was ended at any moment goes on where it stopped, until
the decoder changes. Exit status 1 and one line at the first payload that nobody sent, or where the
decoder is not in step within one good frame.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections.abc import Callable, Iterable
from importlib.metadata import version
from pathlib import Path
from typing import Final

from hil.frames import FrameDecoder, encode
from sequencer.going_on import Progress, hash_of

__all__ = ["mutated", "soak"]

_KINDS: Final = ("flip", "drop", "insert", "copy")
#: frames that are sent in a row, then two good ones
_RUN: Final = 20
#: runs between two notes of how far it has come, and seconds between two lines about it
_KEPT: Final = 500
_TELL_S: Final = 10.0
_FILE: Final = "frames.json"


def mutated(data: bytes, changes: Iterable[tuple[str, int, int]]) -> bytes:
    """`data` after changes of (kind, place, value), made one after the other.

    flip     bits of a byte are turned over by the value
    drop     up to 8 bytes are left out
    insert   the value is put in
    copy     up to 16 bytes come twice
    """
    wire = bytearray(data)
    for kind, place, value in changes:
        at = place % (len(wire) + 1)
        if kind == "insert":
            wire.insert(at, value)
        elif kind == "drop":
            del wire[at : at + 1 + value % 8]
        elif kind == "copy":
            wire[at:at] = wire[at : at + 1 + value % 16]
        elif at < len(wire):
            wire[at] ^= value or 1
    return bytes(wire)


def soak(frames: int, seed: int, folder: Path, say: Callable[[str], None]) -> str | None:
    """Damage the frames that `folder` does not know as done; what went wrong in one line, or None.

    Raises OSError for a folder that cannot be used.
    """
    here = Path(__file__)
    files = (here, here.with_name("frames.py"))
    about = {"seed": seed, "sources": hash_of(files, here.parent, version("cobs"))}
    progress = Progress(folder / _FILE, about)
    done, runs = progress.read(say), -(-frames // _RUN)
    if done:
        say(f"{min(done, runs) * _RUN} of {frames} frames have been damaged; going on from there")
    shown = time.monotonic()
    for number in range(done, runs):
        wrong = _run(seed, number)
        if wrong is not None:
            return f"seed {seed}, run {number}: {wrong}"
        if (number + 1) % _KEPT == 0 or number + 1 == runs:
            progress.write(number + 1)
            if time.monotonic() - shown > _TELL_S:
                shown = time.monotonic()
                say(f"{(number + 1) * _RUN} of {frames} frames")
    return None


def _run(seed: int, number: int) -> str | None:
    """What is wrong with how the decoder takes one run of damaged frames, or None."""
    chance = random.Random(f"{seed} {number}")  # noqa: S311 - chance, not secrets
    decoder = FrameDecoder()
    sent = [chance.randbytes(chance.choice((9, 13, 40, 90, 260))) for _ in range(_RUN)]
    wire = b"".join(
        mutated(
            encode(payload),
            [
                (chance.choice(_KINDS), chance.getrandbits(16), chance.getrandbits(8))
                for _ in range(chance.randint(1, 3))
            ],
        )
        for payload in sent
    )
    if any(payload not in sent for payload in decoder.feed(wire)):
        return "a payload was accepted that nobody sent"
    decoder.feed(encode(sent[0]))
    if decoder.feed(encode(sent[1])) != [sent[1]]:
        return "not in step again"
    return None


def main() -> int:
    """The command line."""
    parser = argparse.ArgumentParser(prog="python -m hil.soaking", description=__doc__)
    parser.add_argument("--frames", type=int, default=10_000_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, default=Path(".soak"))
    asked = parser.parse_args()
    try:
        wrong = soak(asked.frames, asked.seed, asked.folder, lambda line: print(line, flush=True))  # noqa: T201
    except OSError as error:
        parser.error(f"{asked.folder}: {(error.strerror or str(error)).lower()}")
    print(wrong or f"{asked.frames} damaged frames: none accepted that was not sent")  # noqa: T201
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
