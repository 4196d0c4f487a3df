"""Trees of expressions: walking, names read, and text that parses to the same tree."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.expressions import (
    And,
    Arithmetic,
    Comparison,
    Function,
    InState,
    LimitCosine,
    Negate,
    Not,
    Number,
    Or,
    Truth,
    Variable,
    unparse,
    variables,
    walk,
)
from sequencer.parsing import Names, Symbol, parse
from sequencer.units import ONE, TRUTH, unit

NAMES = Names(
    {
        "x": Symbol(ONE),
        "y": Symbol(ONE),
        "p": Symbol(TRUTH),
        "q": Symbol(TRUTH),
        "tilt": Symbol(unit("deg").dimension, is_tilt=True),
        "tilt_max": Symbol(unit("deg").dimension, is_angle=True),
    },
    states=("safe", "up"),
)

_NUMBERS = st.recursive(
    st.one_of(
        st.sampled_from([Variable("x"), Variable("y")]),
        st.floats(0, 1e300, allow_nan=False).map(Number),
    ),
    lambda inner: st.one_of(
        inner.map(Negate),
        inner.map(lambda node: Function("abs", (node,))),
        st.builds(Arithmetic, st.sampled_from("+-*/"), inner, inner),
        st.builds(
            lambda n, a, b: Function(n, (a, b)), st.sampled_from(["min", "max"]), inner, inner
        ),
    ),
    max_leaves=8,
)
# A name in both sides: bare numbers are not compared with.
_READING = _NUMBERS.map(lambda node: Arithmetic("+", Variable("x"), node))
_ORDERS = st.sampled_from(["<", "<=", ">", ">=", "==", "!="])
_TILTS = st.builds(Comparison, _ORDERS, st.just(Variable("tilt")), st.just(LimitCosine("tilt_max")))
_TRUTHS = st.recursive(
    st.one_of(
        st.sampled_from([Variable("p"), Variable("q"), Truth(True), Truth(False)]),
        st.sampled_from([InState(("safe",)), InState(("up", "safe"))]),
        st.builds(Comparison, _ORDERS, _READING, _READING),
        _TILTS,
    ),
    lambda inner: st.one_of(
        inner.map(Not),
        st.lists(inner, min_size=2, max_size=3).map(lambda nodes: And(tuple(nodes))),
        st.lists(inner, min_size=2, max_size=3).map(lambda nodes: Or(tuple(nodes))),
    ),
    max_leaves=8,
)


@given(st.one_of(_NUMBERS, _TRUTHS).filter(lambda node: len(unparse(node)) < 1000))
def test_the_text_of_a_tree_parses_to_the_same_tree(node):
    assert parse(unparse(node), NAMES).node == node


@pytest.mark.parametrize(
    "text",
    [
        "x - (y - x)",
        "(x + y) * x",
        "-(x + y)",
        "--x",
        "x / (y * x)",
        "x + (y + x)",
        "not (p and q)",
        "(p or q) and p",
        "p or q and p",
        "not p and q",
        "(p and q) and p",
        "tilt > tilt_max",
        "in_state(safe, up)",
        "min(min(x, y), x) < y",
        "0.1 * x",
        "1e+16 * x",
        "3 * x",
    ],
)
def test_text_keeps_only_the_brackets_that_it_needs(text):
    assert unparse(parse(text, NAMES).node) == text


def test_walk_meets_every_node_parents_first():
    node = parse("not p or x < abs(y)", NAMES).node
    kinds = [type(part).__name__ for part in walk(node)]
    assert kinds == ["Or", "Not", "Variable", "Comparison", "Variable", "Function", "Variable"]


def test_variables_are_named_once_in_order():
    assert variables(parse("y < x + y and q and tilt < tilt_max", NAMES).node) == (
        "y",
        "x",
        "q",
        "tilt",
        "tilt_max",
    )
