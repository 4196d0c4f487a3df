"""What each flight exercised of the sequences that flew, told from its events alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from sequencer.flight.result import Result
from sequencer.record import FlightRecord

__all__ = ["Exercised", "Part", "exercised", "exercised_in"]

#: (computer, name of a state, exit or function)
Part = tuple[str, str]

_ON: Final = ("fired", "moved")
_HELD: Final = ("blocked", "cut")
_TESTED: Final = ("met", "broken")


@dataclass(frozen=True, slots=True)
class Exercised:
    """What came about in one flight.

    states, exits, functions   entered, taken, switched on or moved
    held_back                  (computer, inhibit, function): the inhibit blocked a command or cut a
                               pulse; of several in place the first of the function's list
    requirements               met or broken: put to the test
    """

    states: frozenset[Part]
    exits: frozenset[Part]
    functions: frozenset[Part]
    held_back: frozenset[tuple[str, str, str]]
    requirements: frozenset[str]


def exercised(results: Iterable[Result]) -> Mapping[Path, Exercised]:
    """File of a scenario -> what its flight exercised; in order, without what did not fly."""
    return {
        result.path: exercised_in(result.record) for result in results if result.record is not None
    }


def exercised_in(record: FlightRecord) -> Exercised:
    """What one flight exercised."""
    found: dict[str, set[Part]] = {"entered": set(), "took": set(), "fired": set()}
    held = set()
    for event in record.events:
        computer, _, name = event.name.partition(".")
        kind = "fired" if event.kind in _ON else event.kind
        if kind in found:
            found[kind].add((computer, name))
        elif kind in _HELD and event.detail:
            held.add((computer, event.detail, name))
    return Exercised(
        frozenset(found["entered"]),
        frozenset(found["took"]),
        frozenset(found["fired"]),
        frozenset(held),
        frozenset(one.requirement for one in record.verdicts if one.status in _TESTED),
    )
