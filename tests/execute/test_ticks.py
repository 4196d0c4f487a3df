"""Exits, holds, changes of state, boot and publication: steps 1 to 4 of a tick."""

from __future__ import annotations

import math

import pytest
from logic_builder import (
    NAN,
    Run,
    above,
    events,
    flag,
    logic,
    loop,
    no,
    pulse,
    servo,
    state,
    var,
    way,
)
from logic_builder import estimate as estimated

from sequencer.expressions import Comparison, InState, Number, Or, Truth, Variable

ALWAYS = Truth(value=True)


def after(seconds):
    return Comparison(">=", Variable("time_in_state"), Number(seconds))


# --- holds


@pytest.mark.parametrize("hold", [1, 2, 7])
def test_exit_fires_on_the_nth_consecutive_true_tick(hold):
    run = Run(logic(state("a", way("up", "a", "b", above("x", "one"), hold=hold)), state("b")))
    for _ in range(hold - 1):
        assert run.tick(x=2.0).state == "a"
    assert run.tick(x=2.0).state == "b"


def test_a_false_tick_and_an_unknown_one_start_the_hold_over():
    run = Run(logic(state("a", way("up", "a", "b", above("x", "one"), hold=2)), state("b")))
    for x in (2.0, 0.0, 2.0, NAN, 2.0):
        assert run.tick(x=x).state == "a"
    assert run.tick(x=2.0).state == "b"


def test_a_stale_input_keeps_its_last_value_and_goes_on_counting():
    run = Run(logic(state("a", way("up", "a", "b", above("x", "one"), hold=3)), state("b")))
    run.tick(x=2.0)
    run.tick()
    assert run.tick().state == "b"


def test_fresh_hold_counts_only_ticks_that_refreshed_its_input():
    up = way("up", "a", "b", above("x", "one"), hold=3, fresh="x")
    run = Run(logic(state("a", up), state("b")))
    for values in ({"x": 2.0}, {}, {}, {"x": 2.0}, {}, {}, {}):
        assert run.tick(**values).state == "a"
    assert run["hold.up"] == 2.0
    assert run.tick(x=2.0).state == "b"


def test_fresh_hold_starts_over_on_a_refreshed_bad_value_even_if_the_condition_is_true():
    either = Or((above("x", "one"), var("key")))
    run = Run(
        logic(
            state("a", way("up", "a", "b", either, hold=2, fresh="x")), state("b"), truths=["key"]
        )
    )
    run.tick(x=2.0, key=1)
    run.tick(x=NAN)
    assert run["hold.up"] == 0.0
    run.tick(x=2.0)
    assert run.tick(x=2.0).state == "b"


def test_own_counters_start_at_zero_on_entry():
    run = Run(
        logic(
            state("a", way("slow", "a", "c", ALWAYS, hold=3), way("go", "a", "b", var("go"))),
            state("b", way("back", "b", "a", ALWAYS)),
            state("c"),
            truths=["go"],
        )
    )
    assert [run.tick(go=go).state for go in (0, 1, 0, 0, 0, 0)] == ["a", "b", "a", "a", "a", "c"]


def abort(*, sources, hold=4, to="c"):
    return way("abort", sources, to, above("x", "one"), hold=hold, common=True)


def test_common_exit_counts_on_between_two_states_that_both_list_it():
    run = Run(
        logic(
            state("a", way("go", "a", "b", var("go"))),
            state("b"),
            state("c"),
            truths=["go"],
            common=[abort(sources=["a", "b"])],
        )
    )
    assert [run.tick(x=2.0, go=go).state for go in (0, 1, 0, 0)] == ["a", "b", "b", "c"]


def test_common_exit_starts_over_after_a_state_that_does_not_list_it():
    run = Run(
        logic(
            state("a", way("go", "a", "b", var("go"))),
            state("b", way("back", "b", "a", ALWAYS)),
            state("c"),
            truths=["go"],
            common=[abort(sources=["a"])],
        )
    )
    seen = [run.tick(x=2.0, go=go).state for go in (0, 0, 1, 0, 0, 0, 0, 0)]
    assert seen == ["a", "a", "b", "a", "a", "a", "a", "c"]


def test_an_exit_that_has_fired_starts_at_zero():
    again = way("again", ["a"], "a", above("x", "one"), hold=3, common=True)
    run = Run(logic(state("a"), common=[again]))
    fired = [bool(events(run.tick(x=2.0), "took")) for _ in range(9)]
    assert fired == [False, False, True] * 3


def test_common_exits_come_first_and_the_others_keep_their_order():
    exits = [way("own 1", "a", "b", ALWAYS), way("own 2", "a", "c", ALWAYS)]
    states = [state("a", *exits), state("b"), state("c"), state("d")]
    common = [way("any", ["a"], "d", var("key"), common=True)]
    for key, expected in [(1, "d"), (0, "b")]:
        run = Run(logic(*states, truths=["key"], common=common))
        assert run.tick(key=key).state == expected


def test_the_loser_keeps_its_count_and_fires_on_its_next_true_tick():
    first = way("first", ["a"], "b", ALWAYS, hold=2, common=True)
    second = way("second", ["a", "b"], "c", above("x", "one"), hold=2, common=True)
    run = Run(logic(state("a"), state("b"), state("c"), common=[first, second]))
    run.tick(x=2.0)
    assert run.tick(x=2.0).state == "b"
    assert run["hold.second"] == 2.0
    assert run.tick(x=2.0).state == "c"


def test_a_full_counter_does_not_fire_on_a_tick_that_does_not_count():
    first = way("first", ["a"], "b", ALWAYS, common=True)
    second = way("second", ["a", "b"], "c", above("x", "one"), fresh="x", common=True)
    run = Run(logic(state("a"), state("b"), state("c"), common=[first, second]))
    assert run.tick(x=2.0).state == "b"
    assert run.tick().state == "b"
    assert run.tick(x=2.0).state == "c"


def test_at_most_one_change_per_tick():
    run = Run(
        logic(
            state("a", way("1", "a", "b", ALWAYS)),
            state("b", way("2", "b", "c", ALWAYS)),
            state("c"),
        )
    )
    assert [run.tick().state for _ in range(3)] == ["b", "c", "c"]


# --- a change


def test_a_change_runs_on_leave_then_the_exits_actions_then_on_entry():
    run = Run(
        logic(
            state("a", way("go", "a", "b", var("go"), do=["set f2"]), leave=["set f1"]),
            state("b", entry=["set f3", "clear f1"]),
            truths=["go"],
            flags=[flag(f"f{i}") for i in (1, 2, 3)],
        )
    )
    run.tick(go=0)
    out = run.tick(go=1)
    assert events(out) == ["took go", "set f1", "set f2", "entered b", "set f3", "cleared f1"]
    assert run.executor.flags() == {"f1": False, "f2": True, "f3": True}


def test_an_exit_to_its_own_state_leaves_and_enters_again():
    run = Run(
        logic(
            state("a", way("again", "a", "a", var("go")), entry=["set f"], leave=["clear f"]),
            truths=["go"],
            flags=[flag("f")],
        )
    )
    run.tick(go=0)
    run.tick(go=0)
    assert events(run.tick(go=1)) == ["took again", "cleared f", "entered a", "set f"]
    assert run["entered"] == 2.0


def test_a_flag_is_an_event_only_when_it_changes():
    run = Run(
        logic(
            state("a", way("again", "a", "a", ALWAYS), entry=["set f"], leave=["clear g"]),
            flags=[flag("f", initial=True), flag("g", initial=True)],
        )
    )
    assert events(run.tick()) == ["entered a", "took again", "cleared g", "entered a"]


def test_a_flag_that_an_action_changes_is_seen_by_conditions_on_the_next_tick():
    run = Run(
        logic(
            state("a", way("go", "a", "b", ALWAYS, do=["set f"])),
            state("b", way("on", "b", "c", var("f"))),
            state("c"),
            flags=[flag("f")],
        )
    )
    assert [run.tick().state for _ in range(2)] == ["b", "c"]


# --- time


def test_time_in_state_is_zero_on_the_tick_of_entry():
    run = Run(logic(state("a", way("later", "a", "b", after(0.03))), state("b"), rate_hz=100))
    assert [run.tick().state for _ in range(4)] == ["a", "a", "a", "b"]


def test_time_in_state_counts_late_ticks_and_holds_do_not():
    sequence = logic(
        state("a", way("held", "a", "b", ALWAYS, hold=3), way("late", "a", "c", after(0.1))),
        state("b"),
        state("c"),
    )
    held = Run(sequence)
    held.tick()
    assert held.tick(late=5).state == "a"
    late = Run(sequence)
    late.tick()
    assert late.tick(late=9).state == "c"


def test_seven_hundredths_of_a_second_is_the_seventh_tick():
    """Time in state is a quotient of whole ticks, rounded once, and not a sum of 0.01 [C]."""
    run = Run(logic(state("a", way("later", "a", "b", after(0.07))), state("b"), rate_hz=100))
    assert [run.tick().state for _ in range(8)] == ["a"] * 7 + ["b"]


# --- boot


def test_boot_enters_the_start_state_on_tick_zero_and_tries_its_exits_there():
    run = Run(
        logic(
            state("a", way("go", "a", "b", var("f")), entry=["set f", "sound horn"]),
            state("b"),
            flags=[flag("f")],
            functions=[pulse("horn", kind="horn")],
        )
    )
    out = run.tick()
    assert out.state == "b"
    assert events(out) == ["entered a", "set f", "took go", "entered b", "fired horn"]


def test_inputs_are_bad_until_they_are_received():
    run = Run(logic(state("a", way("1", "a", "b", no("key"))), state("b"), truths=["key"]))
    assert run.tick().state == "a"
    assert run.tick(key=0).state == "b"


def test_reboot_keeps_only_retained_flags():
    sequence = logic(
        state("a", way("go", "a", "b", above("x", "one"), hold=2, do=["fire m", "move s out"])),
        state("b", entry=["set kept", "set lost"]),
        flags=[flag("kept", retained=True), flag("lost")],
        estimates=[estimated("low", "low_pass", ("of", var("x")), a=0.5)],
        functions=[pulse("m", 50), servo("s")],
        numbers=["x"],
    )
    run = Run(sequence)
    for _ in range(5):
        out = run.tick(x=2.0)
    assert out.on == (True,)
    assert out.demands == (1.0,)
    run.reboot()
    fresh = Run(sequence)
    expected = fresh.executor.registers() | {"flag.kept": 1.0}
    assert run.executor.registers() == expected
    out = run.tick()
    assert (out.state, out.on, out.demands) == ("a", (False,), (0.0,))


def test_a_cold_boot_gives_every_flag_its_initial_value():
    run = Run(
        logic(
            state("a", entry=["clear on", "set off"]),
            flags=[flag("on", initial=True, retained=True), flag("off", retained=True)],
        )
    )
    run.tick()
    run.executor.boot()
    assert run.executor.flags() == {"on": True, "off": False}


def test_a_reboot_before_tick_zero_finds_the_flags_as_the_last_finished_tick_left_them():
    run = Run(logic(state("a", entry=["set f"]), flags=[flag("f", retained=True)]))
    run.executor.boot({"f": False})
    run.reboot()
    assert run.executor.flags() == {"f": False}


# --- control loops


def loops_in(*states):
    return logic(
        *states,
        numbers=["gx", "gy", "gz"],
        truths=["go"],
        estimates=[
            estimated(
                "tilt", "attitude", *((f"rate_{axis}", var(f"g{axis}")) for axis in "xyz"), dt=0.01
            )
        ],
        functions=[servo("gy_servo", start="in"), servo("gz_servo", start="in")],
        loops=[loop("pid", "tilt", ki=1.0)],
    )


def test_a_loop_runs_from_the_tick_that_enters_its_state_and_is_reset_when_it_is_enabled():
    go = var("go")
    run = Run(
        loops_in(
            state("a", way("1", "a", "b", go), loops=["pid"]),
            state("b", way("2", "b", "a", go)),
        )
    )
    run.tick(gx=0, gy=1, gz=0, go=0)
    first = run["loop.pid.i_y"]
    held = run.tick(gx=0, gy=0, gz=0, go=1)
    assert held.demands == run.tick(gx=0, gy=5, gz=0, go=0).demands  # nobody moves the servo in b
    assert run.tick(gx=0, gy=-5, gz=0, go=1).state == "a"
    assert run["loop.pid.i_y"] == pytest.approx(first, rel=1e-6)  # one tick's worth: reset


def test_a_loop_that_both_states_run_goes_on():
    run = Run(
        loops_in(
            state("a", way("1", "a", "b", var("go")), loops=["pid"]), state("b", loops=["pid"])
        )
    )
    run.tick(gx=0, gy=1, gz=0, go=0)
    first = run["loop.pid.i_y"]
    run.tick(gx=0, gy=0, gz=0, go=1)
    assert run["loop.pid.i_y"] == pytest.approx(2 * first, rel=1e-6)


def test_a_move_wins_over_the_loop_on_its_tick_only():
    go = way("again", "a", "a", var("go"), do=["move gy_servo out"])
    run = Run(loops_in(state("a", go, loops=["pid"])))
    assert run.tick(gx=0, gy=1, gz=0, go=1).demands[0] == 1.0
    assert -0.1 < run.tick(gx=0, gy=0, gz=0, go=0).demands[0] < 0.0


# --- publication


def test_publication_comes_on_every_nth_clock_tick_that_is_executed():
    run = Run(
        logic(
            state("a"),
            flags=[flag("f", initial=True)],
            estimates=[estimated("e", "expression", ("expression", var("x")))],
            publish=(3, ("f", "e")),
        )
    )
    assert run.tick(x=5.0).message == (1.0, 5.0)
    assert run.tick().message is None
    assert run.tick().message is None
    assert run.tick().message == (1.0, 5.0)
    assert run.tick(late=2).message == (1.0, 5.0)
    assert run.tick(late=3).message is None  # tick 9 was late: nothing is made up for it
    flag_value, bad = run.tick(late=1, x=NAN).message
    assert flag_value == 1.0
    assert math.isnan(bad)


def test_publication_shows_the_tick_that_it_is_made_on():
    run = Run(
        logic(
            state("a", way("go", "a", "b", ALWAYS, do=["set f"])),
            state("b"),
            flags=[flag("f")],
            estimates=[
                estimated("there", "expression", ("expression", InState(("b",))), unit="bool")
            ],
            publish=(1, ("f", "there")),
        )
    )
    assert run.tick().message == (1.0, 0.0)
    assert run.tick().message == (1.0, 1.0)
