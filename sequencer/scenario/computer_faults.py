"""Faults of computers, of what they send, and of the cable between them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sequencer.errors import InputError, nearest
from sequencer.sequence import Sequence

__all__ = ["COMPUTER_FAULTS", "UMBILICAL", "ComputerFaultRow", "resolve_computer_fault"]

#: place of the faults that hit the cable between the computers
UMBILICAL = "umbilical"

#: a clock that gains a whole second per second, or stands, is no clock
_WORST_PPM = 1e6


@dataclass(frozen=True, slots=True)
class ComputerFaultRow:
    """One kind of fault.

    place    what a scenario's `place` names: "computer" or "umbilical"
    unit     of `size`, None where it takes none
    """

    place: str
    unit: str | None
    about: str


#: Word of the scenario file -> what it means; `sequencer.flight` brings each about.
COMPUTER_FAULTS: Mapping[str, ComputerFaultRow] = {
    "reboot": ComputerFaultRow(
        "computer", None, "loses power; boots again when the fault ends, after its boot time"
    ),
    "late_ticks": ComputerFaultRow("computer", None, "misses every tick while it lasts"),
    "link_lost": ComputerFaultRow(
        "computer", None, "nothing that it publishes while it lasts arrives"
    ),
}


def resolve_computer_fault(
    kind: str,
    place: str,
    size: float | None,
    computers: Mapping[str, Sequence],
    other: str | None = None,
) -> float:
    """Check a fault of this module's kinds; returns its size, 0.0 where it has none.

    Raises InputError (without a place in a file) for an unknown place, or a size or an `other`
    that is missing, not wanted, or impossible.
    """
    row = COMPUTER_FAULTS[kind]
    if place not in computers:
        raise InputError(
            f"no computer '{place}' in this scenario", nearest=nearest(place, computers)
        )
    if other is not None:
        raise InputError(f"'{kind}' takes no other")
    if row.unit is None:
        if size is not None:
            raise InputError(f"'{kind}' takes no size")
        return 0.0
    if size is None:
        raise InputError(f"'{kind}' needs a size, in {row.unit}")
    return size
