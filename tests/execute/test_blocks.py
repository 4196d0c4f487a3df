"""Each block: its difference equation, its start, and what a bad value does to it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from logic_builder import NAN, Run, above, estimate, logic, loop, no, servo, state, var, way

from sequencer.expressions import InState

OF_X = ("of", var("x"))
DT = 0.01


def outputs(kind, stream, *arguments, truths=(), limits=None, **options):
    """Output of a block per tick, None where bad; a tick of the stream is x or a dict."""
    block = estimate("e", kind, *arguments, **options)
    run = Run(logic(state("s"), estimates=[block], truths=truths, limits=limits))
    found = []
    for values in stream:
        run.tick(**(values if isinstance(values, dict) else {"x": values}))
        found.append(None if run["estimate.e.bad"] else run["estimate.e"])
    return found


def test_expression_is_evaluated_on_every_tick():
    assert outputs("expression", [1.0, NAN, 3.0], ("expression", var("x"))) == [1.0, None, 3.0]


def test_low_pass_starts_at_the_first_finite_value_and_keeps_its_state_over_bad_ones():
    assert outputs("low_pass", [NAN, 4.0, 8.0, NAN, 8.0], OF_X, a=0.25) == [
        None,
        4.0,
        5.0,
        None,
        5.75,
    ]


def test_an_update_that_overflows_is_bad_and_keeps_the_state():
    assert outputs("low_pass", [-1e308, 1.5e308, -1e308], OF_X, a=0.5) == [-1e308, None, -1e308]
    assert outputs("integral", [1e308] * 3, OF_X, dt=1.0, initial=0.0)[2] is None


def test_filtered_rate_divides_by_the_ticks_since_the_last_finite_value():
    found = outputs("filtered_rate", [2.0, 3.0, NAN, NAN, 6.0], OF_X, a=0.5, dt=0.5)
    rate = (6.0 - 3.0) / (3 * 0.5)
    assert found == [0.0, 1.0, None, None, 1.0 + 0.5 * (rate - 1.0)]


def test_filtered_rate_recovers_from_a_rate_that_overflows():
    found = outputs("filtered_rate", [1e308, -1e308, 1e308], OF_X, a=0.5, dt=0.5)
    assert found == [0.0, None, 0.0]


def test_integral_counts_only_while_its_condition_is_true():
    stream = [
        {"x": 2.0, "on": 1},
        {"x": 2.0, "on": 0},
        {"x": NAN, "on": 0},
        {"x": NAN, "on": NAN},
        {"x": NAN, "on": 1},
        {"x": 4.0, "on": 1},
    ]
    found = outputs(
        "integral", stream, OF_X, ("while", var("on")), truths=["on"], dt=0.5, initial=1.0
    )
    assert found == [2.0, 2.0, 2.0, 2.0, None, 4.0]


def test_integral_reset_wins_and_does_nothing_else_on_that_tick():
    stream = [{"x": 2.0, "zero_it": z} for z in (0, 0, 1, 0, NAN)] + [{"x": NAN, "zero_it": 1}]
    found = outputs(
        "integral",
        stream,
        OF_X,
        ("reset_when", var("zero_it")),
        truths=["zero_it"],
        dt=1,
        initial=5.0,
    )
    assert found == [7.0, 9.0, 5.0, 7.0, 9.0, 5.0]


def test_peak_keeps_the_greatest_and_starts_anew_on_reset():
    again = ("reset_when", var("again"))
    stream = [{"x": x, "again": a} for x, a in [(3, 0), (1, 0), (NAN, 0), (5, 0), (2, 1), (1, 0)]]
    assert outputs("peak", stream, OF_X, again, truths=["again"]) == [3, 3, None, 5, 2, 2]


def test_peak_that_is_reset_by_a_bad_value_starts_at_the_next_finite_one():
    again = ("reset_when", var("again"))
    stream = [{"x": x, "again": a} for x, a in [(9, 0), (NAN, 1), (NAN, 0), (4, 0)]]
    assert outputs("peak", stream, OF_X, again, truths=["again"]) == [9, None, None, 4]


def test_median_of_three_drops_a_single_spike():
    assert outputs("median3", [2, 2, 50, 3, 4, NAN, 5], OF_X) == [2, 2, 2, 3, 4, None, 4]


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=20))
def test_median_of_three_is_the_median(xs):
    padded = [xs[0], xs[0], *xs]
    expected = [sorted(padded[i : i + 3])[1] for i in range(len(xs))]
    assert outputs("median3", xs, OF_X) == expected


def test_age_counts_clock_ticks_since_the_last_finite_value_or_boot():
    run = Run(logic(state("s"), estimates=[estimate("e", "age", subject="x", rate_hz=100.0)]))
    ages = []
    for values, late in [
        ({}, 0),
        ({}, 0),
        ({"x": 1.0}, 0),
        ({"x": NAN}, 0),
        ({}, 3),
        ({"x": 0.0}, 0),
    ]:
        run.tick(late=late, **values)
        assert not run["estimate.e.bad"]
        ages.append(run["estimate.e"])
    assert ages == [0.0, 0.01, 0.0, 0.01, 0.05, 0.0]


def test_timer_counts_clock_ticks_from_the_first_true_tick():
    timer = estimate("e", "timer", ("start_when", var("go")), ("reset_when", var("stop")))
    run = Run(logic(state("s"), estimates=[timer], truths=["go", "stop"]))
    times = []
    for go, stop, late in [
        (NAN, 0, 0),
        (1, 0, 0),
        (0, 0, 0),
        (0, 0, 2),
        (1, 1, 0),
        (1, 0, 0),
        (0, 0, 0),
    ]:
        run.tick(late=late, go=go, stop=stop)
        times.append(run["estimate.e"])
    assert times == [0.0, 0.0, 0.01, 0.04, 0.0, 0.0, 0.01]


def test_latch_sets_over_resets_and_holds_on_unknown():
    latch = estimate("e", "latch", ("set_when", var("a")), ("reset_when", var("b")), unit="bool")
    run = Run(logic(state("s"), estimates=[latch], truths=["a", "b"]))
    seen = []
    for a, b in [(NAN, NAN), (1, 0), (NAN, NAN), (1, 1), (0, 1), (NAN, NAN)]:
        run.tick(a=a, b=b)
        seen.append(run["estimate.e"])
        assert not run["estimate.e.bad"]
    assert seen == [0, 1, 1, 1, 0, 0]


@pytest.mark.parametrize(
    ("votes", "expected"),
    [
        ((1, 1, 1), 1.0),
        ((1, 1, 0), 1.0),
        ((1, 0, 0), 0.0),
        ((1, 1, NAN), 1.0),
        ((1, 0, NAN), 0.0),
        ((1, NAN, NAN), None),
        ((NAN, NAN, NAN), None),
    ],
)
def test_vote_of_two_out_of_three_with_a_quorum_of_two(votes, expected):
    members = tuple((f"member_{index}", var(name)) for index, name in enumerate("abc"))
    found = outputs(
        "vote",
        [dict(zip("abc", votes, strict=True))],
        *members,
        truths="abc",
        unit="bool",
        needed=2.0,
        quorum=2.0,
    )
    assert found == [expected]


def test_gated_block_is_updated_only_on_ticks_that_refreshed_its_input():
    sum_x = estimate("e", "integral", OF_X, gate="x", dt=1.0, initial=0.0)
    run = Run(logic(state("s"), estimates=[sum_x]))
    seen = []
    for values in ({}, {"x": 2.0}, {}, {}, {"x": 3.0}, {"x": NAN}, {}, {"x": 1.0}):
        run.tick(**values)
        seen.append(None if run["estimate.e.bad"] else run["estimate.e"])
    # starts good at `initial`; a refreshed bad value stays bad until the next refresh
    assert seen == [0.0, 2.0, 2.0, 2.0, 5.0, None, None, 6.0]


def test_gated_filter_has_no_value_before_its_first_refresh():
    run = Run(logic(state("s"), estimates=[estimate("e", "low_pass", OF_X, gate="x", a=0.5)]))
    run.tick()
    assert run["estimate.e.bad"] == 1.0


def test_a_late_tick_does_not_stretch_dt():
    blocks = [estimate("e", "integral", OF_X, dt=1.0, initial=0.0)]
    run = Run(logic(state("s"), estimates=blocks))
    run.tick(x=1.0)
    run.tick(late=5, x=1.0)
    assert run["estimate.e"] == 2.0


def test_estimates_read_the_state_as_it_was_before_the_tick():
    there = estimate("e", "expression", ("expression", InState(("b",))), unit="bool")
    run = Run(
        logic(
            state("a", way("go", "a", "b", var("go"))), state("b"), estimates=[there], truths=["go"]
        )
    )
    assert run.tick(go=1).state == "b"
    assert run["estimate.e"] == 0.0
    run.tick()
    assert run["estimate.e"] == 1.0


# --- attitude and the loop on it


def rates(*more):
    gyros = ((f"rate_{axis}", var(f"g{axis}")) for axis in "xyz")
    return estimate("tilt", "attitude", *gyros, *more, dt=DT)


def test_attitude_starts_nose_up_and_turns_with_the_rate():
    run = Run(logic(state("s"), numbers=["gx", "gy", "gz"], estimates=[rates()]))
    rate = math.radians(30.0)
    for _ in range(100):
        run.tick(gx=0.0, gy=rate, gz=0.0)
    # Euler steps on the quaternion turn by 2 atan(dt*w/2) per tick
    turned = 100 * 2 * math.atan(DT * rate / 2)
    assert run["estimate.tilt"] == pytest.approx(math.cos(turned), abs=1e-12)
    assert math.degrees(turned) == pytest.approx(30.0, abs=0.01)


def test_attitude_is_blind_to_roll_and_stays_of_unit_length():
    run = Run(logic(state("s"), numbers=["gx", "gy", "gz"], estimates=[rates()]))
    for _ in range(500):
        run.tick(gx=9.0, gy=0.0, gz=0.0)
    assert run["estimate.tilt"] == pytest.approx(1.0, abs=1e-12)
    assert sum(run[f"estimate.tilt.q{i}"] ** 2 for i in range(4)) == pytest.approx(1.0, abs=1e-15)


def test_attitude_keeps_its_quaternion_over_bad_rates_and_resets():
    tilt = rates(("reset_when", var("upright")))
    run = Run(logic(state("s"), numbers=["gx", "gy", "gz"], truths=["upright"], estimates=[tilt]))
    run.tick(gx=0, gy=1, gz=0, upright=0)
    before = run["estimate.tilt.q2"]
    run.tick(gx=0, gy=NAN, gz=0, upright=0)
    assert run["estimate.tilt.bad"] == 1.0
    assert run["estimate.tilt.q2"] == before
    run.tick(gx=0, gy=NAN, gz=0, upright=1)
    assert run["estimate.tilt.bad"] == 0.0
    assert run["estimate.tilt.q2"] == -math.sqrt(0.5)


def loop_run(**gains):
    sequence = logic(
        state("on", loops=["pid"]),
        numbers=["gx", "gy", "gz"],
        estimates=[rates()],
        functions=[servo("gy_servo"), servo("gz_servo")],
        loops=[loop("pid", "tilt", **gains)],
    )
    return Run(sequence)


def test_loop_turns_the_nose_back():
    run = loop_run(kp=2.0, limit=10.0)
    for _ in range(10):
        out = run.tick(gx=0, gy=0.5, gz=0.0)
    turned = 10 * 2 * math.atan(DT * 0.5 / 2)
    assert out.demands[0] == pytest.approx(-2.0 * math.sin(turned), rel=1e-12)
    assert out.demands[1] == pytest.approx(0.0, abs=1e-15)


def test_loop_about_the_other_axis_and_damping():
    run = loop_run(kp=2.0, kd=0.3, limit=10.0)
    for _ in range(10):
        out = run.tick(gx=0, gy=0.0, gz=0.5)
    turned = 10 * 2 * math.atan(DT * 0.5 / 2)
    assert out.demands[1] == pytest.approx(-2.0 * math.sin(turned) - 0.3 * 0.5, rel=1e-12)


def test_loop_demand_stays_within_its_limit():
    run = loop_run(kp=1e6, limit=0.1)
    for _ in range(3):
        out = run.tick(gx=0, gy=1.0, gz=-1.0)
    assert out.demands == (-0.1, 0.1)


def test_loop_integrator_stops_at_the_limit_and_comes_back_at_once():
    run = loop_run(kp=0.0, ki=10.0, limit=0.1)
    run.tick(gx=0, gy=30.0, gz=0)  # leans over by 17 degrees
    for _ in range(100):
        out = run.tick(gx=0, gy=0, gz=0)
    assert out.demands[0] == -0.1
    assert run["loop.pid.i_y"] == -0.1 / 10.0
    run.tick(gx=0, gy=-60.0, gz=0)  # and over to the other side
    assert run.tick(gx=0, gy=0, gz=0).demands[0] > -0.1


def test_loop_holds_the_servo_while_its_attitude_is_bad():
    run = loop_run(ki=1.0)
    held = run.tick(gx=0, gy=1.0, gz=0).demands
    before = run["loop.pid.i_y"]
    assert held[0] < 0.0
    assert run.tick(gx=0, gy=NAN, gz=0).demands == held
    assert run.tick(gx=NAN, gy=1.0, gz=0).demands == held
    assert run["loop.pid.i_y"] == before


def test_condition_on_a_bad_estimate_is_not_true():
    sequence = logic(
        state(
            "a",
            way("below", "a", "b", above("zero", "e")),
            way("not above", "a", "b", no("high")),
        ),
        state("b"),
        estimates=[
            estimate("e", "low_pass", OF_X, a=0.5),
            estimate("high", "expression", ("expression", above("e", "zero")), unit="bool"),
        ],
    )
    run = Run(sequence)
    assert run.tick(x=NAN).state == "a"
    assert run.tick(x=-1.0).state == "b"
