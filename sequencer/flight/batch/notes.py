"""Events as they come: kept as rows of numbers, and counted."""

from __future__ import annotations

from typing import Final

from sequencer.flight.batch.jit import compiled, plain
from sequencer.flight.batch.layout import NONE, Fact, Flight, Head, Plan
from sequencer.world.layout import OUT

__all__ = ["note", "note_facts", "word"]

_NONE: Final = plain(NONE)
_TICK: Final = plain(Head.TICK)
_EVENTS: Final = plain(Head.EVENTS)
_DOWN_TICK: Final = plain(Head.DOWN_TICK)
_WORD: Final = plain(Fact.WORD)
_COUNT: Final = plain(Fact.COUNT)
_LABEL: Final = plain(Fact.LABEL)
_WAS_AT: Final = plain(Fact.WAS_AT)


def word(layout: object, field: str) -> int:
    """Where a field stands in a layout whose every number has eight bytes."""
    return plain(layout.fields[field][1] // 8)  # type: ignore[attr-defined]


_DOWN: Final = word(OUT, "down")


@compiled()
def note(plan: Plan, flight: Flight, label: int, detail: int, real: float) -> None:
    """Keep an event of the present tick; one without room is counted all the same."""
    head = flight.head
    row = head[_EVENTS]
    head[_EVENTS] = row + 1
    flight.counts[plan.canon[label]] += 1
    if row < flight.events.shape[0]:
        flight.events[row, 0] = head[_TICK]
        flight.events[row, 1] = label
        flight.events[row, 2] = detail
        flight.event_reals[row] = real


@compiled(inline=True)
def note_facts(plan: Plan, flight: Flight) -> None:
    """What the world did in the step that ended with this tick."""
    for row in range(plan.facts.shape[0]):
        at = plan.facts[row, _WORD]
        was = plan.facts[row, _WAS_AT]
        for i in range(plan.facts[row, _COUNT]):
            now = flight.out_ints[at + i]
            if now != flight.was[was + i]:
                if now == 1 and flight.was[was + i] == 0:
                    note(plan, flight, plan.facts[row, _LABEL] + i, _NONE, 0.0)
                flight.was[was + i] = now
    if flight.head[_DOWN_TICK] == _NONE and flight.out_ints[_DOWN] != 0:
        flight.head[_DOWN_TICK] = flight.head[_TICK]
