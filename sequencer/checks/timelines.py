"""Golden timelines: what one flight came to, rounded, to be kept beside its scenario in git.

Times are world ticks, margins four digits that count. So the same platform gives the same text, and
another one differs by no more than the tolerance that the timeline states.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sequencer.record import FlightRecord, Verdict
from sequencer.record.model import Event

__all__ = ["MANY", "Moment", "Standing", "Timeline", "Tolerance", "folded", "timeline_of"]

#: an event that comes more often than this is kept as one line: its first, its last, how many
MANY = 12
#: digits of a margin that count
DIGITS = 4
#: margins nearer to zero than this are zero: what is left there is rounding
NOTHING = 1e-6
#: digits of a hash that are kept
HASH = 16
#: kinds whose remark says what was done (a position, an inhibit); the others' are for people
_TELLING = frozenset({"moved", "blocked", "cut"})


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What is not told.

    time_s   moves of an event up to this, s
    margin   changes of a margin up to this share of it
    """

    time_s: float
    margin: float = 0.01


@dataclass(frozen=True, slots=True)
class Moment:
    """An event, or more than `MANY` of one label.

    tick         of the first
    detail       of `moved` the position, of `blocked` and `cut` the inhibit, else ""
    count, last  how many, and the tick of the last of them
    """

    tick: int
    label: str
    detail: str = ""
    count: int = 1
    last: int = -1

    @property
    def ends(self) -> int:
        """Tick of the last of them."""
        return self.tick if self.count == 1 else self.last


@dataclass(frozen=True, slots=True)
class Standing:
    """How a requirement came out. `unit` is "1" where there is no number, or it is a count."""

    requirement: str
    status: str
    margin: float | None
    unit: str = "1"


@dataclass(frozen=True, slots=True)
class Timeline:
    """One flight as it is kept.

    rate_hz    world ticks per second
    about      what it was flown with -> beginning of its hash
    moments    in order of time, those of one tick as they came
    standings  in the order of the requirements
    """

    scenario: str
    rate_hz: int
    tolerance: Tolerance
    about: Mapping[str, str]
    outcome: str
    moments: tuple[Moment, ...]
    standings: tuple[Standing, ...]

    def seconds(self, tick: int) -> float:
        """Time of a tick in s, rounded once."""
        return tick / self.rate_hz


def timeline_of(record: FlightRecord, tolerance: Tolerance | None = None) -> Timeline:
    """The timeline of a flight. `tolerance` is by default one tick and a hundredth of a margin."""
    counts = Counter(_line(event.label) for event in record.events)
    many = {label for label, count in counts.items() if count > MANY}
    return Timeline(
        scenario=_line(record.scenario),
        rate_hz=record.rate_hz,
        tolerance=tolerance or Tolerance(1 / record.rate_hz),
        about={_line(what): digest[:HASH] for what, digest in sorted(record.hashes.items())},
        outcome=record.outcome,
        moments=folded(map(_moment, record.events), many),
        standings=tuple(map(_standing, record.verdicts)),
    )


def folded(moments: Iterable[Moment], labels: Iterable[str]) -> tuple[Moment, ...]:
    """The same moments with those of certain labels made one each."""
    many = dict.fromkeys(labels)
    found: dict[object, Moment] = {}
    for number, moment in enumerate(moments):
        if moment.label not in many:
            found[number] = moment
        elif moment.label in found:
            one = found[moment.label]
            count = one.count + moment.count
            found[moment.label] = Moment(one.tick, one.label, "", count, moment.ends)
        else:
            found[moment.label] = Moment(moment.tick, moment.label, "", moment.count, moment.ends)
    return tuple(found.values())


def _moment(event: Event) -> Moment:
    detail = _line(event.detail) if event.kind in _TELLING else ""
    return Moment(int(event.tick), _line(event.label), detail)


def _standing(verdict: Verdict) -> Standing:
    margin = None if verdict.margin is None else float(verdict.margin)
    name = _line(verdict.requirement)
    if margin is None or math.isnan(margin):
        return Standing(name, verdict.status, None)
    if math.isinf(margin):
        return Standing(name, verdict.status, margin)
    return Standing(name, verdict.status, rounded(margin), verdict.unit or "1")


def rounded(margin: float) -> float:
    """`margin` with the digits that count."""
    if abs(margin) < NOTHING:
        return 0.0
    return float(f"{margin:.{DIGITS}g}")


def _line(text: str) -> str:
    """One line without the double blanks that part columns."""
    return " ".join(text.split())
