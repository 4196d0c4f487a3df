"""What all reports have in common: counts, the tightest margin, short hashes, numbers as text."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sequencer.flight.result import Result
from sequencer.record import Event, FlightRecord, Verdict, time_text

__all__ = [
    "Total",
    "about",
    "at",
    "count",
    "event_text",
    "folded",
    "not_flown",
    "quantity",
    "tied",
    "tightest",
]

#: digits of a hash that are enough to tell two files apart by eye
SHORT = 8
#: more different files than this under one name are counted, not listed
LISTED = 3

_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:m|s|kg|N|Pa|K|V|A|J|ohm|Hz|deg|rad)\b)")


@dataclass(frozen=True, slots=True)
class Total:
    """How many results there are of each sort; `status` is the exit status they stand for."""

    expected: int
    short: int
    failed: int

    @property
    def all(self) -> int:
        """Number of results."""
        return self.expected + self.short + self.failed

    @property
    def status(self) -> int:
        """0 all as expected, 1 something fell short, 2 something could not be flown."""
        if self.failed:
            return 2
        return 1 if self.short else 0


def count(results: Iterable[Result]) -> Total:
    """Sort the results into expected, short and not flown."""
    expected = short = failed = 0
    for result in results:
        if result.error is not None:
            failed += 1
        elif result.shortfalls:
            short += 1
        else:
            expected += 1
    return Total(expected, short, failed)


def tightest(record: FlightRecord) -> Verdict | None:
    """The requirement that came nearest to breaking, or that broke worst; None without margins.

    Margins in different units cannot be compared by physics. Each requirement states its margin in
    a unit that a person chose for it, so the smallest number is shown; of equals the first. Counts
    ("at most once") have nothing to spare in any good flight: they are left out unless they broke.
    """
    known = [
        (verdict.margin, i)
        for i, verdict in enumerate(record.verdicts)
        if verdict.margin is not None
        and not math.isnan(verdict.margin)
        and not (verdict.unit == "1" and verdict.status == "met")
    ]
    return record.verdicts[min(known)[1]] if known else None


def about(results: Sequence[Result]) -> list[tuple[str, str]]:
    """(what, short hash) of everything that the results are about, sorted by name.

    Where the flights used several files under one name, up to three hashes are listed and more
    are counted.
    """
    found: dict[str, dict[str, None]] = {}
    for result in results:
        if result.record is not None:
            for what, digest in result.record.hashes.items():
                found.setdefault(what, {})[digest[:SHORT]] = None
    return [
        (what, ", ".join(some) if len(some) <= LISTED else f"({len(some)} different)")
        for what, some in sorted(found.items())
    ]


def not_flown(results: Iterable[Result]) -> list[str]:
    """Each reason why scenarios could not be flown, once, with the number of those it stopped."""
    found: dict[str, int] = {}
    for result in results:
        if result.error is not None:
            found[result.error] = found.get(result.error, 0) + 1
    return [
        reason if number == 1 else f"{reason} (this stops {number} scenarios)"
        for reason, number in found.items()
    ]


def tied(text: str) -> str:
    """`text` with every number tied to its unit by a no-break space, for wrapping."""
    return _NUMBER_AND_UNIT.sub("\xa0", text)


def folded(lead: str, text: str, width: int) -> list[str]:
    """Text behind a lead in lines of `width`; further ones are indented as far as the lead."""
    pieces = textwrap.wrap(
        tied(text), max(width - len(lead), 20), break_on_hyphens=False, break_long_words=False
    )
    return [
        ((lead if i == 0 else " " * len(lead)) + piece).replace("\xa0", " ")
        for i, piece in enumerate(pieces or [""])
    ]


def quantity(value: float | None, unit: str) -> str:
    """A margin for a person: sign, three digits that count, unit. "-" for none.

    >>> quantity(0.4236, "m/s")
    '+0.424 m/s'
    """
    if value is None or math.isnan(value):
        return "-"
    if math.isinf(value):
        return "never near" if value > 0 else "never came"
    if unit == "1" and value.is_integer():  # a count
        return f"{value:+.0f}"
    digits = 2 if value == 0.0 else 2 - math.floor(math.log10(abs(value)))
    text = f"{value:+.{min(max(digits, 0), 9)}f}"
    return text if unit in {"", "1", "bool"} else f"{text} {unit}"


def at(record: FlightRecord, tick: int) -> str:
    """Time of a tick of this flight for a person, "12.34 s"."""
    return time_text(tick, record.rate_hz)


def event_text(event: Event) -> str:
    """An event for a person: its label, and its detail in brackets."""
    return f"{event.label} ({event.detail})" if event.detail else event.label
