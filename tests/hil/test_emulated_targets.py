"""The kit's image for a Cortex-M3: on an emulated core, on an emulated board, and what is none."""

from __future__ import annotations

import os
import pty
import re
import shutil
import struct
import subprocess
import tty
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import pytest
from alike import assert_same
from core_rig import COMPILER, CoreExecutor
from core_rig import images as built_images
from hypothesis import given, settings
from hypothesis import strategies as st
from kit_rig import programs, run

import sequencer
from hil.cores import RAM, CoreStream, load_image
from hil.emulated import QEMU
from hil.streams import GoneError
from hil.targets import LinkTarget
from hil.testing import check_target
from sequencer.errors import UsageError
from sequencer.flight.target import open_target
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import load_sequence
from sequencer.studies.baselines import compare_record, kept_for
from sequencer.testing.agreement import first_difference
from sequencer.testing.soak import pair

DEMO = {name: load_sequence(demo_folder() / f"{name}.sequence.toml") for name in ("flight", "pad")}


@pytest.fixture(scope="module")
def images():
    """Folder with one image for each computer of the demo."""
    return built_images(*DEMO.values())


@pytest.fixture
def emulator():
    if find_spec("unicorn") is None:
        pytest.skip("no emulator: pip install 'drycount[core]'")


@pytest.fixture
def boards():
    if shutil.which("qemu-system-arm") is None:
        pytest.skip("no emulated boards: `qemu-system-arm` is not on the path")


@pytest.mark.usefixtures("emulator")
@pytest.mark.parametrize("name", DEMO)
def test_the_image_conforms_on_an_emulated_core(name, images):
    found = check_target(f"core:{images}/{{computer}}.elf", DEMO[name])
    assert "a warm boot keeps retained flags and nothing else" in found
    assert "refuses another sequence" in found


@pytest.fixture(scope="module")
def single():
    """Folders with the images of the demo in single precision: routines, and a unit."""
    return [built_images(*DEMO.values(), way=way) for way in ("single", "single_unit")]


@pytest.mark.usefixtures("emulator")
def test_a_floating_point_unit_comes_to_what_the_routines_come_to(single):
    """And both to what this machine comes to: all keep to IEEE 754 (round to nearest, subnormals
    kept), so no bit may differ."""
    scenario = sequencer.load(demo_folder() / "abort_at_release.scenario.toml")
    here = programs([DEMO["flight"]], "-DDC_SINGLE")
    routines, unit = (scenario.fly(on=f"flight=core:{folder}/flight.elf") for folder in single)
    assert_same(unit, routines)
    assert_same(scenario.fly(on=f"flight=exec:{here}/flight"), routines)


#: flown in single precision; those with a timeline are held against it
IN_SINGLE = ("calm_landing", "reboot_in_coast", "tilt_abort_straddles_staging")


@pytest.mark.usefixtures("emulator")
@pytest.mark.parametrize("name", IN_SINGLE)
def test_the_demo_in_single_precision_is_within_a_tick_of_the_model(name, single):
    """Of the slower computer, which the flight states as its tolerance."""
    path = demo_folder() / f"{name}.scenario.toml"
    record = sequencer.load(path).fly(on=f"core:{single[1]}/{{computer}}.elf")
    assert record.divergences == ()
    assert record.tolerance_s == 1 / min(each.rate_hz for each in DEMO.values())
    model = sequencer.load(path).fly()
    assert model.tolerance_s == 0.0
    moments = [[(each.label, each.detail) for each in one.events] for one in (record, model)]
    assert sorted(moments[0]) == sorted(moments[1])
    (kept,) = kept_for([path])
    assert kept.exists == (name != IN_SINGLE[2])
    if kept.exists:
        moved = compare_record(kept, record)
        assert moved.tolerance.time_s == record.tolerance_s
        assert moved.changes == ()


@pytest.mark.usefixtures("boards")
def test_a_floating_point_unit_of_the_emulated_board(single):
    found = check_target(f"qemu:{single[1]}/flight.elf", DEMO["flight"], ticks=30)
    assert "opens, and says what it is" in found


@pytest.mark.usefixtures("emulator")
def test_the_image_costs_what_the_page_says(images):
    """Flash, memory and the deepest stack, all told: memory is painted, and what was not written
    stays as it was."""
    page = (Path(__file__).parents[2] / "docs" / "kit.md").read_text()
    told = tuple(map(int, re.search(r"\| bench/lm3s " + r"\| (\d+) " * 3, page).groups()))
    image = images / "flight.elf"
    sizes = run([COMPILER.replace("gcc", "size"), image]).splitlines()[1].split()
    flash, memory = int(sizes[0]) + int(sizes[1]), int(sizes[1]) + int(sizes[2])
    core = CoreStream(load_image(image))
    free = RAM[1] - memory
    core._core.mem_write(RAM[0] + memory, b"\xa5" * free)
    check_target("core", DEMO["flight"], opener=lambda logic: LinkTarget(logic, core))
    left = bytes(core._core.mem_read(RAM[0] + memory, free))
    stack = len(left.lstrip(b"\xa5"))
    assert (flash, memory, stack) == pytest.approx(told, rel=0.04)


@pytest.mark.usefixtures("boards")
def test_the_same_image_conforms_on_an_emulated_board(images):
    found = check_target(f"qemu:{images}/pad.elf", DEMO["pad"], ticks=60)
    assert "a warm boot keeps retained flags and nothing else" in found


@pytest.mark.usefixtures("boards")
def test_an_emulated_board_behind_a_serial_port(images):
    """A pair of our own: an emulator that makes one looks at it once a second only."""
    mine, its = pty.openpty()
    tty.setraw(mine)
    tty.setraw(its)
    board = subprocess.Popen([*QEMU, images / "pad.elf"], stdin=mine, stdout=mine)
    try:
        found = check_target(f"serial:{os.ttyname(its)}", DEMO["pad"], ticks=60)
        assert "a warm boot keeps retained flags and nothing else" in found
    finally:
        board.kill()
        board.wait()
        os.close(mine)
        os.close(its)


@pytest.mark.usefixtures("emulator")
@given(st.integers(0, 2**64 - 1))
@settings(max_examples=settings.default.max_examples // 8)
def test_random_sequences_come_to_the_reference_s_bits_in_machine_code(seed):
    """Every event, output and register, to the last bit, reboots included."""
    ride = tuple(
        replace(each, sequence=replace(each.sequence, digest=f"{0xD0 + at:064x}"))
        for at, each in enumerate(pair(seed, 0))
    )
    opened = []

    def executor(sequence):
        opened.append(CoreExecutor(sequence))
        return opened[-1]

    try:
        assert first_difference(ride, executor) is None
    finally:
        for each in opened:
            each.close()


@pytest.mark.usefixtures("emulator")
def test_targets_tell_which_image_it_was(images):
    target = open_target(f"core:{images}/pad.elf", DEMO["pad"], "compiled")
    facts = target.describe()
    target.close()
    assert facts["target"] == "core 'pad.elf'"
    assert facts["firmware"] == load_image(images / "pad.elf").digest
    assert facts["numbers"] == "double"


def _elf(*segments, kind=2, machine=40, bits=1):
    """An ELF file with loadable segments (address, bytes)."""
    table = 52 + 32 * len(segments)
    head = struct.pack(
        *("<4sBB10xHHIIIIIHHHHHH", b"\x7fELF", bits, 1, kind, machine, 1, 1),
        *(52, 0, 0, 52, 32, len(segments), 0, 0, 0),
    )
    rows, held = b"", b""
    for address, data in segments:
        rows += struct.pack("<8I", 1, table + len(held), address, address, *(len(data),) * 2, 5, 4)
        held += data
    return head + rows + held


def _vectors(stack=0x20010000, start=9, code=b""):
    return struct.pack("<II", stack, start) + code


@pytest.mark.parametrize(
    ("data", "complaint"),
    [
        (None, "no such file"),
        (b"int main(void) {}", "is no ELF file"),
        (b"\x7fELF\1\1", "ends too early for an ELF file"),
        (_elf((0, _vectors()))[:-4], "ends too early for an ELF file"),
        (_elf((0, _vectors()), machine=62), "is no 32-bit ARM program"),
        (_elf((0, _vectors()), bits=2), "is no 32-bit ARM program"),
        (_elf((0, _vectors()), kind=1), "is no 32-bit ARM program"),
        (_elf((0x08000000, _vectors())), "wants 8 bytes at 0x08000000, where this board has no"),
        (_elf((0x100, _vectors())), "has no vector table at address 0"),
        (_elf((0, bytes(8))), "begins with no vector table of a Cortex-M with this memory"),
    ],
    ids=[
        "missing",
        "text",
        "short",
        "cut",
        "x86",
        "64_bit",
        "object",
        "elsewhere",
        "no_vectors",
        "empty",
    ],
)
@pytest.mark.parametrize("scheme", ["core", "qemu"])
def test_what_is_no_image_is_told_in_one_line(scheme, data, complaint, tmp_path):
    path = tmp_path / "pad.elf"
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(UsageError) as caught:
        open_target(f"{scheme}:{tmp_path}/{{computer}}.elf", DEMO["pad"], "compiled")
    assert str(caught.value).startswith(f"{path}: {complaint}")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("scheme", ["core", "qemu"])
def test_a_target_without_an_image(scheme):
    with pytest.raises(UsageError, match=f"target '{scheme}' needs an image: {scheme}:FIRMWARE"):
        open_target(f"{scheme}:", DEMO["pad"], "compiled")


def _core(tmp_path, code):
    path = tmp_path / "some.elf"
    path.write_bytes(_elf((0, _vectors(code=code))))
    return CoreStream(load_image(path))


@pytest.mark.usefixtures("emulator")
def test_an_image_that_goes_wrong_is_gone(tmp_path):
    core = _core(tmp_path, b"\xff\xde")  # an instruction that is none
    with pytest.raises(GoneError, match="went wrong at address 0x00000008"):
        core.read(5.0)
    core.close()
    with pytest.raises(GoneError, match="is switched off"):
        core.read(5.0)


@pytest.mark.usefixtures("emulator")
def test_an_image_that_never_waits_leaves_the_host_its_time(tmp_path):
    core = _core(tmp_path, b"\xfe\xe7")  # a jump to itself
    assert [core.read(0.01), core.read(0.01)] == [b"", b""]
    core.close()


#: for ever: a zero byte to the UART; a wait
BABBLES = b"\x01\x48\x01\x60\xfd\xe7\x00\xbf\x00\xc0\x00\x40"
WAITS = b"\x30\xbf\xfd\xe7"
#: reads where nothing is
READS = b"\x00\x48\x00\x68\x00\x00\x00\x50"


@pytest.mark.usefixtures("emulator")
@pytest.mark.parametrize(
    ("code", "complaint"),
    [
        (BABBLES, "core 'some.elf' babbles: "),
        (WAITS, "core 'some.elf' is silent: no reply within 0.3 s"),
        (READS, "core 'some.elf' went wrong at address 0x0000000a: "),
    ],
    ids=["babbles", "waits", "reads_nothing"],
)
def test_images_that_are_no_board(code, complaint, tmp_path, monkeypatch):
    monkeypatch.setattr("hil.link._READY_S", 0.1)
    with pytest.raises(UsageError) as caught:
        LinkTarget(DEMO["pad"], _core(tmp_path, code), patience_s=0.3)
    assert str(caught.value).startswith(complaint)
    assert "\n" not in str(caught.value)


@pytest.mark.usefixtures("emulator")
def test_an_image_of_another_sequence_is_refused(images):
    with pytest.raises(UsageError, match="sequence 'flight' has"):
        open_target(f"core:{images}/pad.elf", DEMO["flight"], "compiled")


def test_without_the_emulator_one_line_tells_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "unicorn", None)
    with pytest.raises(UsageError, match=r"target 'core' needs unicorn.*drycount\[core\]"):
        _core(tmp_path, b"")
