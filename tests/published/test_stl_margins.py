"""Margins against the quantitative semantics of signal temporal logic, as a library computes it.

Source: Donzé, Maler, "Robust satisfaction of temporal logic over real-valued signals", FORMATS 2010
[M for the definition]; values computed with the PyPI library rtamt 0.4.10, discrete time, offline
[L], recomputed here. Its quirks: windows cut off by the end of the trace are evaluated on what is
left (so the traces here ask for nothing that late, or the window functions are given the same
rule); it may append to the lists it is handed; > and >= are worth the same.
"""

from __future__ import annotations

import json
from math import inf

import numpy as np
import pytest
import rtamt

from sequencer.checks import RequirementTable, build_requirements, judge
from sequencer.checks.conditions import evaluate, read_condition
from sequencer.checks.windows import sliding_max, sliding_min
from sequencer.errors import InputError
from sequencer.record import FlightRecord, Signal

X = np.array([0, 1, 3, 2, 5, 4, 6, 1, -1, 2], dtype=float)
Y = np.array([5, 4, 4, 1, 0, 2, 3, 3, 2, 1], dtype=float)
UNITS = {"x": "1", "y": "1"}


def library(formula, x, y):
    """Margins of a formula on every sample, by rtamt."""
    monitor = rtamt.StlDiscreteTimeSpecification()
    for name in ("x", "y", "out"):
        monitor.declare_var(name, "float")
    monitor.spec = f"out = {formula}"
    monitor.parse()
    times = [float(i) for i in range(len(x))]
    found = monitor.evaluate({"time": times, "x": x.tolist(), "y": y.tolist()})
    return np.array([value for _, value in found])


def worth(condition, x=X, y=Y):
    """What a condition of ours is worth on every sample."""
    return evaluate(read_condition(condition, UNITS), {"x": x, "y": y}, len(x)).low


def margin(x, y, **keys):
    """Margin of one requirement over two signals, one sample a second."""

    def complain(loc, what, *, nearest=None):
        return InputError(f"{loc}: {what}", nearest=nearest)

    table = RequirementTable.model_validate_json(json.dumps({"name": "a", "reason": "b", **keys}))
    requirement = build_requirements([table], complain, UNITS)[0]
    signals = {name: Signal(name, "1", values) for name, values in (("x", x), ("y", y))}
    return judge(FlightRecord("trace", 1, len(x), (), signals, "landed"), [requirement])[0].margin


@pytest.mark.parametrize(
    ("ours", "theirs", "row"),
    [
        ("x >= 2", "x>=2", [-2, -1, 1, 0, 3, 2, 4, -1, -3, 0]),
        ("x >= 2 and y >= 1", "(x>=2) and (y>=1)", [-2, -1, 1, 0, -1, 1, 2, -1, -3, 0]),
        ("x >= 2 or y >= 1", "(x>=2) or (y>=1)", [4, 3, 3, 0, 3, 2, 4, 2, 1, 0]),
        ("not x >= 2 or y >= 1", "(x>=2) implies (y>=1)", [4, 3, 3, 0, -1, 1, 2, 2, 3, 0]),
        ("abs(x - y) <= 2", "abs(x-y)<=2", [-3, -1, 1, 1, -3, 0, -1, 0, -1, 1]),
    ],
)
def test_conditions(ours, theirs, row):
    """Rows "x >= 2" to "|x - y| <= 2" of the reference table [L]; > and >= are worth the same."""
    np.testing.assert_array_equal(worth(ours), row)
    np.testing.assert_array_equal(library(theirs, X, Y), row)
    np.testing.assert_array_equal(worth(ours.replace(">=", ">").replace("<=", "<")), row)


@pytest.mark.parametrize(
    ("slide", "predicate", "first", "last", "theirs", "row"),
    [
        (sliding_min, "x >= -2", 0, inf, "always(x>=-2)", [1] * 9 + [4]),
        (sliding_max, "x >= 5", 0, inf, "eventually(x>=5)", [1] * 7 + [-3] * 3),
        (sliding_min, "x >= 1", 0, 3, "always[0:3](x>=1)", [-1, 0, 1, 1, 0, -2, -2, -2, -2, 1]),
        (sliding_max, "x >= 5", 0, 3, "eventually[0:3](x>=5)", [-2, 0, 0, 1, 1, 1, 1, -3, -3, -3]),
        (sliding_max, "x >= 5", 2, 4, "eventually[2:4](x>=5)",
         [0, 0, 1, 1, 1, -3, -3, -3, -inf, -inf]),
        (sliding_max, "x >= 3", -2, 0, "once[0:2](x>=3)", [-3, -2, 0, 0, 2, 2, 3, 3, 3, -1]),
        (sliding_min, "x >= 1", -2, 0, "historically[0:2](x>=1)",
         [-1, -1, -1, 0, 1, 1, 3, 0, -2, -2]),
    ],
)  # fmt: skip
def test_windows(slide, predicate, first, last, theirs, row):
    """Rows G, F, once, historically of the reference table [L]; cut windows as the library does."""
    outside = -inf if slide is sliding_max else inf
    np.testing.assert_array_equal(slide(worth(predicate), first, last, outside=outside), row)
    np.testing.assert_array_equal(library(theirs, X, Y), row)


def test_nested_windows():
    """Row G[0,3] F[0,2](x >= 4) of the reference table [L]."""
    row = [-1, -1, 1, 1, -2, -2, -2, -2, -2, -2]
    inner = sliding_max(worth("x >= 4"), 0, 2, outside=-inf)
    np.testing.assert_array_equal(sliding_min(inner, 0, 3, outside=inf), row)
    np.testing.assert_array_equal(library("always[0:3](eventually[0:2](x>=4))", X, Y), row)


def test_bounded_response():
    """Row G((x >= 5) -> F[0,3](y >= 3)), whole trace [L]: 0; a lower threshold of y gives 1."""
    keys = {"pattern": "response", "when_condition": "x >= 5", "within_s": [0, 3]}
    assert margin(X, Y, then_condition="y >= 3", **keys) == 0
    assert library("always((x>=5) implies (eventually[0:3](y>=3)))", X, Y)[0] == 0
    assert margin(X, Y, then_condition="y >= 2", **keys) == 1
    assert library("always((x>=5) implies (eventually[0:3](y>=2)))", X, Y)[0] == 1


@pytest.fixture(scope="module")
def traces():
    """24 pairs of random walks of 60 samples; x stays far below 0 on the last 20."""
    generator = np.random.Generator(np.random.Philox(key=20))
    walks = np.cumsum(generator.normal(0.1, 1, (24, 2, 60)), axis=2)
    walks[:, 0, 40:] = -1e3
    return walks


@pytest.mark.parametrize(("low", "high"), [(0, 0), (0, 5), (3, 9), (0, 19)])
def test_random_traces(traces, low, high):
    """always, eventually, response and precedence on random traces, exactly equal [L]."""
    ends = {"then_condition": "y < 2", "within_s": [low, high], "when_condition": "x > 0"}
    begins = {"only_after_condition": "y < 2", "within_s": [low, high], "condition": "x > 0"}
    window = f"[{low}:{high}]"
    compared = 0
    for x, y in traces:
        window_keys = {"within_s": [low, high]}
        got = margin(x, y, pattern="universality", condition="x > 0 or y < 2", **window_keys)
        assert got == library(f"always{window}((x>0) or (y<2))", x, y)[0]
        got = margin(x, y, pattern="existence", condition="x > 0 and y < 2", **window_keys)
        assert got == library(f"eventually{window}((x>0) and (y<2))", x, y)[0]
        if not (x > 0).any():
            continue  # not exercised: no margin of ours
        compared += 1
        got = margin(x, y, pattern="response", **ends)
        assert got == library(f"always((x>0) implies (eventually{window}(y<2)))", x, y)[0]
        got = margin(x, y, pattern="precedence", **begins)
        assert got == library(f"always((x>0) implies (once{window}(y<2)))", x, y)[0]
        got = margin(x, y, pattern="response", when_condition="x > 0", then_throughout="y < 2",
                     within_s=[low, high])  # fmt: skip
        assert got == library(f"always((x>0) implies (always{window}(y<2)))", x, y)[0]
    assert compared >= 15
