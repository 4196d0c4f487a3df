"""What the solver proves holds for random assignments, and what it shows is really so."""

from __future__ import annotations

import math
from collections import Counter
from pathlib import Path
from random import Random

import pytest

from sequencer.execute.values import STATE, compile_expression, names_of
from sequencer.expressions import And, Comparison, InState, Not, Or, Truth, Variable, walk
from sequencer.lint.solving import (
    Evaluator,
    Is,
    Moment,
    Proved,
    Solver,
    Undecided,
    Witness,
    wording,
)
from sequencer.parsing import Names, Symbol, parse_condition
from sequencer.sequence.model import Block, Estimate, Flag, Input, Limit, Sequence, State
from sequencer.testing.expressions import Vocabulary, random_truth
from sequencer.units import ONE, TRUTH, unit

pytest.importorskip("z3")

ASSIGNMENTS = 10_000
NUMBERS = ("x", "y", "z")
VALUES = {"low": 0.0, "high": 2.0, "small": 1.25}
FLAGS = ("armed", "fired")


def plain_sequence(rate_hz=100, **estimates):
    """A sequence of three states that only lends its names to conditions."""
    limits = {name: Limit(name, value, "1", 0.0, "") for name, value in VALUES.items()}
    limits["tilted"] = Limit("tilted", 0.5, "rad", 0.0, "", math.cos(0.5))
    states = {name: State(name, "flight", (), (), (), (), 1) for name in ("one", "two", "three")}
    inputs = {name: Input(name, "1") for name in NUMBERS}
    return Sequence(
        name="plain",
        about="",
        path=Path("plain.sequence.toml"),
        rate_hz=rate_hz,
        boot_ticks=0,
        start="one",
        inputs={**inputs, "key": Input("key", "bool"), "plug": Input("plug", "bool")},
        limits=limits,
        flags={name: Flag(name, initial=False, retained=False) for name in FLAGS},
        estimates=estimates,
        inhibits={},
        functions={},
        loops={},
        states=states,
        common_exits=(),
        publication=None,
        digest="",
    )


def condition(sequence, text):
    symbols = {name: Symbol(ONE) for name in (*NUMBERS, "low", "high", "small")}
    symbols |= {name: Symbol(TRUTH) for name in ("key", "plug", *FLAGS)}
    symbols |= {
        "time_in_state": Symbol(ONE),
        "tilted": Symbol(unit("rad").dimension, is_angle=True),
    }
    for name, estimate in sequence.estimates.items():
        symbols[name] = Symbol(unit(estimate.unit).dimension, is_tilt=estimate.is_cosine)
    return parse_condition(text, Names(symbols, tuple(sequence.states), literals=True))


SEQUENCE = plain_sequence(
    either=Estimate("either", "bool", Block("expression", (("expression", Variable("key")),))),
    two_of=Estimate(
        "two_of",
        "bool",
        Block(
            "vote",
            (("member_1", Variable("key")), ("member_2", Variable("plug"))),
            (("needed", 1.0), ("quorum", 2.0)),
        ),
    ),
    age=Estimate("age", "1", Block("age", (), (("rate_hz", 100.0),), subject="x")),
)
WORDS = Vocabulary(
    inputs=(*NUMBERS, "key", "plug"),
    numbers=(*NUMBERS, *NUMBERS, *VALUES, "time_in_state", "age"),
    truths=("key", "plug", *FLAGS, "either", "two_of"),
    states=("one", "two", "three"),
)


def pools():
    """Numbers that lie on, beside and far from those that random conditions compare with."""
    edges = [*VALUES.values(), 0.1, 1.0, 3.0, 9.80665, -1.0, 1e308, 5e-324]
    edges += [math.nextafter(edge, side) for edge in edges for side in (-math.inf, math.inf)]
    seconds = [tick / 100 for tick in (0, 1, 10, 100, 124, 125, 126, 199, 200, 201, 300, 981)]
    return edges, seconds


def random_assignments(rng, count):
    """Values of all names; None where they are bad."""
    edges, seconds = pools()
    for _ in range(count):
        found = {}
        for name in NUMBERS:
            kind = rng.random()
            near = rng.choice(edges) if kind < 0.7 else rng.uniform(-4.0, 4.0)
            found[name] = None if kind < 0.15 else near
        for name in ("key", "plug"):
            found[name] = rng.choice([True, False, None])
        for name in FLAGS:
            found[name] = rng.random() < 0.5
        for name in ("time_in_state", "age"):
            found[name] = rng.choice(seconds)
        yield found | {"state": rng.choice(list(SEQUENCE.states))}


def memory_of(assignment):
    """The executor's memory on the tick that this is about; estimates worked out by hand."""
    names = names_of(SEQUENCE)
    key, plug = assignment["key"], assignment["plug"]
    known = {**assignment, "either": key}
    known["two_of"] = None if key is None or plug is None else key or plug
    memory = [None] * names.size
    for name, cell in names.cells.items():
        memory[cell] = known[name]
    memory[STATE] = names.states[assignment["state"]]
    return memory


def random_questions(rng, count):
    """Pairs of conditions; some of them have to do with each other."""
    for _ in range(count):
        first = random_truth(rng, WORDS, rng.choice([1, 2, 3]))
        parts = [part for part in walk(first) if is_condition(part)]
        second = rng.choice(parts) if rng.random() < 0.5 else random_truth(rng, WORDS, 1)
        yield first, second


def is_condition(node):
    if isinstance(node, Variable):
        return node.name in WORDS.truths
    return isinstance(node, Truth | Comparison | And | Or | Not | InState)


#: question -> whether it is so for one assignment, given what the two conditions come to there
QUESTIONS = {
    "always_true": lambda a, _: a is True,
    "always_false": lambda a, _: a is not True,
    "never_both": lambda a, b: not (a is True and b is True),
    "implies": lambda a, b: b is True or a is not True,
    "equivalent": lambda a, b: (a is True) is (b is True),
}


def asked(solver, question, first, second):
    given = (first,) if question.startswith("always") else (first, second)
    return getattr(solver, question)(*given)


def test_proofs_hold_on_ten_thousand_random_assignments_and_witnesses_are_real():
    rng = Random(20261125)  # noqa: S311 - examples, not secrets
    solver, names = Solver(SEQUENCE), names_of(SEQUENCE)
    memories = [memory_of(each) for each in random_assignments(rng, ASSIGNMENTS)]
    answers = Counter()
    for first, second in random_questions(rng, 40):
        a, b = compile_expression(first, names), compile_expression(second, names)
        for question, holds in QUESTIONS.items():
            answer = asked(solver, question, first, second)
            answers[question, type(answer)] += 1
            if isinstance(answer, Proved):
                assert all(holds(a(memory), b(memory)) for memory in memories), (first, second)
            elif isinstance(answer, Witness):
                known = dict.fromkeys(names.cells) | dict.fromkeys(FLAGS, False)
                known |= {"time_in_state": 0.0, "state": "one", **answer.assignment}
                memory = memory_of(known)
                assert not holds(a(memory), b(memory)), (first, second, answer)
    for question in QUESTIONS:
        assert answers[question, Proved] >= 3, answers
        assert answers[question, Witness] >= 3, answers
    assert sum(count for (_, kind), count in answers.items() if kind is Undecided) <= 12, answers


ASKED = {
    "no tick lies between": ("never", "0.501 < time_in_state < 0.509"),
    "a tick lies on it": ("sometimes", "0.5 <= time_in_state < 0.509"),
    "ages count ticks too": ("never", "0.501 < age < 0.509"),
    "times are not negative": ("never", "time_in_state < 0"),
    "opposites": ("never", "x > 1 and x < 1"),
    "opposites, one of them negated": ("never", "x > 1 and not (x > 1)"),
    "a bad value is neither": ("sometimes", "x > 1 or x <= 1"),
    "either of two, when nothing is bad": ("always", "x > 1 or x <= 1"),
    "a negated comparison is true of no bad value": ("always", "not (x < 1) or x < 1"),
    "an estimate that is seen through": ("never", "either and not key"),
    "a vote below its quorum": ("never", "two_of and not key and not plug"),
    "no square is negative": ("never", "x * x < 0"),
    "a square can be too large": ("sometimes", "x * x >= 0"),
    "a root is not negative": ("never", "sqrt(x) < 0"),
    "nothing is divided by nothing": ("never", "x / 0 > 1 or x / 0 <= 1"),
    "a quotient has the sign of both": ("never", "1 / x > 2 and x < 0"),
    "the greater is not less": ("never", "max(x, y) < x or min(x, y) > y"),
    "an amount is not negative": ("never", "abs(x - y) < 0"),
    "a difference has its sign": ("never", "x - y > 0 and x <= y"),
    "adding rounds away": ("sometimes", "x + 1 > x"),
    "constants add up in doubles": ("never", "0.1 + 0.2 == 0.3"),
    "where reals add up and doubles do not": ("true for", "x + 0.1 > 0.3 and x <= 0.2"),
    "a tilt lies between 0 and 180 deg": ("sometimes", "tilt > tilted"),
}


@pytest.mark.parametrize("name", ASKED)
def test_what_is_asked_by_hand(name):
    expected, text = ASKED[name]
    tilt = Block("attitude", tuple((f"rate_{axis}", Variable("x")) for axis in "xyz"))
    estimates = {**SEQUENCE.estimates, "tilt": Estimate("tilt", "deg", tilt, is_cosine=True)}
    sequence = plain_sequence(**estimates)
    solver, node = Solver(sequence), condition(sequence, text)
    never = solver.always_false(node)
    assert isinstance(never, Proved) == (expected == "never")
    if expected == "always":
        assert isinstance(solver.always_true(node, Moment(good=True)), Proved)
    if expected == "sometimes":
        assert isinstance(never, Witness)
        assert isinstance(solver.always_true(node), Witness)
    if expected == "true for":
        assert Evaluator(sequence).value(node, {"x": 0.2}) is True


@pytest.mark.parametrize(
    ("first", "second", "same"),
    [
        ("not (x < 1)", "x >= 1", True),
        ("not (x < 1 and key)", "x >= 1 or not key", True),
        ("x + y > 1", "y + x > 1", True),
        ("x - y > 0", "x > y", False),  # a difference can be too large
        ("min(x, y) > 1", "x > 1 and y > 1", True),
        ("(x + y) + z > 1", "x + (y + z) > 1", False),
        ("x / 3 > 1", "x > 3", False),
        ("x > 1", "x >= 1", False),
        ("time_in_state > 0.994", "time_in_state >= 0.995", True),
        ("time_in_state > 1", "time_in_state >= 1", False),
        ("key or x > 1", "key or x > 1 and not key", False),  # an unknown key
    ],
)
def test_conditions_in_other_words(first, second, same):
    solver = Solver(SEQUENCE)
    answer = solver.equivalent(condition(SEQUENCE, first), condition(SEQUENCE, second))
    assert isinstance(answer, Proved) == same


def test_a_known_state_and_known_flags_are_used():
    solver, node = Solver(SEQUENCE), condition(SEQUENCE, "in_state(one) and armed")
    assert isinstance(solver.always_false(node, Moment(state="two")), Proved)
    assert isinstance(solver.always_true(node, Moment("one", {"armed": True})), Proved)
    assert solver.always_false(node) == Witness({"state": "one", "armed": True})


def test_inhibits_are_read_after_a_change_and_estimates_before_it():
    here = Block("expression", (("expression", InState(("one",))),))
    sequence = plain_sequence(here=Estimate("here", "bool", here))
    solver, node = Solver(sequence), condition(sequence, "here and in_state(two)")
    assert isinstance(solver.always_false(node), Proved)
    found = solver.find([Is(node, after=True)])
    assert found == Witness({"state": "one", "state@after": "two"})
    assert isinstance(solver.find([Is(node, after=True)], Moment(state="two")), Proved)


def test_what_takes_too_many_steps_is_undecided():
    node = condition(SEQUENCE, "x * y * z > 1 and x * y + z < 2 and sqrt(x * z) > y / x")
    assert isinstance(Solver(SEQUENCE, effort=10).always_false(node), Undecided)


def test_ranges_of_inputs_are_kept():
    ranges = dict.fromkeys(("x", "y"), (-1e6, 1e6))
    difference = condition(SEQUENCE, "x - y > 0"), condition(SEQUENCE, "x > y")
    assert isinstance(Solver(SEQUENCE, ranges=ranges).equivalent(*difference), Proved)
    node = condition(SEQUENCE, "x > 5")
    assert isinstance(Solver(SEQUENCE, ranges={"x": (0.0, 4.0)}).always_false(node), Proved)
    found = Solver(SEQUENCE, ranges={"x": (0.0, 5.01)}).always_false(node)
    assert isinstance(found, Witness)
    assert 5.0 < found.assignment["x"] <= 5.01


def test_a_witness_is_worded_in_the_units_of_the_file():
    tilt = Block("attitude", tuple((f"rate_{axis}", Variable("x")) for axis in "xyz"))
    sequence = plain_sequence(tilt=Estimate("tilt", "deg", tilt, is_cosine=True))
    values = {"tilt": math.cos(math.radians(30)), "x": None, "key": True, "time_in_state": 0.5}
    text = "tilt = 30 deg, x bad, key true, time_in_state = 0.5 s"
    assert wording(values, sequence) == text
