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
    Proved,
    Solver,
    Undecided,
    Witness,
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
    symbols["time_in_state"] = Symbol(ONE)
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
