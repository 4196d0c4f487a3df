"""One question put to z3: formulas, model, and the model tried out."""

from __future__ import annotations

import typing
from collections.abc import Mapping
from dataclasses import dataclass

from sequencer.expressions import Node
from sequencer.lint.solving.answers import (
    Answer,
    Moment,
    Proved,
    Undecided,
    Value,
    Witness,
)
from sequencer.lint.solving.assignments import Evaluator, shorter
from sequencer.lint.solving.claims import Question
from sequencer.lint.solving.reading import quantities
from sequencer.lint.solving.symbols import Formula, Symbols
from sequencer.lint.solving.terms import AFTER, Terms
from sequencer.sequence.model import Sequence

__all__ = ["Search", "Setting"]


@dataclass(frozen=True, slots=True)
class Setting:
    """What all questions of one solver have in common.

    z3, context   the module, and where its terms live
    sequences     the one, and the other
    evaluators    of each
    apart         estimate -> its symbol in the other sequence, where it is another one
    ranges        input -> lowest and highest value, SI
    effort        steps of z3 for one question
    """

    z3: Formula
    context: Formula
    sequences: tuple[Sequence, Sequence]
    evaluators: tuple[Evaluator, Evaluator]
    apart: Mapping[str, str]
    ranges: Mapping[str, tuple[float, float]]
    effort: int


class Search:
    """One question to z3."""

    def __init__(
        self, setting: Setting, claims: typing.Sequence[Question], moment: Moment, *, rounded: bool
    ) -> None:
        self._setting = setting
        self._z3 = z3 = setting.z3
        self._claims = claims
        self._moment = moment
        self._symbols = Symbols(z3, setting.context, setting.ranges)
        self._sides: dict[tuple[bool, bool], Terms] = {}
        self._rounded = rounded
        formulas = [claim.formula(self._terms, z3) for claim in claims]
        self._check = z3.SimpleSolver(ctx=setting.context)
        self._check.set("rlimit", setting.effort)
        self._check.add(*formulas, *self._symbols.facts)
        if self._symbols.results:
            self._check.add(*self._symbols.finite())
        if moment.good:
            self._check.add(*[z3.Not(bad) for bad in self._symbols.bads.values()])

    @property
    def has_arithmetic(self) -> bool:
        """Whether anything in it is rounded."""
        return bool(self._symbols.results)

    def _terms(self, after: bool, other: bool) -> Terms:  # noqa: FBT001 - a key of two
        if (after, other) not in self._sides:
            self._sides[after, other] = Terms(
                self._setting.sequences[other],
                self._symbols,
                self._moment,
                after=after,
                rounded=self._rounded,
                apart=self._setting.apart if other else None,
            )
        return self._sides[after, other]

    def answer(self) -> Answer:
        """Proved that nothing makes all claims hold, a witness for which they do, or undecided."""
        z3, check = self._z3, self._check
        found = check.check()
        if found == z3.unsat:
            return Proved()
        if found != z3.sat:
            return Undecided("it is too hard for the solver")
        assignment = self._assignment(check.model())
        bads = self._symbols.bads.values()
        if bads and not self._moment.good:  # rather a witness in which nothing is broken
            check.push()
            check.add(*[z3.Not(bad) for bad in bads])
            if check.check() == z3.sat:
                nicer = self._assignment(check.model())
                if self._holds(nicer):
                    assignment = nicer
            check.pop()
        if not self._holds(assignment):
            return Undecided("the numbers that the solver found do not show it in doubles")
        shown = self._shortened(assignment)
        return Witness({name: shown[name] for name in shown if name in self._read()})

    def _read(self) -> set[str]:
        """The names that the claims go by; others are there for what holds of every tick."""
        found = {"state", "state" + AFTER}
        for claim in self._claims:
            for other, node in claim.nodes():
                sequence = self._setting.sequences[other]
                for name in quantities(sequence, node):
                    found |= {name, name + AFTER, f"{name}'"}
        return found

    def _holds(self, assignment: Mapping[str, Value]) -> bool:
        evaluators = self._setting.evaluators
        known = dict(assignment)
        # what is fixed is no symbol
        moment = self._moment
        for state, flags, suffix in (
            (moment.state, moment.flags, ""),
            (moment.after_state, moment.after_flags, AFTER),
        ):
            known.update({flag + suffix: value for flag, value in flags.items()})
            if state is not None:
                known["state" + suffix] = state

        def evaluate(node: Node, *, after: bool, other: bool) -> float | bool | None:
            return evaluators[other].value(node, known, after=after)

        return all(claim.holds(evaluate) for claim in self._claims)

    def _assignment(self, model: Formula) -> dict[str, Value]:
        z3, symbols, sequence = self._z3, self._symbols, self._setting.sequences[0]
        found: dict[str, Value] = {}
        states = tuple(sequence.states)

        def value(symbol: Formula) -> Formula:
            return model.eval(symbol, model_completion=True)

        for name, symbol in symbols.states.items():
            found[name] = states[value(symbol).as_long()]
        for name, symbol in symbols.truths.items():
            found[name] = bool(z3.is_true(value(symbol)))
        for name, symbol in symbols.ticks.items():
            found[name] = value(symbol).as_long() / sequence.rate_hz
        for name, symbol in symbols.numbers.items():
            found[name] = _double(value(symbol), z3)
        for name, symbol in symbols.bads.items():
            if z3.is_true(value(symbol)):
                found[name] = None
        return found

    def _shortened(self, assignment: dict[str, Value]) -> dict[str, Value]:
        """The same with numbers that are short to write, where it still holds with them."""
        for name in self._symbols.numbers:
            value = assignment[name]
            if value is None:
                continue
            plain = name.removesuffix("'")
            for candidate in shorter(plain, float(value), self._setting.sequences[0]):
                tried = {**assignment, name: candidate}
                if self._within(name, candidate) and self._holds(tried):
                    assignment = tried
                    break
        return assignment

    def _within(self, name: str, value: float) -> bool:
        low, high = self._setting.ranges.get(name, (value, value))
        return low <= value <= high


def _double(value: Formula, z3: Formula) -> float:
    if z3.is_algebraic_value(value):
        value = value.approx(30)
    try:
        return float(value.as_fraction())
    except OverflowError:
        return 0.0
