"""The expression language: what it means, what it refuses, and that nothing in it is executed."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import InputError
from sequencer.expressions import (
    And,
    Arithmetic,
    Comparison,
    Function,
    InState,
    LimitCosine,
    Negate,
    Number,
    Variable,
)
from sequencer.parsing import MAX_LENGTH, Names, Symbol, parse, parse_condition
from sequencer.units import ONE, unit


def symbol(text, **marks):
    return Symbol(unit(text).dimension, **marks)


NAMES = Names(
    {
        "accel": symbol("m/s2"),
        "height": symbol("m"),
        "floor": symbol("m"),
        "least": symbol("m/s2"),
        "time_in_state": symbol("s"),
        "wait": symbol("s"),
        "armed": symbol("bool"),
        "tilt": symbol("deg", is_tilt=True),
        "tilt_2": symbol("deg", is_tilt=True),
        "tilt_max": symbol("deg", is_angle=True),
        "turn": symbol("deg"),
        "ratio": symbol("1"),
    },
    states=("safe", "up"),
    barred={"later": "is an estimate declared further down (line 9)"},
)


def refused(text, names=NAMES):
    with pytest.raises(InputError) as caught:
        parse(text, names)
    message = str(caught.value)
    assert "\n" not in message
    assert len(message) < 250
    return caught.value


def test_chained_comparisons_are_split():
    assert parse_condition("floor < height <= floor", NAMES) == And(
        (
            Comparison("<", Variable("floor"), Variable("height")),
            Comparison("<=", Variable("height"), Variable("floor")),
        )
    )


@pytest.mark.parametrize(
    ("text", "node"),
    [
        ("tilt > tilt_max", Comparison("<", Variable("tilt"), LimitCosine("tilt_max"))),
        ("tilt <= tilt_max", Comparison(">=", Variable("tilt"), LimitCosine("tilt_max"))),
        ("tilt_max < tilt", Comparison(">", LimitCosine("tilt_max"), Variable("tilt"))),
        ("tilt == tilt_max", Comparison("==", Variable("tilt"), LimitCosine("tilt_max"))),
    ],
)
def test_a_comparison_with_a_tilt_is_turned_round_to_cosines(text, node):
    assert parse_condition(text, NAMES) == node


@pytest.mark.parametrize(
    "text",
    [
        "tilt > turn",
        "tilt > tilt_2",
        "tilt + tilt_max > turn",
        "-tilt > tilt_max",
        "abs(tilt) < turn",
    ],
)
def test_a_tilt_stands_only_beside_an_angle_limit(text):
    assert "tilt" in refused(text).what
    assert "can only be compared with" in refused(text).what


def test_min_and_max_of_more_than_two_nest_to_the_left():
    first = Function("min", (Variable("height"), Variable("floor")))
    assert parse("min(height, floor, height)", NAMES).node == Function(
        "min", (first, Variable("height"))
    )


def test_units_of_results():
    cases = {
        "height / wait": "m/s",
        "sqrt(height * height)": "m",
        "sqrt(accel * height)": "m/s",
        "abs(-height)": "m",
        "max(height, floor)": "m",
        "2 * height + floor": "m",
        "1 / wait": "1/s",
        "height / floor": "1",
        "+height": "m",
    }
    for text, expected in cases.items():
        assert parse(text, NAMES).dimension == unit(expected).dimension, text


def test_in_state_and_truths():
    assert parse("in_state(safe, up)", NAMES).node == InState(("safe", "up"))
    assert parse("not armed or True", NAMES).is_truth


@pytest.mark.parametrize(
    ("text", "what", "near"),
    [
        ("acel > least", "unknown name 'acel'", "accel"),
        ("later", "declared further down (line 9)", None),
        ("safe", "is a state; write in_state(safe)", None),
        ("in_state(saef)", "unknown state 'saef'", "safe"),
        ("in_state()", "needs the name of a state", None),
        ("in_state(up=safe)", "unexpected '='", None),
        ("armed && later", "'&' has no place in an expression; 'and' is the word for it", None),
        ("armed || later", "'|' has no place in an expression; 'or' is the word for it", None),
        ("!armed", "'!' has no place in an expression; 'not' is the word for it", None),
        ("in_state('up')", "a quotation mark has no place in an expression", None),
        ("abs", "needs arguments", None),
        ("sqr(height)", "unknown function 'sqr'", "sqrt"),
        ("abs(height, floor) > floor", "takes one argument, not 2", None),
        ("max(height)", "takes two or more arguments, not 1", None),
        ("height > accel", "mixes m and m/s2", None),
        ("height + wait", "mixes m and s", None),
        ("min(height, ratio)", "mixes m and 1", None),
        ("height + 1", "mixes m and 1", None),
        ("height > 3", "bare number 3", None),
        ("3 < height", "bare number 3", None),
        ("ratio > 0.5", "bare number 0.5", None),
        ("ratio > -0.5", "bare number -0.5", None),
        ("ratio > 1 / 2", "bare number 1 / 2", None),
        ("armed == True", "cannot be compared", None),
        ("armed > height", "cannot be compared", None),
        ("armed + height", "a number is needed", None),
        ("-armed", "a number is needed", None),
        ("height and armed", "take conditions", None),
        ("not height", "take conditions", None),
        ("height = floor", "'==' compares", None),
        ("height >", "is no expression", None),
        ("height floor", "is no expression", None),
        ("", "empty", None),
        (" \n ", "empty", None),
    ],
)
def test_what_makes_no_sense_is_told(text, what, near):
    error = refused(text)
    assert what in error.what
    assert error.nearest == near


def test_a_condition_must_be_true_or_false():
    with pytest.raises(InputError, match="'height' is a quantity in m, a condition is needed"):
        parse_condition("height", NAMES)
    with pytest.raises(InputError, match="is a tilt, a condition is needed"):
        parse_condition("tilt", NAMES)


@pytest.mark.parametrize(
    "text",
    [
        "__import__('os').system('true')",
        "__import__",
        "().__class__.__bases__",
        "armed.__class__",
        "height.real",
        "armed if armed else armed",
        "lambda: armed",
        "(lambda armed: armed)(armed)",
        "[armed for armed in armed]",
        "any(armed for x in armed)",
        "(armed for armed in armed)",
        "{armed}",
        "{1: 2}",
        "armed := True",
        "(armed := True)",
        "f'{armed}'",
        "'armed'",
        '"armed"',
        "b'x'",
        "height[0]",
        "height(floor)",
        "abs(height)(floor)",
        "abs(*height)",
        "abs(**height)",
        "abs(x=height)",
        "height ** 2 > floor",
        "9**9**9**9 > ratio",
        "height // floor",
        "height % floor",
        "height @ floor",
        "height << 2",
        "height & floor",
        "~height",
        "height is floor",
        "height in floor",
        "await armed",
        "yield",
        "armed; armed",
        "armed\\\n",
        "armed # comment",
        "armed, armed",
        "None",
        "...",
        "1j * ratio",
        "0x1f * ratio",
        "1_000 * ratio",
        "1if armed else 2",
        "1and armed",
        "exec(armed)",
        "print(armed)",
        "\x00armed",
        "armed\x00",
        "аrmed",  # the first letter is Cyrillic
        "hеight > floor",  # the second letter is Cyrillic
        "ａrmed",  # full-width: Python itself would take it for "armed"
        "armed\u200b",
        "height > ﬂoor",
        "１ * ratio",
        "height ≥ floor",
        "height\u00a0> floor\u2028",
        "1e999 * ratio > ratio",
        "9" * 900 + " * ratio",
        "(" * 60 + "armed" + ")" * 60,
        "-" * 900 + "ratio",
        "not " * 200 + "armed",
        "ratio+" * 160 + "ratio",
        "ratio*(" * 120 + "ratio" + ")" * 120,
        "armed and " * 99 + "(armed",
    ],
)
def test_hostile_text_does_not_parse(text):
    refused(text)


@pytest.mark.parametrize(
    "text", ["a" * 1_000_000, "(" * 1_000_000, "-" * 1_000_000, "1" * 1_000_000]
)
def test_a_megabyte_is_refused_before_it_is_looked_at(text):
    assert refused(text).what == f"expression is longer than {MAX_LENGTH} characters"


def test_a_long_number_is_still_a_number():
    text = "0." + "1" * 990
    assert parse(text, NAMES).node == Number(float(text))


def test_lookalike_letters_are_named_by_their_code():
    assert "U+0430" in refused("аrmed").what
    assert "U+00A0" in refused("height\u00a0> floor").what


@given(st.text(max_size=60))
def test_any_text_parses_or_is_an_input_error(text):
    fault = None
    try:
        parse(text, NAMES)
    except InputError as error:
        fault = error
    assert fault is None or "\n" not in str(fault)


_WORDS = """
    height floor accel armed tilt tilt_max ratio later safe in_state in_state(safe) abs min sqrt
    ( ) , + - * / < <= > >= == != and or not if else lambda for in True None 1 2.5 1e5
    . = : ** [ ] '
"""
_PIECES = st.sampled_from(_WORDS.split())


@given(st.lists(_PIECES, max_size=14).map(" ".join))
def test_any_row_of_words_parses_or_is_an_input_error(text):
    fault = None
    try:
        parse(text, NAMES)
    except InputError as error:
        fault = error
    assert fault is None or "\n" not in str(fault)


SIGNALS = Names(
    {
        "height_m": symbol("m"),
        "floor_m": symbol("m"),
        "tilt_deg": Symbol(unit("deg").dimension, unit("deg").factor),
        "turn_rad": symbol("rad"),
        "flight.armed": symbol("bool"),
        "ratio": Symbol(ONE),
    },
    literals=True,
)


@pytest.mark.parametrize(
    "text",
    [
        "height_m > 3",
        "3 < height_m <= 5.5",
        "abs(height_m - 100) < 5",
        "max(height_m, 0) < 3 + floor_m",
        "tilt_deg < 20",
        "2 * tilt_deg < 20",
        "flight.armed and height_m < 2 * floor_m",
        "-1 < height_m",
        "height_m / floor_m < 0.5",
    ],
)
def test_over_signals_a_number_takes_the_unit_of_the_other_side(text):
    assert parse(text, SIGNALS).is_truth


def test_over_signals_names_may_have_dots():
    assert parse("flight.armed", SIGNALS).node == Variable("flight.armed")


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("tilt_deg < turn_rad", "units of different size"),
        ("height_m < tilt_deg", "mixes m and rad"),
        ("flight.amred", "unknown name 'flight.amred'"),
        ("in_state(safe)", "unknown function 'in_state'"),
        ("sqrt(tilt_deg * tilt_deg) < 3", "SI units"),
    ],
)
def test_over_signals_units_are_still_checked(text, what):
    assert what in refused(text, SIGNALS).what


def test_the_scale_of_a_product_is_kept():
    parsed = parse("tilt_deg * 2", SIGNALS)
    assert parsed.scale == unit("deg").factor != Fraction(1)
    assert parsed.node == Arithmetic("*", Variable("tilt_deg"), Number(2.0))
    assert parse("-tilt_deg", SIGNALS).node == Negate(Variable("tilt_deg"))
