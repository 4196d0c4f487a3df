"""Random expressions, built as the parser would build them."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

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

__all__ = ["Vocabulary", "random_number", "random_truth"]


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Names that an expression may use."""

    inputs: tuple[str, ...]
    numbers: tuple[str, ...]
    truths: tuple[str, ...] = ()
    tilts: tuple[str, ...] = ()
    angles: tuple[str, ...] = ()  # limits that a tilt may be compared with
    states: tuple[str, ...] = ()


def random_number(rng: Random, words: Vocabulary, depth: int = 2) -> Node:
    """An expression that comes to a number."""
    form = rng.choice(["name", "name", "literal", "arithmetic", "negate", "one", "two"])
    if depth == 0 or form == "name":
        return Variable(rng.choice(words.numbers))
    if form == "literal":
        return Number(rng.choice([0.0, 1.0, 0.1, 3.0, 9.80665]))
    first = random_number(rng, words, depth - 1)
    if form == "negate":
        return Negate(first)
    if form == "one":
        return Function(rng.choice(["abs", "sqrt"]), (first,))
    second = random_number(rng, words, depth - 1)
    if form == "two":
        return Function(rng.choice(["min", "max"]), (first, second))
    return Arithmetic(rng.choice("+-*/"), first, second)


def random_truth(  # noqa: PLR0911 - one return per form
    rng: Random, words: Vocabulary, depth: int = 2
) -> Node:
    """An expression that comes to a truth."""
    forms = ["comparison", "comparison", "name", "tilt", "state", "truth"]
    form = rng.choice(forms + ["not", "and", "or", "or"] * (depth > 0))
    if form == "not":
        return Not(random_truth(rng, words, depth - 1))
    if form in ("and", "or"):
        operands = tuple(random_truth(rng, words, depth - 1) for _ in range(rng.choice([2, 2, 3])))
        return And(operands) if form == "and" else Or(operands)
    if form == "name" and words.truths:
        return Variable(rng.choice(words.truths))
    if form == "state" and words.states:
        return InState(tuple(rng.sample(words.states, rng.randint(1, min(2, len(words.states))))))
    if form == "truth":
        return Truth(rng.random() < 0.5)
    operator = rng.choice(["<", "<=", ">", ">=", "==", "!="])
    if form == "tilt" and words.tilts:
        sides = Variable(rng.choice(words.tilts)), LimitCosine(rng.choice(words.angles))
        return Comparison(operator, *(sides if rng.random() < 0.7 else sides[::-1]))
    return Comparison(operator, random_number(rng, words, 1), random_number(rng, words, 1))
