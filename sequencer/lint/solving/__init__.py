"""Questions about conditions, answered for every assignment or not at all."""

from __future__ import annotations

from sequencer.lint.solving.answers import Answer, Moment, Proved, Undecided, Value, Witness
from sequencer.lint.solving.assignments import Evaluator, wording
from sequencer.lint.solving.claims import Differ, Is, Question
from sequencer.lint.solving.reading import is_seen_through, moment_for, quantities, touches
from sequencer.lint.solving.solver import ANY, NOT_INSTALLED, Solver
from sequencer.lint.solving.symbols import has_solver

__all__ = [
    "ANY",
    "NOT_INSTALLED",
    "Answer",
    "Differ",
    "Evaluator",
    "Is",
    "Moment",
    "Proved",
    "Question",
    "Solver",
    "Undecided",
    "Value",
    "Witness",
    "has_solver",
    "is_seen_through",
    "moment_for",
    "quantities",
    "touches",
    "wording",
]
