"""What moved, one sentence each, and how much it matters."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum

from sequencer.checks.timelines import Standing

__all__ = ["Change", "Kind", "Sight", "first_of", "gathered"]

#: more events than this that moved alike are told in one sentence
ALONE = 2


class Kind(IntEnum):
    """Kinds of change, the gravest first."""

    OUTCOME = 0
    BROKEN = 1  # a requirement that was not
    REQUIREMENT_GONE = 2
    VERDICT = 3
    EVENT_GONE = 4
    EVENT_NEW = 5
    HOW_OFTEN = 6
    ORDER = 7
    DETAIL = 8
    MARGIN_SMALLER = 9
    EVENT_MOVED = 10
    MARGIN_LARGER = 11
    REQUIREMENT_NEW = 12

    @property
    def word(self) -> str:
        """As programs read it: "event_moved"."""
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class Sight:
    """Two times of one event, s, and its place among the events of today."""

    was_s: float
    now_s: float
    at: int

    @property
    def later_s(self) -> float:
        """By how much it comes later; below 0 earlier."""
        return self.now_s - self.was_s


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that moved.

    name      of what it is about: the label of an event, a requirement, or "outcome"
    sentence  for a person
    size      how much, to sort by within its kind; the larger the graver
    at_s      when in the flight it shows, of what is about events, s
    sight     of an event that moved
    """

    kind: Kind
    name: str
    sentence: str
    size: float = 0.0
    at_s: float | None = None
    sight: Sight | None = None

    def gravity(self) -> tuple[int, float, float]:
        """Sorts the gravest first, of equals the earliest."""
        return self.kind, -round(self.size, 6), 0.0 if self.at_s is None else self.at_s


def outcome(name: str, was: str, now: str) -> Change:
    """The flight ended otherwise."""
    return Change(Kind.OUTCOME, name, f"the outcome is '{now}', it was '{was}'")


def new(label: str, count: int, at_s: float) -> Change:
    """An event that did not come before."""
    often = f" first of {count}," if count > 1 else ""
    sentence = f"'{label}' is new,{often} at {_time(at_s)}"
    return Change(Kind.EVENT_NEW, label, sentence, at_s=at_s)


def gone(label: str, count: int, at_s: float) -> Change:
    """An event that comes no more."""
    often = f"{count} times, first at" if count > 1 else "at"
    sentence = f"'{label}' does not come; it came {often} {_time(at_s)}"
    return Change(Kind.EVENT_GONE, label, sentence, at_s=at_s)


def how_often(label: str, was: int, now: int, at_s: list[float]) -> Change:
    """An event that comes more or less often; `at_s` are times of those that came or went."""
    places = ""
    if at_s:
        shown = ", ".join(_time(each) for each in at_s[:3])
        rest = ", ..." if len(at_s) > 3 else ""
        places = f" ({'added' if now > was else 'left out'}: {shown}{rest})"
    sentence = f"'{label}' comes {_often(now)}, it came {_often(was)}{places}"
    return Change(Kind.HOW_OFTEN, label, sentence, abs(now - was), min(at_s, default=None))


def moved(label: str, sight: Sight, count: int, *, last: bool = False) -> Change:
    """An event at another time; of many kept as one line the first, or the last."""
    which = f"the {'last' if last else 'first'} of {count} " if count > 1 else ""
    sentence = (
        f"{which}'{label}' comes {_shift(sight.later_s)}, at {_time(sight.now_s)} "
        f"instead of {_time(sight.was_s)}"
    )
    at_s = min(sight.was_s, sight.now_s)
    return Change(Kind.EVENT_MOVED, label, sentence, abs(sight.later_s), at_s, sight)


def detail(label: str, was: str, now: str, at_s: float) -> Change:
    """An event that says something else: another position, another inhibit."""
    sentence = f"'{label}' at {_time(at_s)} says '{now}', it said '{was}'"
    return Change(Kind.DETAIL, label, sentence, at_s=at_s)


def order(mover: str, labels: tuple[str, str], at_s: tuple[float, float], more: int) -> Change:
    """Two events that changed places; the mover passed so many more."""
    first, second = labels
    passed = f"; '{mover}' passed {more} more" if more else ""
    sentence = (
        f"the order changed: '{first}' ({_time(at_s[0])}) comes before '{second}' "
        f"({_time(at_s[1])}), it came after it{passed}"
    )
    return Change(Kind.ORDER, mover, sentence, more, min(at_s))


def verdict(was: Standing, now: Standing) -> Change:
    """A requirement that comes out otherwise."""
    kind = Kind.BROKEN if now.status == "broken" else Kind.VERDICT
    sentence = f"'{now.requirement}' is {_status(now)}; it was {_status(was)}"
    return Change(kind, now.requirement, sentence, -(now.margin or 0.0))


def requirement_gone(was: Standing) -> Change:
    """A requirement that nothing asks for any more."""
    sentence = f"requirement '{was.requirement}' is gone; it was {_status(was)}"
    return Change(Kind.REQUIREMENT_GONE, was.requirement, sentence)


def requirement_new(now: Standing) -> Change:
    """A requirement that was not asked for."""
    sentence = f"requirement '{now.requirement}' is new: {_status(now)}"
    return Change(Kind.REQUIREMENT_NEW, now.requirement, sentence)


def margin(was: Standing, now: Standing) -> Change:
    """A requirement that comes out the same way, by another margin."""
    a = math.nan if was.margin is None else was.margin
    b = math.nan if now.margin is None else now.margin
    kind = Kind.MARGIN_SMALLER if b < a or math.isnan(b) else Kind.MARGIN_LARGER
    size = abs(b - a) / max(abs(a), abs(b)) if math.isfinite(a) and math.isfinite(b) else 1.0
    name, shown = now.requirement, f"{_margin(now)}, it was {_margin(was)}"
    if was.unit != now.unit or not (math.isfinite(a) and math.isfinite(b)) or a == 0.0:
        sentence = f"the margin of '{name}' is {shown}"
    elif a < 0.0:
        sentence = f"the breach of '{name}' is {_share(b / a)}: {shown}"
    else:
        sentence = f"the margin of '{name}' is {_share(b / a)}: {shown}"
    return Change(kind, name, sentence, size)


def gathered(changes: Sequence[Change], tolerance_s: float) -> Iterator[str]:
    """Their sentences in their order; events that moved alike, within a tolerance, have one."""
    groups: list[list[Change]] = []
    for change in sorted(filter(_shifted, changes), key=_later_s):
        if groups and _later_s(change) - _later_s(groups[-1][0]) <= tolerance_s + 1e-9:
            groups[-1].append(change)
        else:
            groups.append([change])
    place = {id(change): at for at, group in enumerate(groups) for change in group}
    told = set()
    for change in changes:
        at = place.get(id(change))
        if at is None or len(groups[at]) <= ALONE:
            yield change.sentence
        elif at not in told:
            told.add(at)
            yield _together(sorted(groups[at], key=_now))


def first_of(changes: Sequence[Change]) -> Change | None:
    """The one that shows first in the flight, of those that are about events."""
    known = [change for change in changes if change.at_s is not None]
    if not known:
        return None
    return min(known, key=lambda change: (change.at_s, change.kind, _now(change)))


def _shifted(change: Change) -> bool:
    return change.sight is not None


def _later_s(change: Change) -> float:
    return 0.0 if change.sight is None else change.sight.later_s


def _now_s(change: Change) -> float:
    return _now(change)[0]


def _now(change: Change) -> tuple[float, int]:
    """When it comes today, s, and before and after what else on that tick."""
    return (0.0, 0) if change.sight is None else (change.sight.now_s, change.sight.at)


def _together(changes: Sequence[Change]) -> str:
    """One sentence for events that moved alike, in order of time."""
    first, last = changes[0], changes[-1]
    least, *_, most = sorted(map(_later_s, changes), key=abs)
    shift = _shift(most)
    if _shift(least) != shift:
        shift = f"{_shift(least).rsplit(' ', 1)[0]} to {shift}"
    now_s = _now_s(first)
    return (
        f"{len(changes)} events come {shift}, from '{first.name}' ({_time(now_s)} instead of "
        f"{_time(now_s - _later_s(first))}) to '{last.name}' ({_time(_now_s(last))})"
    )


def _status(standing: Standing) -> str:
    if standing.margin is None:
        return standing.status
    return f"{standing.status} ({_margin(standing)})"


def _margin(standing: Standing) -> str:
    """Three digits that count are enough for a sentence."""
    value = standing.margin
    if value is None:
        return "none"
    if math.isinf(value):
        return "never near" if value > 0 else "never came"
    text = f"{value:+.3g}" if abs(value) < 1e3 else f"{value:+.0f}"
    return text if standing.unit == "1" else f"{text} {standing.unit}"


#: least and greatest share of a change that a word stands for
_FRACTIONS = (
    (0.23, 0.27, "a quarter"),
    (0.31, 0.36, "a third"),
    (0.47, 0.53, "half"),
    (0.64, 0.69, "two thirds"),
    (0.73, 0.77, "three quarters"),
)


def _share(ratio: float) -> str:
    """In words: "a third smaller", "12 % larger", "3.2 times as large"."""
    change = abs(ratio - 1.0)
    if ratio < 0.005:
        return "all but gone"
    if ratio < 1.0 and 0.47 <= change <= 0.53:
        return "half as large"
    if ratio > 1.95:
        return "twice as large" if ratio < 2.05 else f"{ratio:.2g} times as large"
    word = "smaller" if ratio < 1.0 else "larger"
    for low, high, fraction in _FRACTIONS:
        if low <= change <= high:
            return f"{fraction} {word}"
    return f"{100.0 * change:.2g} % {word}"


def _often(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _shift(later_s: float) -> str:
    word = "later" if later_s > 0 else "earlier"
    size = abs(later_s)
    text = f"{1000.0 * size:.3g} ms" if size < 0.9995 else f"{size:.3g} s"
    return f"{text} {word}"


def _time(seconds: float) -> str:
    text = f"{seconds:.3f}"
    return f"{text.removesuffix('0')} s"
