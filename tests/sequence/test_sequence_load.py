"""A good sequence file: what the loader makes of it."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import InputError
from sequencer.expressions import (
    Arithmetic,
    Comparison,
    InState,
    LimitCosine,
    Not,
    Number,
    Variable,
)
from sequencer.sequence import Command, Input, check_messages, load_sequence
from sequencer.sequence.ticks import ticks, whole_ticks
from sequencer.units import exact

PERIOD_EDIT = ('baro = { unit = "m", period_s = 0.04 }', 'baro = {{ unit = "m", period_s = {} }}')


def test_head(good):
    assert (good.name, good.about, good.rate_hz, good.start) == (
        "flight",
        "a test article",
        100,
        "safe",
    )
    assert good.boot_ticks == 80


def test_declarations_keep_their_order(good):
    assert list(good.inputs)[:3] == ["accel_x", "gyro_x", "gyro_y"]
    assert list(good.estimates)[:4] == ["accel", "climb", "speed", "top"]
    assert list(good.states) == ["safe", "flying", "falling"]


def test_inputs(good):
    assert good.inputs["baro"] == Input("baro", "m", 0.04, None)
    assert good.inputs["pad_go"] == Input("pad_go", "bool", None, ("pad", "go"))


def test_limits_are_si_and_angles_have_a_cosine(good):
    tilt = good.limits["tilt_max"]
    assert tilt.value == math.radians(25)
    assert tilt.tolerance == math.radians(2)
    assert tilt.cosine == math.cos(math.radians(25))
    wait = good.limits["long_wait"]
    assert (wait.value, wait.unit, wait.cosine) == (0.07, "ms", None)


def test_flags_have_their_defaults(good):
    armed, fired = good.flags["armed"], good.flags["chute_fired"]
    assert (armed.initial, armed.retained) == (False, False)
    assert (fired.initial, fired.retained) == (False, True)


def coefficients(good, name):
    return dict(good.estimates[name].block.coefficients)


def test_coefficients_are_worked_out_in_exact_decimals(good):
    assert coefficients(good, "accel") == {"a": float(Fraction(1, 6))}
    # gated by the barometer: 0.04 s between updates, not a tick
    assert coefficients(good, "climb") == {"a": float(Fraction(1, 6)), "dt": 0.04}
    assert coefficients(good, "speed") == {"dt": 0.01, "initial": 1.0}  # 3.6 km/h
    assert coefficients(good, "baro_age") == {"rate_hz": 100.0}
    assert coefficients(good, "flight_time") == {"rate_hz": 100.0}
    assert coefficients(good, "agreed") == {"needed": 2.0, "quorum": 2.0}
    assert coefficients(good, "tilt") == {"dt": 0.01}
    assert coefficients(good, "top") == coefficients(good, "height") == {}


def test_arguments_stand_in_the_order_of_the_block(good):
    speed = good.estimates["speed"].block
    assert speed.arguments == (
        ("of", Variable("accel")),
        ("while", Variable("armed")),
        ("reset_when", InState(("safe",))),
    )
    names = [name for name, _ in good.estimates["tilt"].block.arguments]
    assert names == ["rate_x", "rate_y", "rate_z", "reset_when"]
    assert [name for name, _ in good.estimates["agreed"].block.arguments] == [
        "member_1",
        "member_2",
        "member_3",
    ]
    assert good.estimates["top"].block.arguments[1] == ("reset_when", Not(Variable("armed")))


def test_gates_and_subjects(good):
    assert good.estimates["climb"].block.gate == "baro"
    assert good.estimates["height"].block.gate is None
    assert good.estimates["baro_age"].block.subject == "baro"
    assert good.loops["control"].block.subject == "tilt"


def test_only_the_attitude_is_kept_as_a_cosine(good):
    assert [e.name for e in good.estimates.values() if e.is_cosine] == ["tilt"]


def test_expressions_are_blocks_too(good):
    assert good.estimates["half"].block.kind == "expression"
    assert good.estimates["half"].block.arguments == (
        ("expression", Arithmetic("*", Number(0.5), Variable("height"))),
    )
    assert good.estimates["lift"].block.kind == "expression"


def test_functions(good):
    assert good.functions["motor"].inhibits == ("key_out", "chute_out")
    assert good.functions["motor"].pulse_ticks == 100
    assert good.functions["parting"].pulse_ticks == 7
    assert good.functions["lamp"].pulse_ticks == 1
    assert good.functions["gimbal_y"].positions == (("centre", 0.0), ("out", math.pi / 2))
    legs = good.functions["legs"]
    assert (legs.positions, legs.start, legs.pulse_ticks) == (
        (("stowed", 0.0), ("out", 1.0)),
        "stowed",
        0,
    )


def test_loops(good):
    loop = good.loops["control"]
    assert loop.outputs == (("y", "gimbal_y"), ("z", "gimbal_z"))
    assert dict(loop.block.coefficients) == {
        "kp": 0.4,
        "ki": 0.1,
        "kd": 0.08,
        "limit": math.radians(5),
        "dt": 0.01,
    }


def test_states_and_their_commands(good):
    flying = good.states["flying"]
    assert flying.phase == "flight"
    assert flying.on_entry == (Command("fire", "motor"), Command("release", "clamp"))
    assert flying.on_leave == (Command("cut", "motor"), Command("move", "legs", "out"))
    assert flying.loops == ("control",)


def test_exits(good):
    (key,) = good.states["safe"].exits
    assert (key.name, key.sources, key.to, key.hold_ticks) == (
        "safe to flying",
        ("safe",),
        "flying",
        7,
    )
    assert [action.verb for action in key.actions] == ["sound", "show", "set"]
    over, stale, low = good.states["flying"].exits
    assert (over.name, over.fresh, over.hold_ticks) == ("over the top", "baro", 3)
    assert (stale.name, stale.hold_ticks) == ("flying to falling", 1)
    assert low.name == "flying to falling 2"
    assert stale.text == "baro_age > long_wait and time_in_state > long_wait"


def test_common_exits(good):
    (tilt,) = good.common_exits
    assert tilt.sources == ("safe", "flying")
    assert tilt.common
    assert tilt.condition == Comparison("<", Variable("tilt"), LimitCosine("tilt_max"))
    assert [way.name for way in good.eligible_exits("flying")] == [
        "tilt abort",
        "over the top",
        "flying to falling",
        "flying to falling 2",
    ]
    assert good.eligible_exits("falling") == ()


def test_lines_point_into_the_file(good, good_text):
    lines = good_text.splitlines()
    assert lines[good.states["flying"].line - 1] == "[states.flying]"
    assert lines[good.states["flying"].exits[1].line - 1] == "[[states.flying.exits]]"
    assert lines[good.common_exits[0].line - 1] == "[[common_exits]]"


def test_publication(good):
    assert good.publication is not None
    assert good.publication.period_ticks == 5
    assert good.publication.fields == ("armed", "lift", "half")


def test_what_is_read_cannot_be_changed(good):
    with pytest.raises(TypeError):
        good.states["new"] = good.states["safe"]


def test_a_state_may_have_the_name_of_an_input(edited):
    sequence = edited(
        ("[states.falling]", "[states.baro]"),
        ('hold_samples = 3\nname = "over the top"', 'hold_samples = 3\nname = "over the top"'),
        ('[[states.flying.exits]]\nto = "falling"\nwhen = "climb', _exit_to_baro("climb")),
        ('[[states.flying.exits]]\nto = "falling"\nwhen = "baro_age', _exit_to_baro("baro_age")),
        ('[[states.flying.exits]]\nto = "falling"\nwhen = "height', _exit_to_baro("height")),
        ('to = "falling"\nwhen = "tilt', 'to = "baro"\nwhen = "tilt'),
    )
    assert "baro" in sequence.states
    assert "baro" in sequence.inputs


def _exit_to_baro(word):
    return f'[[states.flying.exits]]\nto = "baro"\nwhen = "{word}'


def test_a_default_name_gives_way_to_a_given_one(edited):
    sequence = edited(('name = "over the top"', 'name = "flying to falling 2"'))
    names = [way.name for way in sequence.states["flying"].exits]
    assert names == ["flying to falling 2", "flying to falling", "flying to falling 3"]


def test_an_input_faster_than_the_ticks_updates_its_block_once_a_tick(edited):
    old, new = PERIOD_EDIT
    sequence = edited((old, new.format(0.001)))
    assert coefficients(sequence, "climb")["dt"] == 0.01


def test_the_shortest_file_that_says_something(tmp_path):
    path = tmp_path / "x.toml"
    path.write_text(
        '[sequence]\nname = "x"\nrate_hz = 1\nboot_s = 0\nstart = "a"\n'
        '[states.a]\nphase = "ground"\n'
    )
    sequence = load_sequence(path)
    assert (sequence.boot_ticks, sequence.publication) == (0, None)
    assert sequence.states["a"].exits == ()


def test_the_digest_is_of_what_the_file_says(good, good_text, edited):
    spaced = good_text.replace(" = ", "   =  ").replace("\n[", "\n\n# a remark\n[")
    assert edited((good_text, spaced)).digest == good.digest
    assert edited(("rate_hz = 100", "rate_hz = 200")).digest != good.digest


def test_a_retained_flag_and_another_reason_are_another_digest(good, edited):
    assert edited(("armed = {}", "armed = { retained = true }")).digest != good.digest
    assert edited(('"over the top" }', '"beyond the top" }')).digest != good.digest


# --- seconds to ticks ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seconds", "rate", "count"),
    [
        (0.07, 100, 7),
        (0.0701, 100, 8),
        (0.0, 100, 1),
        (0.001, 100, 1),
        (0.29, 100, 29),
        (2, 50, 100),
    ],
)
def test_holds_are_counted_in_exact_decimals(seconds, rate, count):
    """N = max(1, ceil(h f)); the floating product 0.07 * 100 is 7.000000000000001."""
    assert ticks(seconds, rate) == count


@given(st.integers(0, 10**7), st.integers(1, 5), st.integers(1, 1000))
def test_the_ceiling_agrees_with_fractions(mantissa, places, rate):
    seconds = Fraction(mantissa, 10**places)
    product = seconds * rate
    expected = max(1, -(-product.numerator // product.denominator))
    assert ticks(float(f"{mantissa}e-{places}"), rate) == expected


@given(st.integers(1, 10**5), st.integers(1, 1000))
def test_a_whole_number_of_ticks_is_known_as_one(count, rate):
    period = Fraction(count, rate)
    seconds = count / rate
    is_decimal = exact(seconds) == period  # 1/3 s has no decimal
    assert whole_ticks(seconds, rate) == (count if is_decimal else None)


def test_less_than_a_tick_is_no_whole_number_of_ticks():
    assert whole_ticks(0.005, 100) is None
    assert whole_ticks(0.0, 100) is None


# --- messages ------------------------------------------------------------------------------------

PAD = """\
[sequence]
name = "pad"
rate_hz = 50
boot_s = 0
start = "safe"
[flags]
{field} = {{}}
[inputs]
accel = {{ unit = "m/s2" }}
half = {{ unit = "{unit}", from = "flight.half" }}
[estimates]
smooth = {{ block = "median3", of = "accel", unit = "m/s2" }}
[publish]
period_s = 0.02
fields = ["{field}", "smooth"]
[states.safe]
phase = "ground"
"""


@pytest.fixture
def pad(tmp_path):
    def load(field="go", unit="m"):
        path = tmp_path / "pad.sequence.toml"
        path.write_text(PAD.format(field=field, unit=unit))
        return load_sequence(path)

    return load


def test_messages_that_fit(good, pad):
    check_messages({"flight": good, "pad": pad()})


def test_an_unknown_computer(good):
    with pytest.raises(InputError, match="no computer 'pad' in this scenario") as caught:
        check_messages({"flight": good})
    assert caught.value.line == 16
    assert caught.value.file is not None
    assert caught.value.file.endswith("good.sequence.toml")


def test_a_field_that_is_not_published(good, pad):
    with pytest.raises(InputError, match="computer 'pad' publishes no 'go'") as caught:
        check_messages({"flight": good, "pad": pad(field="ok_go")})
    assert caught.value.nearest == "ok_go"


def test_a_field_in_another_unit(good, pad):
    with pytest.raises(InputError, match=r"read in 'm/s' but 'flight\.half' is in m") as caught:
        check_messages({"flight": good, "pad": pad(unit="m/s")})
    assert caught.value.line == 10


def test_another_unit_of_the_same_dimension_is_fine(good, pad):
    check_messages({"flight": good, "pad": pad(unit="mm")})


def test_a_truth_is_not_read_as_a_number(edited, pad):
    flight = edited(('unit = "bool", from = "pad.go"', 'unit = "bool", from = "pad.smooth"'))
    with pytest.raises(InputError, match=r"read in 'bool' but 'pad\.smooth' is in m/s2"):
        check_messages({"flight": flight, "pad": pad()})
