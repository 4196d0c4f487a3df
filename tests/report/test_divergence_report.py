"""How the first divergence from the model is shown; the divergence is made by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sequencer.flight.result import Shortfall
from sequencer.record.divergence import (
    Constant,
    Decision,
    Divergence,
    Quantity,
    Reading,
    Term,
)
from sequencer.report.divergence import divergence_lines
from sequencer.report.junit import as_junit
from sequencer.report.page import shortfalls_as_text
from sequencer.report.terminal import print_report

FOUND = Divergence(
    computer="flight",
    tick=1432,
    clock=712,
    boot=1,
    state="staging",
    sentence=(
        "flight: at 14.32 s (tick 712 after boot 1, in staging) the model took 'tilt abort', "
        "the firmware stayed"
    ),
    model=("took 'tilt abort'", "entered 'abort_flight'", "fired 'main_chute'"),
    firmware=(),
    decisions=(
        Decision(
            kind="exit",
            name="tilt abort",
            text="tilt > tilt_max and not held_back",
            hold="for 0.03 s",
            needed=3,
            clocks=(709, 710, 711, 712),
            states=("coast", "coast", "staging", "staging"),
            terms=(
                Term("tilt > tilt_max", (False, True, True, True)),
                Term("held_back", (None, False, False, False)),
            ),
            quantities=(
                Quantity("tilt", "deg", (29.5, 30.25, 31.0, 33.75)),
                Quantity("seen", "bool", (None, 0.0, 1.0, 1.0)),
                Quantity("share", "1", (0.5, 0.5, 0.5, 0.123456)),
            ),
            constants=(Constant("tilt_max", "deg", 30.0), Constant("least", "1", 0.5)),
            held=(None, 1, 2, 3),
        ),
    ),
    inputs=(
        Reading("gyro_x", "deg/s", -12.5, fresh=True, age_s=0.0),
        Reading("baro", "m", 151.25, fresh=False, age_s=0.03),
        Reading("range", "m", None, fresh=True, age_s=0.4),
        Reading("parted", "bool", None, fresh=False, age_s=None),
    ),
    declared=("'main_chute' on entry to abort_flight",),
    late=3,
    last_late=711,
)

WIDE = """\
    model        took 'tilt abort', entered 'abort_flight', fired 'main_chute'
    firmware     nothing
    file says    'main_chute' on entry to abort_flight
    late ticks   3 since it booted, the last was tick 711
    exit         'tilt abort' when tilt > tilt_max and not held_back, for 0.03 s
    limits       tilt_max 30 deg; least 0.5
      tick                  709    710      711      712
      state               coast  coast  staging  staging
      tilt > tilt_max        no    yes      yes      yes
      held_back         unknown     no       no       no
      tilt, deg            29.5  30.25       31    33.75
      seen                  bad     no      yes      yes
      share                 0.5    0.5      0.5   0.1235
      held, of 3 ticks        -      1        2        3
    inputs on tick 712
      gyro_x  -12.5 deg/s  fresh
      baro    151.2 m      0.03 s old
      range   bad          fresh, the last good one 0.4 s before
      parted  bad          never received
"""


def test_what_stands_below_the_sentence():
    found = "\n".join(divergence_lines(FOUND, 80)) + "\n"
    assert found == WIDE


def test_a_label_that_leaves_no_room_gets_a_line_of_its_own():
    way = FOUND.decisions[0]
    long = Term("a_name_that_says_all > another_one_that_does", (True, True, True, True))
    made = replace(FOUND, decisions=(replace(way, terms=(way.terms[0], long)),))
    lines = list(divergence_lines(made, 60))
    at = lines.index("      a_name_that_says_all > another_one_that_does")
    assert lines[at + 1].split() == ["yes"] * 4
    assert max(map(len, lines)) <= 60


@pytest.mark.parametrize(
    ("kind", "line"),
    [
        ("exit", "    unknown      counts as false, at the top of a condition"),
        ("inhibit", "    unknown      counts as in place; where it blocks a parachute, as removed"),
    ],
)
def test_what_an_unknown_term_counts_as_is_said_where_there_is_one(kind, line):
    way = replace(FOUND.decisions[0], kind=kind)
    unknown = replace(way, terms=(Term("held_back", (False, True, True, None)),))
    assert line in list(divergence_lines(replace(FOUND, decisions=(unknown,)), 80))
    assert line not in list(divergence_lines(replace(FOUND, decisions=(way,)), 80))


def test_the_oldest_ticks_are_left_out_where_there_is_no_room():
    way = replace(FOUND.decisions[0], states=("landing_burn", "touchdown", "recovery", "recovery"))
    lines = list(divergence_lines(replace(FOUND, decisions=(way,), inputs=()), 44))
    assert "      state    touchdown  recovery  recovery" in lines
    assert any(line.split() == ["tick", "710", "711", "712"] for line in lines)
    assert max(map(len, lines)) <= 44


@pytest.mark.parametrize("width", [60, 80, 120])
def test_a_page_is_no_wider_than_the_terminal(width, make_result, page):
    result = make_result("diverged", shortfalls=(Shortfall(FOUND.sentence, divergence=FOUND),))
    out, text = page(width)
    print_report([result], out)
    assert max(len(line) for line in text().splitlines()) <= width
    told = " ".join(text().split())
    assert "fell short flight: at 14.32 s (tick 712 after boot 1, in staging) the model" in told
    assert "held, of 3 ticks - 1 2 3" in told


def test_it_stands_in_the_failure_of_junit_and_of_pytest(make_result):
    result = make_result("diverged", shortfalls=(Shortfall(FOUND.sentence, divergence=FOUND),))
    assert "      held_back         unknown     no" in as_junit([result])
    assert "      held_back         unknown     no" in shortfalls_as_text(result, 80)
