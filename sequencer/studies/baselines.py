"""Scenarios and the timelines that are kept of them: where they are, and what moved.

Whatever flew, a timeline is made from its record alone.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from sequencer.checks.baseline_words import Change
from sequencer.checks.baselines import Difference, accepted, compare_timelines
from sequencer.checks.timeline_text import read_timeline, timeline_text
from sequencer.checks.timelines import Timeline, Tolerance, timeline_of
from sequencer.errors import InputError, UsageError, nearest
from sequencer.flight.result import Result
from sequencer.record import FlightRecord
from sequencer.scenario import SUFFIX

__all__ = [
    "FOLDER",
    "Acceptance",
    "Allowance",
    "Comparison",
    "Fly",
    "Kept",
    "Moved",
    "Recording",
    "accept",
    "compare_flights",
    "compare_record",
    "kept_for",
    "record_flights",
    "without_scenario",
]

#: flies scenario files; results in their order
Fly = Callable[[Sequence[Path]], Sequence[Result]]

#: folder beside the scenarios, and how the files in it end
FOLDER = "timelines"
ENDING = ".timeline"


@dataclass(frozen=True, slots=True)
class Kept:
    """A scenario file and where its timeline is, or would be."""

    scenario: Path
    timeline: Path

    @property
    def name(self) -> str:
        """That of the scenario's file, without its ending."""
        return self.scenario.name.removesuffix(SUFFIX)

    @property
    def exists(self) -> bool:
        """Whether there is one, or something else in its place."""
        return self.timeline.exists()


@dataclass(frozen=True, slots=True)
class Moved:
    """A scenario flown today, held against its timeline."""

    kept: Kept
    was: Timeline
    now: Timeline
    tolerance: Tolerance
    difference: Difference

    @property
    def changes(self) -> tuple[Change, ...]:
        """What moved, the gravest first."""
        return self.difference.changes


def kept_for(scenarios: Iterable[Path], folder: Path | None = None) -> list[Kept]:
    """Where the timelines of these scenarios are.

    folder   in which all of them are; default: a folder `timelines` beside each scenario

    Raises UsageError where two scenarios would share one.
    """
    found: dict[Path, Kept] = {}
    for scenario in scenarios:
        name = scenario.name.removesuffix(SUFFIX) + ENDING
        kept = Kept(scenario, (folder or scenario.parent / FOLDER) / name)
        other = found.setdefault(kept.timeline, kept).scenario
        if other != scenario:
            raise UsageError(f"{kept.timeline}: {other} and {scenario} would share it")
    return list(found.values())


def without_scenario(paths: Iterable[Path], folder: Path | None = None) -> list[Path]:
    """Timelines whose scenario is gone, in the folders among `paths`, sorted.

    folder   in which all timelines are; a scenario may then be in any folder among `paths`
    """
    folders = [path for path in paths if path.is_dir()]
    if not folders:
        return []
    if folder is not None:
        named = {each.name for path in folders for each in path.rglob(f"*{SUFFIX}")}
        found = folder.glob(f"*{ENDING}")
        return sorted(each for each in found if each.name[: -len(ENDING)] + SUFFIX not in named)
    return sorted(
        {
            each
            for path in folders
            for each in (*path.rglob(f"{FOLDER}/*{ENDING}"), *_own(path))
            if not (each.parent.parent / (each.name[: -len(ENDING)] + SUFFIX)).exists()
        }
    )


def _own(folder: Path) -> Iterable[Path]:
    """Timelines in a folder that is itself one of timelines."""
    return folder.glob(f"*{ENDING}") if folder.name == FOLDER else ()


@dataclass(frozen=True, slots=True)
class Allowance:
    """What is not told when flights are held against their timelines.

    time_s   moves up to this, s; None: what a timeline states, or what flew where that is more
    margin   changes up to this share of a margin; None: what a timeline states
    """

    time_s: float | None = None
    margin: float | None = None

    def of(self, stated: Tolerance, record: FlightRecord) -> Tolerance:
        """For one timeline, which states its own, and one flight, which may state more."""
        time_s = max(stated.time_s, record.tolerance_s) if self.time_s is None else self.time_s
        return Tolerance(time_s, stated.margin if self.margin is None else self.margin)


def compare_record(kept: Kept, record: FlightRecord, allowance: Allowance | None = None) -> Moved:
    """Hold the record of a flight, whatever flew it, against the timeline of its scenario.

    Raises InputError for a timeline that cannot be read.
    """
    was = read_timeline(kept.timeline)
    if was.scenario != kept.name:
        what = f"is the timeline of '{was.scenario}', not of '{kept.name}'"
        raise InputError(what, file=kept.timeline)
    now = timeline_of(record)
    tolerance = (allowance or Allowance()).of(was.tolerance, record)
    return Moved(kept, was, now, tolerance, compare_timelines(was, now, tolerance))


@dataclass(frozen=True, slots=True)
class Comparison:
    """All scenarios that were looked at.

    flights     flown today and held against their timelines
    not_flown   with a timeline, but they could not be flown
    short       of those flown: fell short of what they expect
    unrecorded  scenarios without a timeline
    orphans     timelines whose scenario is gone
    strict      whether a scenario without a timeline counts as moved
    """

    flights: Sequence[Moved]
    not_flown: Sequence[Result]
    short: Sequence[Kept]
    unrecorded: Sequence[Kept]
    orphans: Sequence[Path]
    strict: bool = False

    @property
    def moved(self) -> list[Moved]:
        """Flights in which anything did, the gravest first."""
        found = [each for each in self.flights if each.changes]
        return sorted(found, key=lambda each: each.changes[0].gravity())

    @property
    def status(self) -> int:
        """0 nothing moved, 1 something did, 2 something could not be flown."""
        if self.not_flown:
            return 2
        return int(bool(self.moved or self.orphans or (self.strict and self.unrecorded)))


def compare_flights(
    kept: Sequence[Kept],
    fly: Fly,
    allowance: Allowance | None = None,
    *,
    orphans: Sequence[Path] = (),
    strict: bool = False,
) -> Comparison:
    """Fly the scenarios that have a timeline and hold each against it.

    fly       flies scenario files
    orphans   timelines without a scenario
    strict    whether a scenario without a timeline counts as moved

    Raises UsageError where there is nothing to hold anything against, InputError for a timeline
    that cannot be read, before anything is flown.
    """
    there = [each for each in kept if each.exists]
    if not there and not orphans:
        folders = ", ".join(dict.fromkeys(str(each.timeline.parent) for each in kept))
        who = f"none of {len(kept)} scenarios has a" if len(kept) > 1 else "the scenario has no"
        raise UsageError(f"{who} timeline in {folders}; 'drycount baseline record' makes one")
    for each in there:
        read_timeline(each.timeline)
    flown, not_flown, short = [], [], []
    results = fly([each.scenario for each in there]) if there else ()
    for each, result in zip(there, results, strict=True):
        if result.record is None:
            not_flown.append(result)
            continue
        flown.append(compare_record(each, result.record, allowance))
        if result.shortfalls:
            short.append(each)
    missing = [each for each in kept if each not in there]
    return Comparison(flown, not_flown, short, missing, orphans, strict=strict)


@dataclass(frozen=True, slots=True)
class Recording:
    """What became of the scenarios of which timelines were to be kept.

    written    whose timeline is new
    there      that had one already; it was not touched
    short      that fell short of what they expect: nothing was kept of them
    not_flown  that could not be flown
    """

    written: Sequence[Kept]
    there: Sequence[Kept]
    short: Sequence[Kept]
    not_flown: Sequence[Result]

    @property
    def status(self) -> int:
        """0 all have one, 1 something fell short, 2 something could not be flown."""
        return 2 if self.not_flown else int(bool(self.short))


def record_flights(kept: Sequence[Kept], fly: Fly, allowance: Allowance | None = None) -> Recording:
    """Fly the scenarios that have no timeline and keep theirs.

    Raises UsageError where a timeline cannot be written.
    """
    there = [each for each in kept if each.exists]
    new = [each for each in kept if each not in there]
    written, short, not_flown = [], [], []
    results = fly([each.scenario for each in new]) if new else ()
    for each, result in zip(new, results, strict=True):
        if result.record is None:
            not_flown.append(result)
        elif result.shortfalls:
            short.append(each)
        else:
            plain = timeline_of(result.record)
            tolerance = (allowance or Allowance()).of(plain.tolerance, result.record)
            _write(each.timeline, replace(plain, tolerance=tolerance))
            written.append(each)
    return Recording(written, there, short, not_flown)


@dataclass(frozen=True, slots=True)
class Acceptance:
    """One flight of which what moved is kept from now on; `left` is what moved and is not."""

    moved: Moved
    left: Difference

    @property
    def taken(self) -> int:
        """Number of changes that are kept from now on."""
        return len(self.moved.difference.changes) - len(self.left.changes)


def accept(found: Comparison, only: Collection[str] = ()) -> list[Acceptance]:
    """Keep what moved, all of it or only what is named (see `accepted`).

    A flight that falls short of what its scenario expects is left as it is.

    Raises UsageError for a name of which nothing moved, or a timeline that cannot be written.
    """
    known = dict.fromkeys(change.name for each in found.flights for change in each.changes)
    for name in only:
        if name not in known:
            guess = nearest(name, known)
            hint = f"; did you mean '{guess}'?" if guess else ""
            raise UsageError(f"nothing called '{name}' moved{hint}")
    return [_accept(each, only) for each in found.flights if each.kept not in found.short]


def _accept(each: Moved, only: Collection[str]) -> Acceptance:
    new = accepted(each.was, each.now, only or None, each.tolerance)
    if new != each.was:
        _write(each.kept.timeline, new)
    return Acceptance(each, compare_timelines(new, each.now, each.tolerance))


def _write(path: Path, timeline: Timeline) -> None:
    """Write a timeline, with its folder; a file that is there is whole. Raises UsageError."""
    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(timeline_text(timeline), encoding="utf-8", newline="\n")
        part.replace(path)
    except OSError as error:
        raise UsageError(f"{path}: cannot be written: {error.strerror or error}") from error
