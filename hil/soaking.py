"""The frame decoder against millions of damaged frames: ``python -m hil.soaking --frames N``.

Counted from a seed, so that what was found can be found again. Exit status 1 and one line at the
first payload that nobody sent, or where the decoder is not in step within one good frame.
"""

from __future__ import annotations

import argparse
import random
import sys
from collections.abc import Iterable
from typing import Final

from hil.frames import FrameDecoder, encode

__all__ = ["mutated", "soak"]

_KINDS: Final = ("flip", "drop", "insert", "copy")
#: frames that are sent in a row, then two good ones
_RUN: Final = 20
_EVERY: Final = 50_000


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


def soak(frames: int, seed: int, *, tell: bool = False) -> str | None:
    """Damage about so many frames; what went wrong in one line, or None."""
    chance = random.Random(seed)  # noqa: S311 - chance, not secrets
    for number in range(0, frames, _RUN):
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
            return f"seed {seed}, frames from {number}: a payload was accepted that nobody sent"
        decoder.feed(encode(sent[0]))
        if decoder.feed(encode(sent[1])) != [sent[1]]:
            return f"seed {seed}, frames from {number}: not in step again"
        if tell and number % _EVERY == 0:
            sys.stderr.write(f"{number} frames\n")
    return None


def main() -> int:
    """The command line."""
    parser = argparse.ArgumentParser(prog="python -m hil.soaking", description=__doc__)
    parser.add_argument("--frames", type=int, default=10_000_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    wrong = soak(asked.frames, asked.seed, tell=True)
    print(wrong or f"{asked.frames} damaged frames: none accepted that was not sent")  # noqa: T201
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
