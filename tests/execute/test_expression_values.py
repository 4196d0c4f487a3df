"""What expressions come to at run time."""

from __future__ import annotations

import itertools
import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import InternalError
from sequencer.execute.values import Names, compile_expression
from sequencer.expressions import (
    And,
    Arithmetic,
    Comparison,
    Function,
    InState,
    LimitCosine,
    Negate,
    Node,
    Not,
    Number,
    Or,
    Truth,
    Variable,
)

NAMES = Names(
    cells={"a": 3, "b": 4, "c": 5},
    constants={"limit": 2.0, "tilt_max": 0.5},
    cosines={"tilt_max": math.cos(0.5)},
    states={"safe": 0, "ascent": 1, "coast": 2},
)
TRUTHS = (True, False, None)
PAIRS = list(itertools.product(TRUTHS, repeat=2))
TRIPLES = list(itertools.product(TRUTHS, repeat=3))
A, B, C = Variable("a"), Variable("b"), Variable("c")

finite = st.floats(allow_nan=False, allow_infinity=False)
numbers = st.none() | finite


def value(node, a=None, b=None, c=None, state=0):
    return compile_expression(node, NAMES)([state, 0.0, 0, a, b, c])


def bits(number):
    return struct.pack("<d", number)


# Kleene's tables, written out: S. C. Kleene, Introduction to Metamathematics, 1952, section 64
KLEENE_AND = {
    (True, True): True, (True, False): False, (True, None): None,
    (False, True): False, (False, False): False, (False, None): False,
    (None, True): None, (None, False): False, (None, None): None,
}  # fmt: skip
KLEENE_OR = {
    (True, True): True, (True, False): True, (True, None): True,
    (False, True): True, (False, False): False, (False, None): None,
    (None, True): True, (None, False): None, (None, None): None,
}  # fmt: skip
KLEENE_NOT = {True: False, False: True, None: None}


@pytest.mark.parametrize(("a", "b"), PAIRS)
def test_and_or_follow_kleenes_tables(a, b):
    assert value(And((A, B)), a, b) is KLEENE_AND[a, b]
    assert value(Or((A, B)), a, b) is KLEENE_OR[a, b]


@pytest.mark.parametrize("a", TRUTHS)
def test_not_follows_kleenes_table(a):
    assert value(Not(A), a) is KLEENE_NOT[a]


@pytest.mark.parametrize(("a", "b", "c"), TRIPLES)
def test_three_operands_are_two_and_one(a, b, c):
    assert value(And((A, B, C)), a, b, c) is KLEENE_AND[KLEENE_AND[a, b], c]
    assert value(Or((A, B, C)), a, b, c) is KLEENE_OR[KLEENE_OR[a, b], c]


@pytest.mark.parametrize(("a", "b"), PAIRS)
def test_de_morgan(a, b):
    assert value(Not(And((A, B))), a, b) is value(Or((Not(A), Not(B))), a, b)


@pytest.mark.parametrize("operator", ["<", "<=", ">", ">=", "==", "!="])
@pytest.mark.parametrize(("a", "b"), [(None, 1.0), (1.0, None), (None, None)])
def test_comparison_with_a_bad_side_is_unknown(operator, a, b):
    assert value(Comparison(operator, A, B), a, b) is None
    assert value(Comparison(operator, A, Variable("limit")), a) is (
        None if a is None else value(Comparison(operator, A, Number(2.0)), a)
    )


def test_not_less_is_not_true_for_a_bad_value():
    assert value(Not(Comparison("<", A, Variable("limit"))), None) is not True


def test_or_still_works_when_one_side_is_bad():
    either = Or((Comparison(">", A, Variable("limit")), B))
    assert value(either, None, True) is True
    assert value(either, None, False) is None


@given(numbers, numbers)
def test_comparisons_agree_with_python(a, b):
    for operator, compare in {
        "<": float.__lt__, "<=": float.__le__, ">": float.__gt__,
        ">=": float.__ge__, "==": float.__eq__, "!=": float.__ne__,
    }.items():  # fmt: skip
        expected = None if a is None or b is None else compare(a, b)
        assert value(Comparison(operator, A, B), a, b) is expected


def test_comparison_with_limit_and_its_cosine():
    assert value(Comparison(">", A, Variable("limit")), 2.0) is False
    assert value(Comparison(">=", A, Variable("limit")), 2.0) is True
    assert value(Comparison("<", A, LimitCosine("tilt_max")), math.cos(0.6)) is True
    assert value(Comparison("<", A, LimitCosine("tilt_max")), math.cos(0.4)) is False


@given(numbers, numbers, st.sampled_from("+-*/"))
def test_arithmetic_is_ieee_and_never_infinite(a, b, operator):
    found = value(Arithmetic(operator, A, B), a, b)
    if a is None or b is None or (operator == "/" and b == 0.0):
        assert found is None
        return
    expected = {"+": a + b, "-": a - b, "*": a * b, "/": a / b if b else 0.0}[operator]
    if math.isfinite(expected):
        assert bits(found) == bits(expected)
    else:
        assert found is None


@pytest.mark.parametrize(
    ("node", "a", "b"),
    [
        (Arithmetic("/", A, B), 1.0, 0.0),
        (Arithmetic("/", A, B), 0.0, -0.0),
        (Arithmetic("+", A, B), 1e308, 1e308),
        (Arithmetic("*", A, B), 1e200, -1e200),
        (Arithmetic("/", A, B), 1e308, 1e-308),
        (Function("sqrt", (A,)), -1e-300, None),
        (Function("sqrt", (A,)), None, None),
        (Function("abs", (A,)), None, None),
        (Negate(A), None, None),
        (Function("min", (A, B)), 1.0, None),
        (Function("max", (A, B)), None, 1.0),
    ],
)
def test_what_has_no_finite_value_is_bad(node, a, b):
    assert value(node, a, b) is None


def test_root_is_correctly_rounded_and_keeps_negative_zero():
    assert value(Function("sqrt", (A,)), 2.0) == 1.4142135623730951
    assert bits(value(Function("sqrt", (A,)), -0.0)) == bits(-0.0)


@given(finite, finite)
def test_min_and_max_are_cpythons_own_down_to_the_sign_of_zero(a, b):
    assert bits(value(Function("min", (A, B)), a, b)) == bits(min(a, b))
    assert bits(value(Function("max", (A, B)), a, b)) == bits(max(a, b))


def test_of_equal_zeros_min_and_max_take_the_first():
    for name in ("min", "max"):
        assert bits(value(Function(name, (A, B)), -0.0, 0.0)) == bits(-0.0)
        assert bits(value(Function(name, (A, B)), 0.0, -0.0)) == bits(0.0)


def test_literals_limits_and_signs():
    assert value(Number(3.0)) == 3.0
    assert value(Variable("limit")) == 2.0
    assert value(Truth(value=True)) is True
    assert value(Negate(A), 2.0) == -2.0
    assert value(Function("abs", (A,)), -2.0) == 2.0


def test_in_state_asks_for_the_present_state():
    node = InState(("ascent", "coast"))
    assert [value(node, state=index) for index in range(3)] == [False, True, True]


def test_what_the_loader_should_have_refused_is_our_own_fault():
    with pytest.raises(InternalError, match="'nobody'"):
        compile_expression(Variable("nobody"), NAMES)
    with pytest.raises(InternalError, match="'sin'"):
        compile_expression(Function("sin", (A,)), NAMES)
    with pytest.raises(InternalError, match="Node"):
        compile_expression(Node(), NAMES)
