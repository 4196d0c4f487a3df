"""Pulses, servos and inhibits: step 5 of a tick."""

from __future__ import annotations

import pytest
from logic_builder import NAN, Run, above, events, flag, logic, no, pulse, servo, state, var, way

from sequencer.expressions import InState
from sequencer.sequence.model import FUNCTION_VERBS

VERB_OF = {kind: verb for kind, verb in FUNCTION_VERBS.items() if kind != "servo"}


def on_go(*do, functions, inhibits=None, truths=("go", "free"), **more):
    """One state; every tick with go = 1 carries out `do`."""
    again = way("again", "a", "a", var("go"), do=do)
    sequence = logic(
        state("a", again), functions=functions, inhibits=inhibits, truths=truths, **more
    )
    return Run(sequence)


def act(out):
    """Events of step 5."""
    return events(out, "fired", "ended", "cut", "blocked", "ignored", "moved")


@pytest.mark.parametrize("kind", VERB_OF)
def test_a_pulse_is_on_for_its_ticks_whatever_the_function(kind):
    run = on_go(f"{VERB_OF[kind]} m", functions=[pulse("m", 3, kind)])
    outs = [run.tick(go=go) for go in (1, 0, 0, 0, 0)]
    assert [out.on[0] for out in outs] == [True, True, True, False, False]
    assert [act(out) for out in outs] == [["fired m"], [], [], ["ended m"], []]


def test_a_pulse_outlives_the_state_that_began_it():
    run = Run(
        logic(
            state("a", way("go", "a", "b", var("go"), do=["fire m"])),
            state("b", way("on", "b", "c", var("go"))),
            state("c"),
            truths=["go"],
            functions=[pulse("m", 4)],
        )
    )
    outs = [run.tick(go=go) for go in (1, 1, 0, 0, 0)]
    assert [out.state for out in outs] == ["b", "c", "c", "c", "c"]
    assert [out.on[0] for out in outs] == [True] * 4 + [False]


def test_a_pulse_counts_late_ticks():
    run = on_go("fire m", functions=[pulse("m", 3)])
    run.tick(go=1)
    out = run.tick(late=4, go=0)
    assert out.on == (False,)
    assert act(out) == ["ended m"]


def test_a_second_fire_is_ignored_and_does_not_lengthen_the_pulse():
    run = on_go("fire m", functions=[pulse("m", 3)])
    outs = [run.tick(go=go) for go in (1, 1, 0, 0)]
    assert [act(out) for out in outs] == [["fired m"], ["ignored m"], [], ["ended m"]]


def test_a_fire_on_the_tick_on_which_the_pulse_is_over_begins_a_new_one():
    run = on_go("fire m", functions=[pulse("m", 2)])
    outs = [run.tick(go=go) for go in (1, 0, 1, 0, 0)]
    assert act(outs[2]) == ["ended m", "fired m"]
    assert [out.on[0] for out in outs] == [True, True, True, True, False]


def test_cut_ends_a_pulse_and_of_one_that_is_off_it_is_nothing():
    run = Run(
        logic(
            state("a", way("stop", "a", "a", var("stop"), do=["cut m"]), entry=["fire m"]),
            truths=["stop"],
            functions=[pulse("m", 9)],
        )
    )
    run.tick(stop=0)
    out = run.tick(stop=1)
    assert act(out) == ["cut m", "fired m"]  # the exit's action, then on_entry: starts again
    assert out.on == (True,)
    assert run["function.m.until"] == 1.0 + 9.0
    off = on_go("cut m", functions=[pulse("m")])
    assert act(off.tick(go=1)) == []


def test_cut_then_fire_restarts_a_pulse():
    run = on_go("cut m", "fire m", functions=[pulse("m", 3)])
    outs = [run.tick(go=go) for go in (1, 1, 0, 0, 0)]
    assert act(outs[1]) == ["cut m", "fired m"]
    assert [out.on[0] for out in outs] == [True, True, True, True, False]


def test_fire_then_cut_leaves_it_off():
    run = on_go("fire m", "cut m", functions=[pulse("m", 3)])
    out = run.tick(go=1)
    assert act(out) == ["fired m", "cut m"]
    assert out.on == (False,)


def test_the_same_function_twice_in_a_tick_counts_once():
    run = on_go("fire m", "fire m", functions=[pulse("m", 3)])
    assert act(run.tick(go=1)) == ["fired m"]
    assert act(run.tick(go=1)) == ["ignored m"]
    blocked = on_go(
        "fire m",
        "fire m",
        functions=[pulse("m", 3, inhibits=["safe"])],
        inhibits={"safe": no("free")},
    )
    assert act(blocked.tick(go=1, free=0)) == ["blocked m"]


def test_a_fire_while_an_inhibit_is_in_place_is_dropped_and_names_the_first():
    run = on_go(
        "fire m",
        functions=[pulse("m", 3, inhibits=["one", "two"])],
        inhibits={"two": no("free"), "one": no("free")},
    )
    out = run.tick(go=1, free=0)
    assert ("blocked", "m", "one") in out.events
    assert out.on == (False,)
    assert not run.tick(go=0, free=1).on[0]  # dropped, not kept for later


def test_an_inhibit_that_is_put_back_cuts_the_pulse():
    run = on_go(
        "fire m", functions=[pulse("m", 9, inhibits=["safe"])], inhibits={"safe": no("free")}
    )
    run.tick(go=1, free=1)
    out = run.tick(go=0, free=0)
    assert ("cut", "m", "safe") in out.events
    assert out.on == (False,)
    assert not run.tick(go=0, free=1).on[0]


def test_an_inhibit_put_back_on_the_tick_of_a_fire_cuts_and_blocks():
    run = on_go(
        "fire m", functions=[pulse("m", 9, inhibits=["safe"])], inhibits={"safe": no("free")}
    )
    run.tick(go=1, free=1)
    assert act(run.tick(go=1, free=0)) == ["cut m", "blocked m"]


@pytest.mark.parametrize("kind", VERB_OF)
def test_an_unknown_inhibit_is_in_place_for_all_but_a_parachute(kind):
    run = on_go(
        f"{VERB_OF[kind]} m",
        functions=[pulse("m", 9, kind, inhibits=["safe"])],
        inhibits={"safe": no("free")},
    )
    expected = "fired m" if kind == "parachute" else "blocked m"
    assert act(run.tick(go=1, free=NAN)) == [expected]


@pytest.mark.parametrize("kind", ["igniter", "parachute"])
def test_an_inhibit_that_becomes_unknown_cuts_a_motor_and_leaves_a_parachute(kind):
    run = on_go(
        "fire m",
        functions=[pulse("m", 9, kind, inhibits=["safe"])],
        inhibits={"safe": no("free")},
    )
    run.tick(go=1, free=1)
    assert run.tick(go=0, free=NAN).on == (kind == "parachute",)


def test_inhibits_see_the_new_state_and_the_flags_of_this_tick():
    inhibits = {"not there": InState(("a",)), "unarmed": no("armed")}
    run = Run(
        logic(
            state("a", way("go", "a", "b", var("go"), do=["fire m"])),
            state("b", entry=["set armed"]),
            truths=["go"],
            flags=[flag("armed")],
            inhibits=inhibits,
            functions=[pulse("m", inhibits=list(inhibits))],
        )
    )
    assert act(run.tick(go=1)) == ["fired m"]


def test_a_flag_that_inhibits_a_fire_of_the_same_tick_blocks_it():
    """Flags change at once and commands wait, whatever their order in the list."""
    run = on_go(
        "fire m",
        "set fired",
        functions=[pulse("m", inhibits=["done"])],
        inhibits={"done": var("fired")},
        flags=[flag("fired")],
    )
    assert act(run.tick(go=1)) == ["blocked m"]


def test_inhibits_see_this_ticks_inputs():
    run = on_go(
        "fire m",
        functions=[pulse("m", inhibits=["low"])],
        inhibits={"low": above("one", "x")},
        numbers=["x"],
    )
    run.tick(go=0, x=0.0)
    assert act(run.tick(go=1, x=2.0)) == ["fired m"]


def test_servo_starts_in_its_position_and_stays_where_it_was_moved():
    run = on_go("move s out", functions=[servo("s", start="mid", mid=0.25, out=0.75)])
    assert [run.tick(go=go).demands for go in (0, 1, 0)] == [(0.25,), (0.75,), (0.75,)]


def test_of_several_moves_of_a_servo_the_last_wins():
    run = on_go("move s out", "move t out", "move s in", functions=[servo("s"), servo("t")])
    out = run.tick(go=1)
    assert out.demands == (0.0, 1.0)
    assert [event for event in out.events if event[0] == "moved"] == [
        ("moved", "t", "out"),
        ("moved", "s", "in"),
    ]


def test_a_servo_whose_inhibit_is_in_place_stays_where_it_is():
    run = on_go(
        "move s out", functions=[servo("s", inhibits=["safe"])], inhibits={"safe": no("free")}
    )
    out = run.tick(go=1, free=0)
    assert out.demands == (0.0,)
    assert act(out) == ["blocked s"]
    assert run.tick(go=1, free=1).demands == (1.0,)


def test_outputs_keep_the_order_of_declaration():
    functions = [pulse("z"), servo("y", out=0.5, start="out"), pulse("a"), servo("b")]
    run = on_go("fire a", functions=functions)
    out = run.tick(go=1)
    assert out.on == (False, True)
    assert out.demands == (0.5, 0.0)
