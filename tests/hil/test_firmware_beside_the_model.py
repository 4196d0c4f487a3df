"""The kit in C beside the model: nothing differs; what is told where somebody changed the C."""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

import pytest
from building import need, once
from kit_rig import run

import sequencer
from hil.export import export_c, tables_header, tables_source
from hil.layout_header import KIT
from sequencer.flight import first_divergence
from sequencer.flight.many import fly_one
from sequencer.report.page import shortfalls_as_text
from sequencer.sequence import load_sequence

ROOT = Path(__file__).parents[2]
NAME = "tilt_abort_straddles_staging"
SCENARIO = Path(f"scenarios/{NAME}.scenario.toml")
#: the counter of a common exit lives on; changed, it starts anew like all others
LIVES_ON = re.compile(r"if \(dc_code_at\(s, other_row \+ DC_EXIT_COMMON\).*?== 0\)\n", re.DOTALL)


def build(change=lambda text: text, *flags):
    """The flight computer's program from the kit, its file dc_tick.c changed; as --on takes it."""
    sequence = load_sequence(ROOT / "scenarios/flight.sequence.toml")
    text = change((KIT / "dc_tick.c").read_text(encoding="utf-8"))
    words = (need("cc"), "-std=c99", "-O1", "-w", "-DDC_BENCH", "-DDC_NAMES", "-DSEQUENCE=flight")

    def make(folder):
        files = export_c(sequence, folder, kit=True, bench=True)
        (folder / "dc_tick.c").write_text(text, encoding="utf-8")
        sources = [each for each in files if each.suffix == ".c" and "lm3s" not in each.parts]
        run([*words, *flags, f"-I{folder}", "-o", folder / "flight", *sources])

    parts = [*words, *flags, text, tables_header(sequence), tables_source(sequence)]
    return f"flight=exec:{once(parts, make)}/flight"


@pytest.mark.parametrize("flags", [(), ("-DDC_SINGLE",)], ids=["double", "single"])
def test_the_kit_does_what_the_model_does(flags, monkeypatch):
    monkeypatch.chdir(ROOT)
    record = sequencer.load(SCENARIO).fly(on=build(lambda text: text, *flags))
    assert record.divergences == ()
    assert record.outcome == "recovered"


def test_the_screen_of_the_page(monkeypatch):
    """What docs/targets.md shows is what is shown, line by line."""
    monkeypatch.chdir(ROOT)

    def forgetful(text):
        changed, count = LIVES_ON.subn("(void)lists;\n", text)
        assert count == 1
        return changed

    result = fly_one(SCENARIO, build(forgetful), "compiled")
    divergence = first_divergence(result)
    assert divergence.decisions[0].name == "tilt abort"
    page = (ROOT / "docs/targets.md").read_text(encoding="utf-8")
    block = re.search(rf"^    {NAME}\n.*?^    \.\.\.$", page, re.DOTALL | re.MULTILINE)
    shown = textwrap.dedent(block[0])
    assert shortfalls_as_text(result, 80).startswith(shown.removesuffix("..."))
