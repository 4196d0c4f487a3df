"""What counts as something that happens at an instant: events, and conditions that become true.

As text: a label of the vocabulary ("liftoff", "fired flight.landing_1"), with `*` for any run of
characters in the name ("fired flight.*"), or "becomes " and a condition ("becomes tilt_deg > 30").
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sequencer.checks.conditions import Condition, Trace, read_condition
from sequencer.errors import InputError, nearest
from sequencer.record import EVENT_KINDS, FLIGHT_OVER, Event

__all__ = ["EventPattern", "Happening", "Onset", "onsets", "read_happening"]

_BECOMES = "becomes"


@dataclass(frozen=True, slots=True)
class EventPattern:
    """Events of one kind whose name fits: "" for no name, `*` for any run of characters."""

    kind: str
    name: str

    def fits(self, event: Event) -> bool:
        """Whether this is such an event."""
        return event.kind == self.kind and self.fits_name(event.name)

    def fitting(self, names: Collection[str]) -> list[str]:
        """Those of the names that an event of this kind can have to be one."""
        if "*" not in self.name:
            return [self.name] if self.name in names else []
        wild = _wild(self.name)
        return [name for name in names if wild.fullmatch(name) is not None]

    def fits_name(self, name: str) -> bool:
        """Whether an event of this kind with that name is one."""
        return bool(self.fitting((name,)))


@lru_cache(maxsize=1024)
def _wild(name: str) -> re.Pattern[str]:
    return re.compile(".*".join(re.escape(part) for part in name.split("*")))


@dataclass(frozen=True, slots=True)
class Onset:
    """A condition becomes true: it holds, and the last time anything was known it did not."""

    condition: Condition


@dataclass(frozen=True, slots=True)
class Happening:
    """Any of several events and onsets; `text` names them in sentences."""

    text: str
    items: tuple[EventPattern | Onset, ...]

    def __hash__(self) -> int:
        return hash(self.text)  # says nearly all, and much sooner than the trees

    @property
    def conditions(self) -> tuple[Condition, ...]:
        """Those that it waits for."""
        return tuple(item.condition for item in self.items if isinstance(item, Onset))


def onsets(trace: Trace) -> list[int]:
    """Ticks on which a condition becomes true.

    A tick without a value neither begins nor ends anything; what holds from the first known tick
    on has not become true.
    """
    known = np.flatnonzero(trace.true | trace.false)
    holds = trace.true[known]
    rising: list[int] = known[1:][holds[1:] & ~holds[:-1]].tolist()
    return rising


def read_happening(
    texts: str | Collection[str],
    signals: Mapping[str, str],
    known_events: Collection[str] | None = None,
) -> Happening:
    """Understands one text or a list of them (any of which counts).

    `known_events`, where given, holds the labels that can come at all; each pattern must fit one.
    Raises InputError (without a place) for an unknown kind, a name where none belongs or none
    where one does, a label that can never come, and a faulty condition.
    """
    listed = [texts] if isinstance(texts, str) else list(texts)
    if not listed:
        raise InputError("an empty list of events never comes")
    items = tuple(_read(text, signals, known_events) for text in listed)
    return Happening(" or ".join(f"'{' '.join(text.split())}'" for text in listed), items)


def _read(
    text: str, signals: Mapping[str, str], known_events: Collection[str] | None
) -> EventPattern | Onset:
    kind, _, name = " ".join(text.split()).partition(" ")
    if kind == _BECOMES:
        return Onset(read_condition(name, signals))
    entry = EVENT_KINDS.get(kind)
    if entry is None:
        if re.search(r"[<>=]", text):
            raise InputError(f"'{text}' is a condition, an event is needed; write 'becomes {text}'")
        near = nearest(kind, (*EVENT_KINDS, _BECOMES))
        raise InputError(f"unknown kind of event '{kind}'", nearest=near)
    if name and not entry.about:
        raise InputError(f"'{kind}' takes no name, but '{name}' follows", nearest=kind)
    if not name and entry.about:
        raise InputError(f"'{kind}' needs a name ({entry.about})", nearest=f"{kind} *")
    if " " in name and entry.one_word:
        raise InputError(f"the name of an event is one word, not '{name}'")
    pattern = EventPattern(kind, name)
    if known_events is not None and text != FLIGHT_OVER:
        _refuse_impossible(pattern, known_events)
    return pattern


def _refuse_impossible(pattern: EventPattern, known_events: Collection[str]) -> None:
    labels = (label.partition(" ") for label in known_events)
    names = [name for kind, _, name in labels if kind == pattern.kind]
    if not any(pattern.fits_name(name) for name in names):
        near = nearest(pattern.name, names)
        label = f"{pattern.kind} {pattern.name}".strip()
        raise InputError(
            f"'{label}' can never come here",
            nearest=None if near is None else f"{pattern.kind} {near}",
        )
