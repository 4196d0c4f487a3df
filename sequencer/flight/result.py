"""What flying one scenario came to: the record, and where it fell short of what was expected."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sequencer.record import Divergence, FlightRecord
from sequencer.scenario.expect import Shortfall
from sequencer.world.margins import Margin

if TYPE_CHECKING:
    from sequencer.execute.deciding import Sight

__all__ = ["Result", "Seen", "Shortfall", "first_divergence"]


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What the decisions of one computer were seen with in one flight.

    path, digest   of its sequence
    sights         what was seen -> world tick on which it was seen first
    """

    computer: str
    path: Path
    digest: str
    sights: Mapping[Sight, int]


@dataclass(frozen=True, slots=True, eq=False)
class Result:
    """One scenario flown once and compared with its expectation.

    `error` holds the one line that kept the scenario from flying, or from landing where what
    executes a sequence was `lost`; then `record` is None.
    `margins` are those of the vehicle's firing circuits in the weather of the scenario.
    `seen` is empty unless decisions were watched.
    """

    name: str
    path: Path
    reason: str
    record: FlightRecord | None
    shortfalls: tuple[Shortfall, ...] = ()
    error: str | None = None
    margins: tuple[Margin, ...] = ()
    seen: tuple[Seen, ...] = ()
    lost: bool = False

    @property
    def as_expected(self) -> bool:
        """True when everything came out as the scenario says."""
        return self.error is None and not self.shortfalls


def first_divergence(result: Result | FlightRecord) -> Divergence | None:
    """Where a flight first did something else than the model would have done; None: nowhere.

    Of several computers the one that was first; `FlightRecord.divergences` has them all.
    """
    record = result.record if isinstance(result, Result) else result
    return record.divergences[0] if record is not None and record.divergences else None
