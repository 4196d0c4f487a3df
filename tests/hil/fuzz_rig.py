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


def build(folder, sequence, compiler, *, watched=(), link=(), wiring=None):
    """The target as a program in `folder`, which should be empty; also the objects that it is of.

    watched   what makes the compiler watch the kit's sources, for libFuzzer
    link      what links a main function to it; without, it reads lists from its standard input
    wiring    of a board that may fire into dummy loads
    """
    export_c(sequence, folder, wiring=wiring)
    loads = () if wiring is None else ("-DDC_LINK_DUMMY_LOADS",)
    command = (*_command(folder, sequence, compiler), *loads)
    run([*command, *watched, "-c", *SOURCES, *LINK], cwd=folder)
    ours = (HERE / "fuzz_link.c", folder / f"{sequence.name}_tables.c")
    run([*command, *(() if link else ("-DLISTED",)), "-c", *ours], cwd=folder)
    objects = sorted(folder.glob("*.o"))
    run([*command, *(link or ALONE), "-o", folder / "fuzz_link", *objects])
    return folder / "fuzz_link"


def built(sequence, wiring=None):
    """A folder with the target, a program that reads lists; built once, nobody may write to it."""
    ours = (HERE / "fuzz_link.c", *sorted(HERE.glob("fuzz_*.h")))
    tables = (tables_header(sequence, wiring), tables_source(sequence, wiring))
    words = (need("cc"), *FAULTS_END_IT, *ALONE)
    return once(
        [*words, *ours, *tables], lambda folder: build(folder, sequence, "cc", wiring=wiring)
    )


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


def permits(sequence, wiring):
    """Sessions of a board with two inputs that fire, under permits and short of one."""

    def configure(its_wiring, dead_man_ms):
        told = bytes.fromhex(sequence.digest) + its_wiring + struct.pack("<HH", dead_man_ms, 0)
        return request(CONFIGURE, told)

    def permit(step, channels=7, milliseconds=1000, challenge=7):
        return request(PERMIT, struct.pack("<BIHI", step, channels, milliseconds, challenge))

    def wait(milliseconds, key_turned=0):
        return bytes([TIME]) + struct.pack("<H", milliseconds | key_turned << 15)

    own = bytes.fromhex(wiring.digest)
    hello = request(HELLO, struct.pack("<H", 1), number=ONE, nonce=THIS_NONCE)
    reset, ping = request(RESET, b"\0"), request(PING, b"1")
    ready = [hello, configure(own, 500), reset]
    ask = permit(1, challenge=0)
    given = [ask, permit(2)]
    ticks = [
        request(TICK, struct.pack("<IIB2d", at, 0, 3, at % 3 == 1, at % 3 == 2))
        for at in range(0, 90, 10)
    ]
    alive = [wait(400), ping] * 3
    return [
        [*ready, *given, *ticks],
        [*ready, *given, *ticks[:3], wait(100), *ticks[3:6], wait(1000), *ticks[6:]],
        [*ready, *ticks[:3], *given, ticks[4], ping, *ticks[5:]],
        [*ready, *given, *ticks[:2], request(SAFE_NOW), reset, *ticks[:3], *given, *ticks[3:]],
        [*ready, *given, ticks[0], wait(0, 1), ticks[1], wait(0, 1), *ticks],
        [
            *ready,
            *given,
            *ticks[:2],
            request(77),
            *ticks[2:4],
            *given,
            *ticks[4:5],
            ask,
            *ticks[5:],
        ],
        [
            *ready,
            *given,
            *ticks[:2],
            bytes([BOOT]),
            *ready,
            permit(2),
            *ticks[:3],
            *given,
            ready[1],
        ],
        [*ready, *given, *ticks[:2], *ready, *ticks[:3], permit(0), *given, *ticks[3:]],
        [*ready, *given, *ticks[:2], request(PING, number=TOO_FAR), *ticks[2:]],
        [*ready, *given, *ticks[:2], request(HELLO, b"\1\0", number=ONE, nonce=OTHER), *ticks[2:]],
        [*ready, *given, *alive, *ticks],
        [*ready, ask, *alive, *alive, permit(2), *ticks],
        [*ready, wait(600), ping, *given, *ticks],
        [*ready, permit(1, 1, challenge=0), permit(2, 1), *ticks],
        [*ready, permit(1, 1, challenge=0), permit(2), *ticks],
        [*ready, permit(1, 7, 100, challenge=0), permit(2), *ticks],
        [*ready, ask, permit(2, challenge=8), *ticks],
        [*ready, permit(1, 15, challenge=0), permit(2, 15), *ticks],
        [*ready, permit(1, 7, 3000, challenge=0), permit(2, 7, 3000), *ticks],
        [hello, configure(bytes(32), 500), reset, *given, *ticks],
        [hello, configure(own, 2000), reset, *given, *ticks],
        [hello, configure(own, 500), *given, *ticks],
    ]


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


def tampered(drawn, count, seed):
    """So many lists drawn from sessions: damaged, left out, repeated, out of order, noise."""
    chance = random.Random(seed)  # noqa: S311 - chance, not secrets
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
