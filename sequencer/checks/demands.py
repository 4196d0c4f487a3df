"""Requirements as data: what is demanded, in which scope, within which window.

The patterns are those of Dwyer, Avrunin, Corbett (ICSE 1999), the windows those of Konrad, Cheng
("Real-time specification patterns", ICSE 2005). Other real-time patterns are written with them:
minimum duration of c seconds is a response to "becomes c" with `throughout`, maximum duration a
response "becomes not c", bounded recurrence a response of an event to itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sequencer.checks.conditions import Condition
from sequencer.checks.happenings import Happening
from sequencer.checks.scopes import EVERYWHERE, Scope

__all__ = [
    "ANY_TIME",
    "Answer",
    "Count",
    "Demand",
    "ExactlyOne",
    "Holds",
    "Presence",
    "Requirement",
    "Window",
]


@dataclass(frozen=True, slots=True)
class Window:
    """A closed window [low_s, high_s] of seconds; high_s may be infinite."""

    low_s: float = 0.0
    high_s: float = math.inf

    @property
    def bounded(self) -> bool:
        """Whether it ends."""
        return math.isfinite(self.high_s)


ANY_TIME = Window()


@dataclass(frozen=True, slots=True)
class Presence:
    """Existence of an event; with `absent`, absence. The window counts from the scope's start."""

    event: Happening
    absent: bool = False
    window: Window = ANY_TIME


@dataclass(frozen=True, slots=True)
class Count:
    """Bounded existence: at least and at most so many events. Margin in events."""

    event: Happening
    at_least: int = 0
    at_most: float = math.inf
    window: Window = ANY_TIME


@dataclass(frozen=True, slots=True)
class Holds:
    """Universality of a condition; with `absent`, absence; with `once`, existence."""

    condition: Condition
    absent: bool = False
    once: bool = False
    window: Window = ANY_TIME


@dataclass(frozen=True, slots=True)
class ExactlyOne:
    """One of several conditions holds, and only one, but for gaps of at most `gap_s`.

    Margin in s.
    """

    conditions: tuple[Condition, ...]
    gap_s: float = 0.0
    window: Window = ANY_TIME


@dataclass(frozen=True, slots=True)
class Answer:
    """Response (the answer follows), or with `backwards` precedence (it has gone before).

    trigger     an event, or a condition (then every tick on which it holds)
    answer      an event (then the trigger is one too), or a condition
    throughout  the condition must hold in all of the window (bounded invariance), not once in it
    """

    trigger: Happening | Condition
    answer: Happening | Condition
    backwards: bool = False
    throughout: bool = False
    window: Window = ANY_TIME


Demand = Presence | Count | Holds | ExactlyOne | Answer


@dataclass(frozen=True, slots=True)
class Requirement:
    """A statement that a flight must keep; `pattern` is the name it goes by in files.

    may_rest   a flight in which it is not exercised does not fall short
    """

    name: str
    reason: str
    pattern: str
    demand: Demand
    scope: Scope = EVERYWHERE
    may_rest: bool = False

    @property
    def signals(self) -> frozenset[str]:
        """Names of all signals that it reads."""
        scope = [each for each in (self.scope.opens, self.scope.closes) if each is not None]
        conditions = [one for each in (*scope, *self._asked()) for one in _conditions(each)]
        return frozenset(name for condition in conditions for name, _ in condition.signals)

    def _asked(self) -> tuple[Happening | Condition, ...]:
        match self.demand:
            case Presence(event) | Count(event):
                return (event,)
            case Holds(condition):
                return (condition,)
            case ExactlyOne(conditions):
                return conditions
            case Answer(trigger, answer):
                return (trigger, answer)

    @property
    def unit(self) -> str:
        """Unit of its margin: s for the timing of events, 1 for counts, else the condition's."""
        demand = self.demand
        if isinstance(demand, Count):
            return "1"
        if isinstance(demand, Holds):
            return demand.condition.unit
        if isinstance(demand, Answer) and isinstance(demand.answer, Condition):
            return demand.answer.unit
        return "s"


def _conditions(of: Happening | Condition) -> tuple[Condition, ...]:
    return of.conditions if isinstance(of, Happening) else (of,)
