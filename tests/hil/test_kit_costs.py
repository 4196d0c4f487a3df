"""Flash, memory and stack of the kit are what docs/kit.md says, and nothing in it calls itself."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from kit_rig import CORES, SOURCES, need, run

from hil.export import export_c
from hil.layout_header import KIT
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import load_sequence

#: another version of a compiler may need a little more, or less
SLACK = 0.04

_PAGE = Path(__file__).parents[2] / "docs" / "kit.md"
_ROW = re.compile(r"\| (\S+) \| (single|double) " + r"\| (\d+) " * 4 + r"\|$", re.MULTILINE)


def rows():
    """Core, precision, and bytes of kit, tables, memory and stack, as the page has them."""
    return [
        (core, precision, tuple(map(int, found)))
        for core, precision, *found in _ROW.findall(_PAGE.read_text())
    ]


def _deepest(folder, start):
    """Bytes of stack that a function comes to with all that it calls.

    A name is looked for in its own file first. Functions of the compiler count nothing.
    """
    own, calls = {}, {}
    for listing in folder.glob("dc_*.s"):
        for line in listing.with_suffix(".su").read_text().splitlines():
            where, size, _ = line.split("\t")
            own[listing.stem, where.split(":")[-1]] = int(size)
        here = None
        for line in listing.read_text().splitlines():
            if label := re.match(r"(\w+):", line):
                here = listing.stem, label[1]
            elif jump := re.match(r"\s+(?:bl?|r?call|r?jmp)\s+(\w+)$", line):
                calls.setdefault(here, set()).add(jump[1])

    def depth(function, above):
        assert function not in above, f"{function} calls itself"
        below = 0
        for name in calls.get(function, ()):
            for known in own:
                local = (function[0], name)
                if known == local or (local not in own and known[1] == name):
                    below = max(below, depth(known, (*above, function)))
        return own[function] + below

    return max(depth(function, ()) for function in own if function[1] == start)


def test_the_page_has_rows_of_both_families():
    assert {core for core, *_ in rows()} >= {"cortex-m4", "atmega2560"}


@pytest.mark.parametrize(("core", "precision", "told"), rows())
def test_it_costs_what_the_page_says(core, precision, told, tmp_path):
    compiler, *target = CORES[core]
    need(compiler)
    export_c(load_sequence(demo_folder() / "flight.sequence.toml"), tmp_path)
    (tmp_path / "main.c").write_text('#include "flight_tables.h"\nflight_memory memory = {{0}};\n')
    flags = [*target, *(["-DDC_SINGLE"] if precision == "single" else [])]
    build = [compiler, *flags, "-std=c99", "-Os", f"-I{KIT}"]
    kept = ("-save-temps=obj", "-fstack-usage")  # listings, and the stack of each function
    run([*build, *kept, "-c", *SOURCES, "flight_tables.c", "main.c"], cwd=tmp_path)
    tools = compiler.removesuffix("gcc")

    def flash(*objects):
        lines = run([f"{tools}size", *objects], cwd=tmp_path).splitlines()[1:]
        return sum(int(line.split()[0]) for line in lines)

    memory = run([f"{tools}nm", "-S", "main.o"], cwd=tmp_path)
    size = re.search(r"^\w+ (\w+) B memory$", memory, re.MULTILINE)
    measured = (
        flash(*(f"{source.stem}.o" for source in SOURCES)),
        flash("flight_tables.o"),
        int(size[1], 16),
        _deepest(tmp_path, "dc_tick"),
    )
    assert measured == pytest.approx(told, rel=SLACK)
