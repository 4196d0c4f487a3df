"""Where what executed a sequence in a flight first did something else than the model.

Plain data: numbers stand in the units of the sequence's file, and None where a value was bad, or
could not be told.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Constant", "Decision", "Divergence", "Quantity", "Reading", "Term"]


@dataclass(frozen=True, slots=True)
class Term:
    """One comparison or truth in a condition; `truths` has an entry per tick, None: unknown."""

    text: str
    truths: tuple[bool | None, ...]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number or a truth (unit "bool": 1.0 or 0.0) that goes into a condition, tick by tick."""

    name: str
    unit: str
    values: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Constant:
    """A limit that a condition names."""

    name: str
    unit: str
    value: float


@dataclass(frozen=True, slots=True)
class Decision:
    """What decided, as the model saw it: an exit, or what another output comes from.

    kind        "exit", "inhibit", "estimate" (that is published) or "loop" (that drives a servo)
    text        its condition as the file writes it, or what it is worked out from
    hold        how long it must hold, in words; "" for one tick
    needed      that as a number of ticks
    clocks      the ticks that are shown, counted since boot; the last is that of the divergence
    states      in which the model began each of them
    terms, quantities   what the condition is made of, and what these are worked out from
    held        per tick how many had counted by its end; None where the exit was not open, or
                where its counter went unseen
    """

    kind: str
    name: str
    text: str
    hold: str
    needed: int
    clocks: tuple[int, ...]
    states: tuple[str, ...]
    terms: tuple[Term, ...]
    quantities: tuple[Quantity, ...]
    constants: tuple[Constant, ...]
    held: tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """An input on the tick of the divergence.

    value   None: bad, or never received
    fresh   whether it was refreshed on that very tick
    age_s   since its last finite refresh; None: never
    """

    name: str
    unit: str
    value: float | None
    fresh: bool
    age_s: float | None


@dataclass(frozen=True, slots=True)
class Divergence:
    """The first thing that a computer did and the model did not, or the other way round.

    tick        of the world; `clock` is the computer's own, counted since boot number `boot` (0:
                the first)
    state       in which the model began the tick
    sentence    all of it in one sentence
    model, firmware   what each did on that tick, in words; empty: nothing that can be seen
    decisions   what is in question, at most one of each side
    inputs      that go into them, or into the output that differs
    declared    what the sequence's file says of the function or the message that it is about
    late        ticks since that boot that were late and left out, up to this one
    last_late   clock of the last of them; None: there was none
    """

    computer: str
    tick: int
    clock: int
    boot: int
    state: str
    sentence: str
    model: tuple[str, ...]
    firmware: tuple[str, ...]
    decisions: tuple[Decision, ...] = ()
    inputs: tuple[Reading, ...] = ()
    declared: tuple[str, ...] = ()
    late: int = 0
    last_late: int | None = None
