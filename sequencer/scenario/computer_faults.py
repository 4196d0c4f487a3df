"""Faults of computers, of what they send, and of the cable between them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from sequencer.errors import InputError, nearest
from sequencer.sequence import Sequence
from sequencer.sequence.ticks import ticks

__all__ = [
    "COMPUTER_FAULTS",
    "UMBILICAL",
    "ComputerFaultRow",
    "check_stall",
    "resolve_computer_fault",
]

#: place of the faults that hit the cable between the computers
UMBILICAL = "umbilical"

#: a clock that gains a whole second per second, or stands, is no clock
_WORST_PPM = 1e6
#: of which one is late
_LEAST_STALL_TICKS = 2
#: computers that a cable can join
_PAIR = 2


@dataclass(frozen=True, slots=True)
class ComputerFaultRow:
    """One kind of fault.

    place    what a scenario's `place` names: "computer" or "umbilical"
    unit     of `size`, None where it takes none
    """

    place: str
    unit: str | None
    about: str


#: Word of the scenario file -> what it means; `sequencer.flight.planned` brings each about.
COMPUTER_FAULTS: Mapping[str, ComputerFaultRow] = {
    "reboot": ComputerFaultRow(
        "computer", None, "loses power; boots again when the fault ends, after its boot time"
    ),
    "late_ticks": ComputerFaultRow("computer", None, "misses every tick while it lasts"),
    "clock_drift": ComputerFaultRow(
        "computer", "ppm", "its clock runs this much fast (negative: slow) against the world"
    ),
    "logger_stall": ComputerFaultRow(
        "computer", "s", "once in every so many seconds a tick is late, a write keeping it"
    ),
    "link_lost": ComputerFaultRow("computer", None, "nothing that it publishes arrives"),
    "link_repeated": ComputerFaultRow(
        "computer", "s", "what it publishes arrives twice, the second time this much later"
    ),
    "link_delayed": ComputerFaultRow("computer", "s", "what it publishes arrives this much later"),
    "link_corrupted": ComputerFaultRow(
        "computer", None, "what it publishes fails the check of whoever receives it"
    ),
    "umbilical_pulled": ComputerFaultRow(UMBILICAL, None, "is out: nothing passes either way"),
    "umbilical_bounces": ComputerFaultRow(
        UMBILICAL, "s", "has no contact in the second half of every so many seconds"
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
    if row.place == UMBILICAL:
        if place != UMBILICAL:
            raise InputError(f"the place of '{kind}' is '{UMBILICAL}'")
        if len(computers) < _PAIR:
            raise InputError("a computer by itself has no umbilical")
    elif place not in computers:
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
    _possible(kind, size, place, computers)
    return size


def _possible(kind: str, size: float, place: str, computers: Mapping[str, Sequence]) -> None:
    """Raises InputError for a size that cannot be."""
    if kind == "clock_drift":
        if not abs(size) < _WORST_PPM:
            raise InputError(f"the size of '{kind}' is less than {_WORST_PPM:g} ppm (got {size:g})")
        return
    if size < 0.0 or (size == 0.0 and kind != "link_repeated"):
        raise InputError(f"the size of '{kind}' is positive (got {size:g})")
    if kind == "logger_stall":
        check_stall(size, computers[place], f"the size of '{kind}'")
    if kind == "umbilical_bounces":
        # a tick with contact and one without: those of both computers together
        least = 2 / math.lcm(*(logic.rate_hz for logic in computers.values()))
        if size < least:
            raise InputError(f"the size of '{kind}' is at least {least:g} s (got {size:g})")


def check_stall(every_s: float, logic: Sequence, what: str) -> None:
    """Raises InputError where a stall `every_s` seconds would leave a computer no tick at all."""
    if ticks(every_s, logic.rate_hz) < _LEAST_STALL_TICKS:
        raise InputError(
            f"{what} is at least two ticks of '{logic.name}', "
            f"{_LEAST_STALL_TICKS / logic.rate_hz:g} s (got {every_s:g})"
        )
