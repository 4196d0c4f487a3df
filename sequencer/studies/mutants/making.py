"""All mutants of a sequence."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence as Several
from dataclasses import replace

from sequencer.documents import read_document
from sequencer.errors import UsageError
from sequencer.sequence import Sequence
from sequencer.studies.mutants.lines import Lines
from sequencer.studies.mutants.model import Mutant
from sequencer.studies.mutants.parts import (
    command_mutants,
    estimate_mutants,
    function_mutants,
    inhibit_mutants,
    limit_mutants,
)
from sequencer.studies.mutants.places import Danger
from sequencer.studies.mutants.ways import exit_mutants

__all__ = ["mutants_of", "sample"]


def mutants_of(sequence: Sequence) -> tuple[Mutant, ...]:
    """Every small change of a sequence that has been loaded, in the order of the file.

    Raises UsageError where its file has changed since.
    """
    document = read_document(sequence.path)
    if document.digest != sequence.digest:
        raise UsageError(f"{sequence.path}: has changed while it was read")
    lines, danger = Lines(sequence, document), Danger(sequence)
    found = [
        *limit_mutants(sequence, lines),
        *estimate_mutants(sequence, lines, danger),
        *inhibit_mutants(sequence, lines),
        *function_mutants(sequence, lines, danger),
        *exit_mutants(sequence, lines, danger),
        *command_mutants(sequence, lines, danger),
    ]
    return tuple(_told_apart(found))


def sample(mutants: Several[Mutant], count: int, seed: int) -> tuple[Mutant, ...]:
    """Some of them, drawn by chance; equal numbers draw the same. They keep their order."""
    if count >= len(mutants):
        return tuple(mutants)
    chosen = random.Random(seed).sample(range(len(mutants)), count)  # noqa: S311 - no secret
    return tuple(mutants[i] for i in sorted(chosen))


def _told_apart(mutants: list[Mutant]) -> list[Mutant]:
    """Where a term stands twice in one condition, the ids are numbered."""
    seen: Counter[str] = Counter()
    found = []
    for mutant in mutants:
        seen[mutant.id] += 1
        number = seen[mutant.id]
        found.append(mutant if number == 1 else replace(mutant, id=f"{mutant.id} ({number})"))
    return found
