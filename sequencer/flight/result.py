"""What flying one scenario came to: the record, and where it fell short of what was expected."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sequencer.record import FlightRecord
from sequencer.scenario.expect import Shortfall

__all__ = ["Result", "Shortfall"]


@dataclass(frozen=True, slots=True, eq=False)
class Result:
    """One scenario flown once and compared with its expectation.

    `error` holds the one line that kept the scenario from flying at all; then `record` is None.
    """

    name: str
    path: Path
    reason: str
    record: FlightRecord | None
    shortfalls: tuple[Shortfall, ...] = ()
    error: str | None = None

    @property
    def as_expected(self) -> bool:
        """True when everything came out as the scenario says."""
        return self.error is None and not self.shortfalls
