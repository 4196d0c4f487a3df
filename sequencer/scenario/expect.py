"""What must come out of a scenario, and where a flight fell short of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from fnmatch import fnmatchcase

from sequencer.record import Divergence, Event, FlightRecord, Verdict

__all__ = ["Expectation", "Shortfall", "Window", "compare"]

#: statuses that fall short unless the scenario names them, and the key that names them
NAMED = {"broken": "breaks", "not exercised": "not_exercised", "not decided": "not_decided"}


@dataclass(frozen=True, slots=True)
class Window:
    """An event whose first occurrence must lie in a closed window of seconds."""

    event: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Expectation:
    """What must come out.

    order          labels of events that must occur in this order (others may lie between)
    never          labels that must not occur; `*` stands for any part of a name
    breaks, not_exercised, not_decided
                   requirements (names, `*` allowed) that must come out so; each pattern must match
                   at least one that does, and one that comes out so must be matched
    may_rest       names of requirements that may come out "not exercised" unmatched
    faults         names of the planned faults: each must begin, or the flight shows nothing of it
    crew           what the crew is planned to do ("launch on"), as often as it stands here
    """

    outcome: str
    order: tuple[str, ...] = ()
    windows: tuple[Window, ...] = ()
    never: tuple[str, ...] = ()
    breaks: tuple[str, ...] = ()
    not_exercised: tuple[str, ...] = ()
    not_decided: tuple[str, ...] = ()
    may_rest: frozenset[str] = frozenset()
    faults: tuple[str, ...] = ()
    crew: tuple[str, ...] = ()

    def named(self, status: str) -> tuple[str, ...]:
        """The patterns that allow, and demand, this status."""
        return {
            "broken": self.breaks,
            "not exercised": self.not_exercised,
            "not decided": self.not_decided,
        }.get(status, ())


@dataclass(frozen=True, slots=True)
class Shortfall:
    """One way in which a flight was not what its scenario says must come out.

    what         one sentence for a person
    verdict      the requirement's verdict where it is about one, else None
    first_wrong  the first event that shows it, or None where something is missing
    divergence   where it is that something else was done than the model would have done
    """

    what: str
    verdict: Verdict | None = None
    first_wrong: Event | None = None
    divergence: Divergence | None = None


def compare(expect: Expectation, record: FlightRecord) -> tuple[Shortfall, ...]:
    """Every way in which `record` (with its verdicts) differs from what was expected.

    Where something else was done than by the model comes first, then what was planned and never
    began, then requirements that broke unexpectedly, then events, then the outcome: the order in
    which they help to understand a failure.
    """
    return (
        *(Shortfall(each.sentence, divergence=each) for each in record.divergences),
        *_plans(expect, record),
        *_verdicts(expect, record),
        *_order(expect, record),
        *_windows(expect, record),
        *_never(expect, record),
        *_outcome(expect, record),
    )


def _verdicts(expect: Expectation, record: FlightRecord) -> Iterator[Shortfall]:
    for status in NAMED:
        patterns = expect.named(status)
        for verdict in record.verdicts:
            if verdict.status == "not exercised" and verdict.requirement in expect.may_rest:
                continue
            if verdict.status == status and not _matches(verdict.requirement, patterns):
                yield Shortfall(
                    f"'{verdict.requirement}' is {status}: {verdict.because}",
                    verdict,
                    _event_at(record, verdict.start),
                )
    for status, key in NAMED.items():
        for pattern in expect.named(status):
            touched = [v for v in record.verdicts if fnmatchcase(v.requirement, pattern)]
            if not any(v.status == status for v in touched):
                came = f"it is {touched[0].status}" if touched else "no requirement has that name"
                yield Shortfall(
                    f"'{pattern}' was expected under {key}, but {came}",
                    touched[0] if touched else None,
                )


def _plans(expect: Expectation, record: FlightRecord) -> Iterator[Shortfall]:
    for name in expect.faults:
        if record.first(f"fault_begun {name}") is None:
            yield Shortfall(f"the fault '{name}' never began: its moment did not come")
    done = Counter(event.name for event in record.events if event.kind == "crew")
    for label in Counter(expect.crew) - done:
        yield Shortfall(f"the crew's '{label}' never came: its moment did not come")


def _order(expect: Expectation, record: FlightRecord) -> Iterator[Shortfall]:
    position = 0
    before = "the start"
    for label in expect.order:
        found = next(
            (i for i in range(position, len(record.events)) if record.events[i].label == label),
            None,
        )
        if found is None:
            earlier = record.first(label)
            if earlier is None:
                yield Shortfall(f"'{label}' never came (expected after {before})")
            else:
                yield Shortfall(
                    f"'{label}' came at {record.seconds(earlier.tick):.2f} s, "
                    f"out of order: expected after {before}",
                    None,
                    earlier,
                )
            return
        event = record.events[found]
        before = f"'{label}' at {record.seconds(event.tick):.2f} s"
        position = found + 1


def _windows(expect: Expectation, record: FlightRecord) -> Iterator[Shortfall]:
    for window in expect.windows:
        event = record.first(window.event)
        span = f"expected from {window.start_s:g} to {window.end_s:g} s"
        if event is None:
            yield Shortfall(f"'{window.event}' never came ({span})")
            continue
        at = record.seconds(event.tick)
        if not window.start_s <= at <= window.end_s:
            off = window.start_s - at if at < window.start_s else at - window.end_s
            word = "early" if at < window.start_s else "late"
            yield Shortfall(
                f"'{window.event}' came at {at:.2f} s, {off:.2f} s too {word} ({span})", None, event
            )


def _never(expect: Expectation, record: FlightRecord) -> Iterator[Shortfall]:
    for pattern in expect.never:
        event = next((e for e in record.events if fnmatchcase(e.label, pattern)), None)
        if event is not None:
            yield Shortfall(
                f"'{event.label}' came at {record.seconds(event.tick):.2f} s, but must never come",
                None,
                event,
            )


def _outcome(expect: Expectation, record: FlightRecord) -> Iterator[Shortfall]:
    if record.outcome != expect.outcome:
        ended = record.first("touchdown")
        yield Shortfall(f"outcome is '{record.outcome}', expected '{expect.outcome}'", None, ended)


def _matches(name: str, patterns: tuple[str, ...]) -> bool:
    return any(fnmatchcase(name, pattern) for pattern in patterns)


def _event_at(record: FlightRecord, tick: int | None) -> Event | None:
    """The event nearest to a tick, the later of two equally near: what was going on then."""
    if tick is None or not record.events:
        return None
    return min(record.events, key=lambda event: (abs(event.tick - tick), -event.tick))
