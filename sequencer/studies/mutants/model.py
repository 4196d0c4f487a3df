"""What a mutant is."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from sequencer.sequence import Sequence

__all__ = ["LIMITS", "ROBUSTNESS", "STRUCTURAL", "Kind", "Mutant", "Shows"]


class Kind(StrEnum):
    """How a mutant differs from its sequence; the word stands in its id."""

    HOLD_REMOVED = "hold removed"
    HOLD_DOUBLED = "hold doubled"
    TERM_DROPPED = "term dropped"
    TERM_NEGATED = "term negated"
    COMPARISON_FLIPPED = "comparison flipped"
    EXIT_REMOVED = "exit removed"
    EXITS_SWAPPED = "exits swapped"
    WRONG_TARGET = "wrong target"
    ACTION_REMOVED = "action removed"
    INHIBIT_REMOVED = "inhibit removed"
    PULSE_HALVED = "pulse halved"
    PULSE_DOUBLED = "pulse doubled"
    LIMIT_RAISED = "limit raised"
    LIMIT_LOWERED = "limit lowered"
    TOLERANCE_ABOVE = "tolerance above"
    TOLERANCE_BELOW = "tolerance below"


#: a limit moved by 10 % may or may not matter; one moved by its own tolerance should not
LIMITS = frozenset({Kind.LIMIT_RAISED, Kind.LIMIT_LOWERED})
ROBUSTNESS = frozenset({Kind.TOLERANCE_ABOVE, Kind.TOLERANCE_BELOW})
STRUCTURAL = frozenset(Kind) - LIMITS - ROBUSTNESS


@dataclass(frozen=True, slots=True)
class Shows:
    """In which flights of the unchanged sequence a change can make a difference at all.

    Those in which one of `names` came: states that were entered, exits that were taken, functions
    that were commanded. In all others the changed part was never looked at, so nothing differs; nor
    does it, in these, before that.

    remembered   something else may be remembered before that, by estimates
    """

    what: Literal["anywhere", "entered", "took", "told"] = "anywhere"
    names: frozenset[str] = frozenset()
    remembered: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Mutant:
    """A sequence with one small change.

    id        the same in every run: kind, what it changes and which of several
    line      of the file, where what it changes stands
    change    as a clause: "'tilt abort' waits 0.2 s instead of 0.1 s"
    about     what it changes; mutants of one thing are told apart by the same flights
    shows     where it can make a difference
    critical  it touches firing, an inhibit or an abort
    """

    id: str
    kind: Kind
    line: int
    change: str
    about: str
    shows: Shows
    critical: bool
    sequence: Sequence
