"""The kit's link client: the exported demo as programs behind ``exec:``; what it refuses."""

from __future__ import annotations

import random
import struct
import subprocess

import pytest
from alike import assert_same
from building import need
from kit_rig import LINK, SOURCES, run
from kit_rig import programs as built_programs

import sequencer
from hil.frames import FrameDecoder, encode
from hil.layout_header import KIT
from hil.testing import check_target
from hil.wiring import wiring_of
from sequencer.cli.main import main
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import load_sequence
from sequencer.vehicle import load_vehicle

BENCH = KIT / "bench"
DEMO = {name: load_sequence(demo_folder() / f"{name}.sequence.toml") for name in ("flight", "pad")}
VEHICLE = demo_folder() / "sandpiper.vehicle.toml"
NONCE = 0x5EED1234
READY, REFUSED = 0xF0, 0xFF
HELLO, NAMES, CONFIGURE, RESET, TICK, CHANNELS, PERMIT, PING, SAFE_NOW = range(1, 10)


#: the first fault ends a program
SANITIZED = ("-fsanitize=undefined,address", "-static-libasan", "-fno-sanitize-recover=undefined")


@pytest.fixture(scope="module")
def programs():
    """Folder with one for each computer, of which one knows the wiring that it is built for."""
    wirings = {"flight": wiring_of(DEMO["flight"], load_vehicle(VEHICLE))}
    return built_programs(DEMO.values(), *SANITIZED, wirings=wirings)


@pytest.mark.parametrize("name", DEMO)
def test_the_exported_demo_conforms(name, programs):
    found = check_target(f"exec:{programs}/{{computer}}", DEMO[name])
    assert "a warm boot keeps retained flags and nothing else" in found


def test_a_flight_on_the_exported_programs_is_the_flight_on_the_model(programs):
    scenario = sequencer.load(demo_folder() / "reboot_in_coast.scenario.toml")
    assert_same(scenario.fly(on=f"exec:{programs}/{{computer}}"), scenario.fly())


def test_a_program_for_another_wiring_is_told_in_one_line(programs, capsys):
    """The scenario connects a function with another channel than the vehicle file does."""
    scenario = demo_folder() / "charges_merged.scenario.toml"
    fits = demo_folder() / "reboot_in_coast.scenario.toml"
    arguments = ["fly", str(scenario), str(fits), "--on", f"flight=exec:{programs}/flight"]
    assert main([*arguments, "--jobs", "1"]) == 2
    said = capsys.readouterr()
    (line,) = said.err.splitlines()
    assert line.startswith(f"drycount: {scenario}: board 'host' on program ")
    assert "reboot_in_coast" in said.out  # what it fits is flown all the same
    its, here = (
        each.firmware_wiring("flight")[:8]
        for each in (load_vehicle(VEHICLE), sequencer.load(scenario).scenario.vehicle)
    )
    assert f"was built for wiring {its}, but 'flight' is wired {here} here" in line


def frame(kind, number, body=b"", nonce=NONCE):
    return encode(struct.pack("<BII", kind, number, nonce) + body)


def configuration(sequence=DEMO["pad"], *, dead_man=500):
    return bytes.fromhex(sequence.digest) + bytes(32) + struct.pack("<HH", dead_man, 0)


def hello(nonce=NONCE):
    return frame(HELLO, 1, struct.pack("<H", 1), nonce)


def tick(clock, *, inputs=18):
    return struct.pack("<II", clock, clock * 20_000) + bytes((inputs + 7) // 8)


def replies(programs, sent):
    """What the pad's program says to these bytes, after READY."""
    done = subprocess.run(
        [programs / "pad"], input=sent, capture_output=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stderr.decode()
    said = FrameDecoder().feed(done.stdout)
    assert said[0][0] == READY
    return said[1:]


def reasons(said):
    """Kind of each reply, or the reason why a request was refused."""
    return [("refused", each[9]) if each[0] == REFUSED else each[0] & 0x7F for each in said]


#: what is sent after a greeting, and what must come back: kinds, or reasons to refuse
SESSIONS = {
    "nothing before it is configured": (
        [frame(RESET, 2, b"\0"), frame(TICK, 3, tick(0)), frame(PING, 4, b"ab"), frame(77, 5)],
        [("refused", 8), ("refused", 8), PING, ("refused", 1)],
    ),
    "another sequence": (
        [frame(CONFIGURE, 2, configuration(DEMO["flight"]))],
        [("refused", 6)],
    ),
    "a dead-man that is too quick": (
        [frame(CONFIGURE, 2, configuration(dead_man=99)), frame(CONFIGURE, 3, bytes(67))],
        [("refused", 2), ("refused", 2)],
    ),
    "a tick without reset, one that is old, one that does not fit": (
        [
            frame(CONFIGURE, 2, configuration()),
            frame(TICK, 3, tick(0)),
            frame(RESET, 4, b"\0"),
            frame(TICK, 5, tick(7)),
            frame(TICK, 6, tick(7)),
            frame(TICK, 7, tick(8)[:-1]),
            frame(TICK, 8, tick(8) + b"\0"),
            frame(RESET, 9, b"\2"),
        ],
        [CONFIGURE, ("refused", 9), RESET, TICK, ("refused", 10), *3 * [("refused", 2)]],
    ),
    "safe until the next reset, and nothing lost by it": (
        [
            frame(CONFIGURE, 2, configuration()),
            frame(RESET, 3, b"\0"),
            frame(SAFE_NOW, 0, nonce=99),
            frame(TICK, 4, tick(0)),
            frame(RESET, 5, b"\1"),
            frame(TICK, 6, tick(0)),
        ],
        [CONFIGURE, RESET, SAFE_NOW, ("refused", 11), RESET, TICK],
    ),
    "nothing to fire, nothing to measure": (
        [
            frame(CONFIGURE, 2, configuration()),
            frame(PERMIT, 3, struct.pack("<BIHI", 1, 1, 100, 0)),
            frame(PERMIT, 4, struct.pack("<BIHI", 2, 1, 100, 5)),
            frame(PERMIT, 5, struct.pack("<BIHI", 0, 0, 0, 0)),
            frame(CHANNELS, 6),
        ],
        [CONFIGURE, ("refused", 12), ("refused", 12), PERMIT, ("refused", 13)],
    ),
    "repeated, old, ahead, of another session": (
        [
            frame(PING, 2, b"first"),
            frame(PING, 2, b"second"),
            frame(PING, 1, b"old"),
            frame(PING, 4, b"ahead"),
            frame(PING, 3, b"other", nonce=7),
            hello(),
            frame(PING, 3, b"third"),
            hello(8),
            frame(PING, 2, b"new", nonce=8),
            hello(0),
        ],
        [PING, PING, ("refused", 5), PING, HELLO, PING],
    ),
}


@pytest.mark.parametrize("name", SESSIONS)
def test_a_session_goes_as_the_page_says(name, programs):
    sent, wanted = SESSIONS[name]
    said = replies(programs, hello() + b"".join(sent))
    assert reasons(said) == [HELLO, *wanted]
    if name.startswith("repeated"):
        assert said[2] == said[1]  # byte for byte, and not acted upon again
        assert said[1][13:] == b"first"


def test_without_a_session_all_but_safe_now_is_refused(programs):
    said = replies(programs, frame(TICK, 7, tick(0)) + frame(SAFE_NOW, 0, nonce=0))
    assert reasons(said) == [("refused", 3), SAFE_NOW]


def test_it_is_in_step_again_after_whatever_the_line_makes_up(programs):
    """No mutated frame is taken for a good one, and the first good one is answered."""
    rng = random.Random(3)  # noqa: S311 - nothing to keep secret
    good = [hello(), frame(PING, 2, bytes(range(200))), frame(CONFIGURE, 2, configuration())]
    noise = bytearray(rng.randbytes(3000).replace(b"\0", b"") + b"\0")
    for _ in range(3000):
        mutated = bytearray(rng.choice(good))
        for _ in range(rng.randint(1, 4)):
            at = rng.randrange(len(mutated))
            kind = rng.randrange(3)
            if kind == 0:
                mutated[at] ^= 1 << rng.randrange(8)
            elif kind == 1:
                del mutated[at:]
                mutated += b"\0"
            else:
                mutated[at:at] = rng.randbytes(rng.randint(1, 300))
        if not any(bytes(mutated).startswith(each) or each in mutated for each in good):
            noise += mutated
    said = replies(programs, bytes(noise) + b"\0" + frame(SAFE_NOW, 5))
    assert reasons(said) == [SAFE_NOW]


def test_a_flight_image_has_no_link_in_it(programs, tmp_path):
    """Both images are linked from the same objects of the logic; only the bench's has the rest."""
    compiler = need("cc")
    (tmp_path / "main.c").write_text(
        '#include "pad_tables.h"\n'
        "int main(void)\n"
        "{\n"
        "    static pad_memory memory;\n"
        "    static dc_real values[PAD_INPUTS];\n"
        "    static uint8_t fresh[PAD_INPUTS];\n"
        "    dc_tick(pad_init(&memory), 0, values, fresh);\n"
        "    return (int)dc_state(&memory.logic);\n"
        "}\n"
    )
    build = [compiler, "-std=c99", "-Os", f"-I{KIT}", f"-I{programs}"]
    run([*build, "-c", *SOURCES], cwd=tmp_path)
    objects = sorted(tmp_path.glob("dc_*.o"))
    tables = programs / "pad_tables.c"
    run([*build, "-o", tmp_path / "flight", *objects, tables, tmp_path / "main.c"])
    bench = ("-DDC_BENCH", "-DDC_NAMES", "-DSEQUENCE=pad", *LINK, BENCH / "host.c")
    run([*build, "-o", tmp_path / "bench", *objects, tables, *bench])
    run([tmp_path / "flight"])
    symbols = {
        image: set(run(["nm", "-S", "--defined-only", tmp_path / image]).split())
        for image in ("flight", "bench")
    }
    theirs = {symbol for symbol in symbols["bench"] if "link" in symbol and "dc_" in symbol}
    assert theirs >= {"dc_link_take", "dc_link_start", "dc_link_watch", "dc_link_send"}
    assert not theirs & symbols["flight"]
    assert {"dc_tick", "dc_boot", "dc_evaluate"} <= symbols["flight"] & symbols["bench"]
    with pytest.raises(AssertionError, match="for the bench image only"):
        run([*build, "-c", BENCH / "dc_link.c"], cwd=tmp_path)
