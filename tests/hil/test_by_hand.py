"""The demo's flight logic written by hand: it flies like the model, and its mistakes are told."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest
from alike import assert_same
from building import once
from kit_rig import CORES, LINK, STRICT, need, run

import sequencer
from hil.by_hand import build, firmware_folder, sources, variants
from hil.layout_header import KIT
from hil.testing import check_target
from sequencer.errors import UsageError
from sequencer.flight import first_divergence
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import load_sequence

FLIGHT = load_sequence(demo_folder() / "flight.sequence.toml")
OWN = sorted(firmware_folder().glob("*.c"))
#: a landing, a recovery under late ticks, reboots, readings that are bad, the pad's word
SCENARIOS = (
    *("calm_landing", "flash_stalls_at_burn", "reboot_under_parachute"),
    *("key_unreadable_in_coast", "reboot_at_ignition_unheard", "tilt_abort_straddles_staging"),
)

#: a scenario as loaded; several variants are noticed by the same
load = cache(sequencer.load)


def built(variant="", flags=()):
    """A program, compiled once for all workers."""
    need("cc")
    own = sorted(firmware_folder().glob("*.[ch]"))
    folder = once(
        ["cc", variant, *flags, *own],
        lambda folder: build(folder / "flight_by_hand", variant, flags=flags),
    )
    return folder / "flight_by_hand"


@pytest.fixture(scope="module")
def program():
    """The firmware as it should be; the sanitizers end it at the first fault."""
    checks = ("-fsanitize=undefined,address", "-static-libasan", "-fno-sanitize-recover=undefined")
    return built(flags=(*STRICT, *checks))


def scenario(name):
    return load(demo_folder() / f"{name}.scenario.toml")


@pytest.mark.parametrize("name", SCENARIOS)
def test_it_flies_like_the_model(name, program):
    """Every event, function, servo demand and message, to the last bit."""
    record = scenario(name).fly(on=f"flight=exec:{program}")
    assert first_divergence(record) is None
    assert_same(record, scenario(name).fly())


@pytest.mark.parametrize("seed", range(3))
def test_it_conforms(seed, program):
    """Inputs that are bad, stale and late, cold and warm boots; it refuses another sequence."""
    found = check_target(f"exec:{program}", FLIGHT, ticks=2000, seed=seed)
    assert "a warm boot keeps retained flags and nothing else" in found
    assert "refuses another sequence" in found


@pytest.mark.parametrize("variant", variants(), ids=lambda each: each.name.lower())
def test_a_mistake_is_told_where_it_begins(variant):
    made = built(variant.name)
    found = first_divergence(scenario(variant.scenario).fly(on=f"flight=exec:{made}"))
    assert found is not None
    assert (found.computer, found.state) == ("flight", variant.state)
    assert found.tick == round(variant.time_s * FLIGHT.rate_hz)
    assert variant.told in found.sentence


def test_the_list_holds_all_variants():
    told = [each.name for each in variants()]
    written = set()
    for file in sorted(firmware_folder().glob("*.[ch]")):
        written |= set(re.findall(r"VARIANT_(\w+)", file.read_text()))
    assert written == set(told)
    assert len(told) == len(set(told)) >= 8


def test_the_page_shows_what_joins_it_and_what_it_can_be_built_with():
    page = (demo_folder().parent / "docs" / "joining.md").read_text()
    join = (firmware_folder() / "join.c").read_text()
    shown = re.findall(r"```c\n(.*?)```", page, re.DOTALL)
    assert len(shown) >= 2
    assert all(each in join for each in shown)
    rows = re.findall(
        r"^\| `([A-Z_]+)` \| (.*) \| `(\w+)` \| (\S+) s, (\w+) \|$", page, re.MULTILINE
    )
    assert rows == [
        (each.name, each.mistake, each.scenario, f"{each.time_s:.2f}", each.state)
        for each in variants()
    ]


def test_it_is_refused_when_the_sequence_file_changes(program, tmp_path):
    """What it says is the file that it was written for, not the one it was built beside."""
    text = Path(FLIGHT.path).read_text()
    changed = tmp_path / "flight.sequence.toml"
    changed.write_text(text.replace("stage_delay = { value = 0.4,", "stage_delay = { value = 0.5,"))
    assert changed.read_text() != text
    with pytest.raises(UsageError, match="executes sequence"):
        check_target(f"exec:{program}", load_sequence(changed))


def test_it_was_written_for_the_present_sequence():
    """Fails after a change of the file: change the firmware, fly it, then write the hash anew."""
    text = (firmware_folder() / "written_for.h").read_text()
    assert "".join(re.findall(r"0x(\w\w)", text)) == FLIGHT.digest


@pytest.mark.parametrize("core", CORES)
def test_it_builds_without_a_warning(core, tmp_path):
    compiler, *target = CORES[core]
    need(compiler)
    single = ("-DDC_SINGLE",) if core == "atmega2560" else ()
    folders = (f"-I{KIT}", f"-I{KIT / 'bench'}", f"-I{firmware_folder()}")
    build_words = [compiler, *target, *STRICT, "-Os", "-DDC_BENCH", *single, *folders]
    run([*build_words, "-c", *OWN, *LINK], cwd=tmp_path)


def test_it_needs_no_library_and_nothing_of_the_kits_logic(tmp_path):
    """Without the bench it is whole: what its files lack, the others have."""
    compiler, *target = CORES["cortex-m3"]
    need(compiler)
    alone = [file for file in OWN if file.name != "join.c"]
    assert len(alone) == len(OWN) - 1
    run(
        [compiler, *target, "-std=c99", "-Os", f"-I{firmware_folder()}", "-c", *alone], cwd=tmp_path
    )
    nm = compiler.replace("gcc", "nm")
    objects = sorted(tmp_path.glob("*.o"))
    lacking = set(run([nm, "-u", "-j", *objects]).split())
    there = set(run([nm, "-j", "--defined-only", *objects]).split())
    assert "__aeabi_dmul" in lacking
    assert {name for name in lacking - there if not name.startswith(("__aeabi_", "/"))} == set()


def test_an_unknown_variant_is_refused(tmp_path):
    with pytest.raises(UsageError, match="unknown variant 'HOLD_LONG'"):
        build(tmp_path / "flight", "HOLD_LONG")


def test_no_file_is_long():
    assert all(len(file.read_text().splitlines()) <= 500 for file in sources())
