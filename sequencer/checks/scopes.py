"""Where in a flight a requirement holds: the five scopes of the property patterns.

Dwyer, Avrunin, Corbett, "Patterns in property specifications for finite-state verification",
ICSE 1999. Segments are closed: what falls on the tick that begins or ends one lies inside.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from sequencer.checks.happenings import Happening
from sequencer.checks.view import Occurrence, View

__all__ = ["EVERYWHERE", "Scope", "Segment", "Segments", "segments"]


@dataclass(frozen=True, slots=True)
class Scope:
    """Globally, before R, after Q, between Q and R, or after Q until R.

    opens, closes  Q and R, None where the scope has none
    weak           "after until": without R it runs to the end of the record; "between" does not
                   count such a stretch at all
    """

    opens: Happening | None = None
    closes: Happening | None = None
    weak: bool = False


EVERYWHERE = Scope()


class Segment(NamedTuple):
    """One stretch [start, end] of a scope, in ticks.

    opened, closed  what began and ended it; None where that is the edge of the record
    """

    start: int
    end: int
    opened: Occurrence | None = None
    closed: Occurrence | None = None


class Segments(NamedTuple):
    """All stretches of a scope in one record.

    pending  a stretch of "between" had begun when the record ended
    missing  what never came, where there is no stretch; "" where there is one
    """

    found: tuple[Segment, ...]
    pending: bool = False
    missing: str = ""


def segments(scope: Scope, view: View) -> Segments:
    """The stretches of `scope`.

    "after" begins at the first Q and "before" ends at the first R; in the others every Q outside a
    stretch begins one, and the first R later in the record ends it.
    """
    opens = None if scope.opens is None else view.occurrences(scope.opens)
    closes = None if scope.closes is None else view.occurrences(scope.closes)
    if opens is None:
        if closes is None:
            return Segments((Segment(0, view.end),))
        if not closes:
            return Segments((), missing=_name(scope.closes))
        return Segments((Segment(0, closes[0].tick, None, closes[0]),))
    if not opens:
        return Segments((), missing=_name(scope.opens))
    if closes is None:
        return Segments((Segment(opens[0].tick, view.end, opens[0]),))
    return _stretches(scope, view, opens, closes)


def _stretches(
    scope: Scope, view: View, opens: list[Occurrence], closes: list[Occurrence]
) -> Segments:
    found: list[Segment] = []
    free: Occurrence | None = None  # what ended the last stretch; it may begin the next
    ends = iter(closes)
    end = next(ends, None)
    for begin in opens:
        if free is not None and begin < free:
            continue
        while end is not None and end <= begin:
            end = next(ends, None)
        if end is None:
            if scope.weak:
                found.append(Segment(begin.tick, view.end, begin))
            return Segments(
                tuple(found),
                pending=not scope.weak,
                missing="" if found else _name(scope.closes),
            )
        found.append(Segment(begin.tick, end.tick, begin, end))
        free = end
    return Segments(tuple(found))


def _name(happening: Happening | None) -> str:
    return "" if happening is None else happening.text
