"""What the rules that ask a solver share: the solver of a sequence, and what it can come into."""

from __future__ import annotations

from functools import lru_cache

from sequencer.lint.reaching import Reach
from sequencer.lint.solving import NOT_INSTALLED, Solver, has_solver
from sequencer.lint.subject import Subject
from sequencer.sequence import Sequence

__all__ = ["needs_solver", "reach_of", "solver_of"]


def needs_solver(subject: Subject) -> str | None:
    """What a subject lacks where no condition can be decided."""
    del subject
    return None if has_solver() else NOT_INSTALLED


def solver_of(logic: Sequence) -> Solver:
    """The solver of a sequence: it remembers its answers, for all rules and sets of sequences."""
    return _solver(_Same(logic))


def reach_of(logic: Sequence) -> Reach:
    """States and flags that a sequence can come into, worked out once."""
    return _reach(_Same(logic))


class _Same:
    """A sequence as a key: it is the very same one."""

    __slots__ = ("logic",)

    def __init__(self, logic: Sequence) -> None:
        self.logic = logic

    def __hash__(self) -> int:
        return id(self.logic)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.logic is self.logic


@lru_cache(maxsize=8)
def _solver(same: _Same) -> Solver:
    return Solver(same.logic)


@lru_cache(maxsize=8)
def _reach(same: _Same) -> Reach:
    return Reach(solver_of(same.logic))
