"""What a question is about, and its answers: proved, a witness, or undecided."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["Answer", "Moment", "Proved", "Undecided", "Value", "Witness"]

#: What a name stands for in a witness: SI number, truth, name of a state; None for a bad value.
Value = float | bool | str | None


@dataclass(frozen=True, slots=True)
class Moment:
    """What is known of the moment that a question is about; what is not named is free.

    state, flags              when inputs are sampled, estimates worked out and exits tried
    after_state, after_flags  when inhibits are judged, after a change of state if there is one
    good                      no input and no estimate with a memory is bad
    """

    state: str | None = None
    flags: Mapping[str, bool] = field(default_factory=dict)
    after_state: str | None = None
    after_flags: Mapping[str, bool] = field(default_factory=dict)
    good: bool = False


@dataclass(frozen=True, slots=True)
class Proved:
    """It holds for every assignment, with doubles as they are; `why` in words, where there is more
    to it than the conditions alone.
    """

    why: str = ""


@dataclass(frozen=True, slots=True)
class Witness:
    """An assignment that shows that it does not hold, checked with the executor's own evaluator.

    assignment   declared name -> its value (a tilt: its cosine); "state", where the question reads
                 it; a name that a condition reads after a change of state has ``@after`` behind it
    """

    assignment: Mapping[str, Value]


@dataclass(frozen=True, slots=True)
class Undecided:
    """Neither proved nor shown false; `why` is half a sentence."""

    why: str


Answer = Proved | Witness | Undecided
