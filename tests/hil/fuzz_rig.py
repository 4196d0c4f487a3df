"""The kit's link client, tampered with (`fuzz_link.c`): building it, and what it is fed with."""

from __future__ import annotations

import random
import struct
from pathlib import Path

from building import need, once
from kit_rig import LINK, SOURCES, run
from reference_board import (
    CHANNELS,
    CONFIGURE,
    HELLO,
    NAMES,
    PERMIT,
    PING,
    RESET,
    SAFE_NOW,
    TICK,
)

from hil.export import export_c, tables_header, tables_source
from hil.layout_header import KIT

HERE = Path(__file__).parent
FAULTS_END_IT = ("-fsanitize=address,undefined", "-fno-sanitize-recover=all")
#: linked like this a program needs nothing beside it, and minds no library that is loaded first
ALONE = ("-static-libasan",)
#: ways to say which number and which nonce a request has, as fuzz_link.c reads them
NEXT, LAST, TOO_FAR, OLD, ONE, THIS_NUMBER = range(6)
ITS, OTHER, NO_NONCE, THIS_NONCE = range(4)
PLAIN, TWICE, DAMAGED, ANYTHING, TIME, BOOT, PIECES = 0, 2, 3, 4, 5, 6, 7


def build(folder, sequence, compiler, *, watched=(), link=()):
    """The target as a program in `folder`, which should be empty; also the objects that it is of.

    watched   what makes the compiler watch the kit's sources, for libFuzzer
    link      what links a main function to it; without, it reads lists from its standard input
    """
    export_c(sequence, folder)
    command = _command(folder, sequence, compiler)
    run([*command, *watched, "-c", *SOURCES, *LINK], cwd=folder)
    ours = (HERE / "fuzz_link.c", folder / f"{sequence.name}_tables.c")
    run([*command, *(() if link else ("-DLISTED",)), "-c", *ours], cwd=folder)
    objects = sorted(folder.glob("*.o"))
    run([*command, *(link or ALONE), "-o", folder / "fuzz_link", *objects])
    return folder / "fuzz_link"


def built(sequence):
    """A folder with the target, a program that reads lists; built once, nobody may write to it."""
    ours = (HERE / "fuzz_link.c", HERE / "fuzz_frame.h")
    tables = (tables_header(sequence), tables_source(sequence))
    words = (need("cc"), *FAULTS_END_IT, *ALONE)
    return once([*words, *ours, *tables], lambda folder: build(folder, sequence, "cc"))


def build_with(folder, into, sequence, source, instead):
    """The program in `folder` with the text `instead` of a kit source, made in `into`."""
    spoilt = into / source
    spoilt.write_text(instead, encoding="utf-8")
    objects = [each for each in folder.glob("*.o") if each.stem != spoilt.stem]
    program = spoilt.with_suffix("")
    run([*_command(folder, sequence, "cc"), *ALONE, "-o", program, *objects, spoilt])
    return program


def _command(folder, sequence, compiler):
    return (
        *(need(compiler), "-std=c99", "-g", "-O1", "-ffp-contract=off", *FAULTS_END_IT),
        *("-DDC_BENCH", "-DDC_NAMES", f"-DSEQUENCE={sequence.name}", f"-I{folder}"),
        *(f"-I{KIT}", f"-I{KIT / 'bench'}", f"-I{HERE}"),
    )


def request(kind, body=b"", *, number=NEXT, nonce=ITS, what=PLAIN):
    """One entry of the list that fuzz_link.c reads."""
    more = (1).to_bytes(4, "little") if number >= THIS_NUMBER else b""
    more += (0x5EED1234).to_bytes(4, "little") if nonce == THIS_NONCE else b""
    how = bytes([what, kind, number | nonce << 3])
    return how + more + struct.pack("<H", len(body)) + body


def sessions(sequence):
    """Sessions as entries, all of whose frames are as they should be."""
    hello = request(HELLO, struct.pack("<H", 1), number=ONE, nonce=THIS_NONCE)
    configure = request(
        CONFIGURE, bytes.fromhex(sequence.digest) + bytes(32) + struct.pack("<HH", 500, 0)
    )
    inputs = len(sequence.inputs)
    some = struct.pack("<3d", 9.75, float("nan"), 1.0)
    ticks = [
        request(
            TICK, struct.pack("<II", tick, 0) + bits.to_bytes((inputs + 7) // 8, "little") + sent
        )
        for tick, bits, sent in (
            *((0, 0, b""), (1, 0b111, some), (2, 0b10011, some), (3, 0, b""), (9, 0, b"")),
            (10, (1 << inputs) - 1, struct.pack(f"<{inputs}d", *range(inputs))),
            (10, 0, b""),
        )
    ]
    asked = [request(NAMES, struct.pack("<BH", at, first)) for at in range(4) for first in (0, 5)]
    others = [
        request(PING, bytes(range(60))),
        request(PING, b"\xff" * 250),
        request(CHANNELS),
        *(request(PERMIT, struct.pack("<BIHI", step, 1, 100, 7)) for step in range(3)),
        request(77, b"what?"),
    ]
    ready = [hello, configure, request(RESET, b"\0")]
    warm = request(RESET, b"\1")
    return [
        [*ready, *ticks],
        [hello, *asked, configure, *others],
        [*ready, ticks[1], request(SAFE_NOW, nonce=OTHER), ticks[2], warm, *ticks[:3]],
        [*ready, *(entry[:1].replace(b"\0", b"\2") + entry[1:] for entry in ticks)],
        [
            *(
                *ready,
                ticks[0],
                request(PING, b"1", number=LAST),
                request(PING, b"2", number=TOO_FAR),
            ),
            *(request(PING, b"3", number=OLD), request(PING, b"4", nonce=OTHER), ticks[1]),
            *(request(PING, b"5", nonce=NO_NONCE), bytes([TIME, 0xE8, 3]), ticks[2]),
            *(bytes([BOOT]), ticks[3], *ready, bytes([PIECES, 0]), ticks[1], *others),
        ],
        [request(HELLO, struct.pack("<H", 2), number=ONE, nonce=OTHER), *ready, *ticks[:2]],
        [bytes([ANYTHING, 255]) + b"\x55" * 255, bytes([ANYTHING, 60]) + b"\x02" * 60, *ready],
    ]


def tampered(sequence, count, seed):
    """So many lists drawn from the sessions: damaged, left out, repeated, out of order, noise."""
    chance = random.Random(seed)  # noqa: S311 - chance, not secrets
    drawn = sessions(sequence)
    for _ in range(count):
        entries = []
        for entry in chance.choice(drawn):
            turn = chance.random()
            if turn < 0.25 and entry[0] in {PLAIN, TWICE}:
                changes = [
                    struct.pack("<BHB", *(chance.getrandbits(bits) for bits in (2, 16, 8)))
                    for _ in range(chance.randint(1, 3))
                ]
                how = bytes([len(changes) - 1]) + b"".join(changes)
                # and sent again, as a host does: nothing may have come of the first
                entries += [bytes([DAMAGED]) + entry[1:] + how, entry]
            elif turn < 0.30:
                noise = chance.randbytes(chance.randint(1, 40))
                entries += [bytes([ANYTHING, len(noise)]) + noise, entry]
            elif turn < 0.33:
                entries.insert(chance.randint(0, len(entries)), entry)
            elif turn < 0.36:
                entries += [bytes([PIECES, chance.getrandbits(8)]), entry]
            elif turn > 0.38:
                entries.append(entry)
        yield b"".join(entries)
