"""Tries to prove that a changed sequence always does what the unchanged one does."""

from __future__ import annotations

from sequencer.lint.equivalence import Original
from sequencer.lint.solving import Proved, Witness
from sequencer.sequence import Sequence

__all__ = ["Prover"]


class Prover:
    """Compares changed sequences with one."""

    def __init__(self, sequence: Sequence) -> None:
        self._original = Original(sequence)

    def same(self, changed: Sequence) -> tuple[bool, str]:
        """Whether they are proved to do the same, and why; or why that is undecided, if it is."""
        answer = self._original.same_meaning(changed)
        if isinstance(answer, Proved):
            return True, answer.why
        return False, "" if isinstance(answer, Witness) else answer.why
