"""Modified condition/decision coverage of one decision, from what it was seen with.

A leaf is shown to decide by a pair of sights: it is true in one and false in the other, and so the
decision comes out differently. In the *unique-cause* form nothing else changes between the two;
what is unknown has to be unknown in both. In the *masking* form other leaves may change, as long as
in each of the two the decision would have turned had this leaf alone been the other way.

Hayhurst, Veerhusen, Chilenski, Rierson, A Practical Tutorial on Modified Condition/Decision
Coverage, NASA/TM-2001-210876, 2001; Chilenski, An Investigation of Three Forms of the Modified
Condition Decision Coverage (MCDC) Criterion, DOT/FAA/AR-01/18, 2001. Both know two truths only.
With three, an exit is taken or not, and one whose condition is unknown is not: that is one of the
sights that say no. An unknown inhibit blocks some functions and lets others go, so it says neither.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sequencer.sequence.decisions import FALSE, TRUE, UNKNOWN, Shape, outcome

__all__ = ["Pair", "Question", "Shown", "turned"]

#: leaves of a decision, one byte each: FALSE, TRUE or UNKNOWN
Leaves = bytes


@dataclass(frozen=True, slots=True)
class Pair:
    """Two sights that show what a leaf decides: the decision says yes in the first."""

    yes: Leaves
    no: Leaves


@dataclass(frozen=True, slots=True)
class Shown:
    """The first pairs that show that a leaf decides, None where there is none."""

    unique: Pair | None
    masking: Pair | None


def turned(leaves: Leaves, leaf: int) -> Leaves:
    """The same with one leaf, which must not be unknown, the other way."""
    return leaves[:leaf] + bytes([1 - leaves[leaf]]) + leaves[leaf + 1 :]


@dataclass(frozen=True, slots=True)
class Question:
    """A decision as a question of yes and no.

    shape        how its leaves are put together
    size         number of its leaves
    unknown_says_no   whether an unknown decision is a no; else it is neither
    """

    shape: Shape
    size: int
    unknown_says_no: bool = True

    def says(self, leaves: Leaves) -> bool | None:
        """Yes, no, or None for neither."""
        found = outcome(self.shape, leaves)
        if found == UNKNOWN:
            return False if self.unknown_says_no else None
        return found == TRUE

    def hangs_on(self, leaf: int, leaves: Leaves) -> bool:
        """Whether the answer would turn if this leaf alone were the other way."""
        if leaves[leaf] == UNKNOWN:
            return False
        here, there = self.says(leaves), self.says(turned(leaves, leaf))
        return here is not None and there is not None and here != there

    def shown(self, yes: Iterable[Leaves], no: Iterable[Leaves]) -> tuple[Shown, ...]:
        """For each leaf the first pairs among these sights.

        yes, no   sights in which the decision said so, in the order in which they came
        """
        yes, no = list(yes), list(no)
        denied = set(no)
        found = []
        for leaf in range(self.size):
            accepted = [one for one in yes if self.hangs_on(leaf, one)]
            refused = [one for one in no if self.hangs_on(leaf, one)]
            unique = next((one for one in accepted if turned(one, leaf) in denied), None)
            opposite = next(
                (
                    Pair(one, other)
                    for value in (TRUE, FALSE)
                    for one in (next((a for a in accepted if a[leaf] == value), None),)
                    for other in (next((a for a in refused if a[leaf] != value), None),)
                    if one is not None and other is not None
                ),
                None,
            )
            pair = None if unique is None else Pair(unique, turned(unique, leaf))
            found.append(Shown(pair, pair or opposite))
        return tuple(found)
