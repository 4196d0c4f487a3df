"""The page that tells what each scenario of the demo is there for (docs/demo.md) is true."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from worth import DEMO, SUFFIX, lists, names, read_page

from sequencer.studies.mutants import mutants_of
from sequencer.studies.mutants.flying import Suite, Which

REBORN = (
    *("flight_reboots_at_ignition", "heard_at_the_last_tick", "let_go_while_it_slept"),
    *("lift_lied_in_reboot", "reboot_at_release", "reboot_at_ignition_unheard"),
    "reboot_while_held",
)
HELD = (
    *("hold_down_stuck", "hold_down_stuck_force_high", "key_out_while_clamped"),
    *("reboot_at_ignition_unheard", "reboot_while_held"),
)
BURNT_OUT = (
    *("abort_button", "attempted_again", "flame_stuck_after_abort", "key_out_at_ignition"),
    *("motors_late_after_abort", "pad_reboots_at_ignition", "pad_reboots_while_waiting"),
)
#: sequence, scenario, a mutant that it alone notices, and all scenarios that come to that state
ALONE = (
    ("flight", "reboot_while_held", "term dropped of 'still on the pad': not pad_released", REBORN),
    (
        "flight",
        "let_go_while_it_slept",
        "term dropped of 'let go while it slept': not lift_seen",
        REBORN,
    ),
    ("flight", "key_out_while_clamped", "hold removed of 'key taken out after an abort'", HELD),
    ("pad", "motors_late_after_abort", "term dropped of 'another attempt': burning", BURNT_OUT),
)


def test_something_speaks_for_every_scenario():
    counts, limits, in_words, part = read_page()
    assert all(count > 0 for count in counts.values())
    rest = [name for name in names() if name not in counts and name not in limits]
    assert part == lists(counts, limits, rest)  # else: see the head of tests/worth.py
    shown = re.findall(r"`(\w+)`", part)
    assert sorted([*shown, *in_words]) == names()


@pytest.mark.parametrize(
    ("sequence", "name", "mutant", "near"), ALONE, ids=lambda each: str(each)[:24]
)
def test_without_what_it_expects_a_mistake_would_pass(sequence, name, mutant, near, tmp_path: Path):
    """The number of mutants that are noticed goes down by this one at least."""
    suite = Suite(DEMO / f"{sequence}.sequence.toml", tmp_path)
    order = []
    for each in near:
        path = DEMO / f"{each}{SUFFIX}"
        which = Which(each, path, suite.look(path) or "")
        assert suite.baseline(which).shortfall is None
        order.append(which)
    (changed,) = [one for one in mutants_of(suite.sequence) if one.id == mutant]
    found = suite.fly(changed, order, wanted=len(order))
    assert [which.name for which in order if which.key in found.killers] == [name]
    assert read_page()[0][name] > 0
