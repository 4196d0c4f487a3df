"""What moved between kept timelines and today's flights: on a terminal, and as JSON."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from rich.console import Console

from sequencer import __version__
from sequencer.checks.baseline_words import Change, Kind, first_of, gathered
from sequencer.report.summary import not_flown
from sequencer.report.terminal import Page
from sequencer.studies.baselines import Acceptance, Comparison, Moved, Recording

__all__ = [
    "FORMAT",
    "as_json",
    "print_acceptance",
    "print_comparison",
    "print_recording",
    "would_accept",
]

#: changes when a reader of the older form would be misled
FORMAT = "drycount baseline 1"
#: sentences about one flight that are shown unless all are asked for
SHOWN = 8
#: names that a list shows
LISTED = 4


def some(names: Sequence[str]) -> str:
    """``a, b, c, d and 3 more``."""
    shown = ", ".join(names[:LISTED])
    rest = len(names) - LISTED
    return shown if rest <= 0 else f"{shown} and {rest} more"


def print_comparison(found: Comparison, out: Console, *, everything: bool = False) -> None:
    """Print what moved, the gravest first, then the total.

    everything   show all changes of a flight, each event by itself
    """
    page = Page.on(out)
    moved = found.moved
    if moved:
        page.line(f"{len(moved)} of {_flights(len(found.flights))} moved", "bold red")
        page.line()
    for each in moved:
        _flight(page, each, everything=everything)
    if found.short:
        names = [each.name for each in found.short]
        shown = ", ".join(names) if everything else some(names)
        page.wrapped("short of what the scenario expects: ", shown, "red")
    quiet = _quiet(found)
    for about, names in quiet.items():
        shown = ", ".join(names) if everything else some(names)
        page.wrapped(f"{about} changed, and nothing moved: ", shown)
    for path in found.orphans:
        page.wrapped("timeline without a scenario: ", str(path), "red")
    if found.unrecorded:
        missing = some([each.name for each in found.unrecorded])
        page.wrapped("no timeline: ", missing, "red" if found.strict else "dim")
    if found.short or quiet or found.orphans or found.unrecorded:
        page.line()
    page.wrapped("", _closing(found), "bold red" if found.status else "bold green")


def _quiet(found: Comparison) -> dict[str, list[str]]:
    """What changed -> the flights in which that moved nothing."""
    quiet: dict[str, list[str]] = {}
    for each in found.flights:
        if each.difference.about and not each.changes:
            quiet.setdefault(", ".join(each.difference.about), []).append(each.kept.name)
    return quiet


def _flight(page: Page, each: Moved, *, everything: bool) -> None:
    page.line(each.kept.name, "bold")
    page.wrapped("  timeline  ", str(each.kept.timeline), "dim")
    if each.difference.about:
        page.wrapped("  changed   ", ", ".join(each.difference.about), "dim")
    changes = each.changes
    told = [change.sentence for change in changes]
    if not everything:
        told = list(gathered(changes, each.tolerance.time_s))
    first = first_of(changes)
    if first is not None and len(told) > 1:
        page.wrapped("  first     ", first.sentence)
    shown = len(told) if everything else SHOWN
    for sentence in told[:shown]:
        page.wrapped("  moved     ", sentence)
    if len(told) > shown:
        page.line(f"  and {len(told) - shown} more; -v shows them all")
    page.line()


def _flights(number: int) -> str:
    return f"{number} {'flight' if number == 1 else 'flights'}"


def _closing(found: Comparison) -> str:
    moved = len(found.moved)
    parts = [f"{len(found.flights) - moved} as recorded"]
    if moved:
        parts.append(f"{moved} moved")
    if found.not_flown:
        parts.append(f"{len(found.not_flown)} could not be flown")
    if found.orphans:
        number = len(found.orphans)
        parts.append(f"{number} {'timeline' if number == 1 else 'timelines'} without a scenario")
    if found.unrecorded:
        parts.append(f"{len(found.unrecorded)} without a timeline")
    text = f"{_flights(len(found.flights) + len(found.not_flown))}: {', '.join(parts)}"
    within = sum(each.difference.within for each in found.flights)
    if within:
        what = "time or margin" if within == 1 else "times and margins"
        text += f"; {within} {what} moved within the tolerance"
    return text


def print_recording(found: Recording, out: Console) -> None:
    """Print of which scenarios timelines were kept."""
    page = Page.on(out)
    for each in found.written:
        page.wrapped("recorded  ", str(each.timeline))
    for each in found.short:
        what = "falls short of what its scenario expects, so nothing is kept of it"
        page.wrapped("SHORT     ", f"{each.name} {what}", "bold red")
    if found.written or found.short:
        page.line()
    parts = [f"{len(found.written)} recorded"]
    if found.there:
        parts.append(f"{len(found.there)} there already, not touched")
    if found.short:
        parts.append(f"{len(found.short)} fell short")
    if found.not_flown:
        parts.append(f"{len(found.not_flown)} could not be flown")
    page.wrapped("", f"timelines: {', '.join(parts)}", "bold red" if found.status else "bold green")


def print_acceptance(found: Comparison, taken: Sequence[Acceptance], out: Console) -> None:
    """Print what is kept from now on, and what is left."""
    page = Page.on(out)
    for each in taken:
        kept, left = each.moved.kept, len(each.left.changes)
        if each.taken:
            rest = f", {left} left" if left else ""
            page.wrapped("accepted  ", f"{kept.name}: {_changes(each.taken)}{rest}")
        elif each.moved.difference.about and not left:
            about = ", ".join(each.moved.difference.about)
            page.wrapped("accepted  ", f"{kept.name}: nothing moved; the new {about}")
        else:
            page.wrapped("as it was ", f"{kept.name}: {'not named' if left else 'nothing moved'}")
    for short in found.short:
        what = "falls short of what its scenario expects, so nothing is accepted"
        page.wrapped("SHORT     ", f"{short.name} {what}", "bold red")


def would_accept(found: Comparison) -> str:
    """What accepting everything would change, in a few words."""
    moved = [f"{each.kept.name} ({_changes(len(each.changes))})" for each in found.moved]
    return ", ".join(moved) if moved else "nothing, for nothing moved"


def _changes(number: int) -> str:
    return f"{number} {'change' if number == 1 else 'changes'}"


def as_json(found: Comparison) -> str:
    """The comparison as one JSON document, ending in a newline."""
    document = {
        "format": FORMAT,
        "version": __version__,
        "total": {
            "flights": len(found.flights),
            "moved": len(found.moved),
            "not_flown": len(found.not_flown),
            "without_timeline": len(found.unrecorded),
            "without_scenario": len(found.orphans),
        },
        "flights": [_as_plain(each) for each in found.flights],
        "without_timeline": [each.scenario.as_posix() for each in found.unrecorded],
        "without_scenario": [path.as_posix() for path in found.orphans],
        "not_flown": not_flown(found.not_flown),
    }
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def _as_plain(each: Moved) -> dict[str, Any]:
    return {
        "scenario": each.kept.name,
        "file": each.kept.scenario.as_posix(),
        "timeline": each.kept.timeline.as_posix(),
        "tolerance_s": each.tolerance.time_s,
        "tolerance_margin": each.tolerance.margin,
        "moved": bool(each.changes),
        "within_tolerance": each.difference.within,
        "changed": list(each.difference.about),
        "changes": [_change(change) for change in each.changes],
    }


def _change(change: Change) -> dict[str, Any]:
    found: dict[str, Any] = {
        "kind": Kind(change.kind).word,
        "name": change.name,
        "sentence": change.sentence,
    }
    if change.sight is not None:
        found |= {"was_s": change.sight.was_s, "now_s": change.sight.now_s}
    return found
