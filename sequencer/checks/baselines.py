"""What moved between a timeline that was kept and the flight of today."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace

from sequencer.checks import baseline_words as words
from sequencer.checks.baseline_words import Change, Sight
from sequencer.checks.timelines import Moment, Standing, Timeline, Tolerance, folded

__all__ = ["OUTCOME", "Difference", "accepted", "compare_timelines"]

#: what `accepted` calls the outcome
OUTCOME = "outcome"
#: pairs of one label are sought up to this many combinations; beyond, the first goes with the first
_MOST = 1_000_000


@dataclass(frozen=True, slots=True)
class Difference:
    """What differs between two timelines of one scenario.

    changes   what moved, the gravest first
    within    how many events and margins moved by no more than the tolerance
    about     names of what it was flown with that is not the same any more
    """

    changes: tuple[Change, ...]
    within: int
    about: tuple[str, ...]


def compare_timelines(
    was: Timeline, now: Timeline, tolerance: Tolerance | None = None
) -> Difference:
    """What moved from `was` to `now`. `tolerance` is by default the one that `was` states."""
    return _Comparison(was, now, tolerance or was.tolerance).difference()


@dataclass(frozen=True, slots=True)
class _Pair:
    """One event in both timelines, with its place in each."""

    was: Moment
    now: Moment
    was_at: int
    now_at: int


class _Comparison:
    """Two timelines, with every label that is kept as one line in either kept so in both."""

    def __init__(self, was: Timeline, now: Timeline, tolerance: Tolerance) -> None:
        many = {each.label for line in (was, now) for each in line.moments if each.count > 1}
        self.was = replace(was, moments=folded(was.moments, many))
        self.now = replace(now, moments=folded(now.moments, many))
        self.tolerance = tolerance
        self.within = 0
        self._pairs: list[_Pair] = []

    def difference(self) -> Difference:
        changes = [*self._outcome(), *self._events(), *self._order(), *self._requirements()]
        changes.sort(key=Change.gravity)
        names = sorted(self.was.about.keys() | self.now.about.keys())
        about = tuple(
            name for name in names if self.was.about.get(name) != self.now.about.get(name)
        )
        return Difference(tuple(changes), self.within, about)

    def _outcome(self) -> Iterator[Change]:
        if self.was.outcome != self.now.outcome:
            yield words.outcome(OUTCOME, self.was.outcome, self.now.outcome)

    def _late(self, was: int, now: int) -> float:
        """By how much a tick of today comes later, s."""
        return self.now.seconds(now) - self.was.seconds(was)

    def _beyond(self, shift_s: float, times: int = 1) -> bool:
        """Whether a shift is more than the tolerance, which was written with six digits."""
        return abs(shift_s) > times * self.tolerance.time_s * (1 + 1e-5) + 1e-9

    def _events(self) -> Iterator[Change]:
        was, now = _by_label(self.was), _by_label(self.now)
        for label in dict.fromkeys((*was, *now)):
            before, after = was.get(label, []), now.get(label, [])
            yield from self._how_often(label, before, after)
            for i, j in self._matched(before, after):
                pair = _Pair(before[i][1], after[j][1], before[i][0], after[j][0])
                self._pairs.append(pair)
                yield from self._pair(pair)

    def _how_often(
        self, label: str, before: list[tuple[int, Moment]], after: list[tuple[int, Moment]]
    ) -> Iterator[Change]:
        old, new = (sum(each.count for _, each in found) for found in (before, after))
        if not old:
            yield words.new(label, new, self.now.seconds(after[0][1].tick))
        elif not new:
            yield words.gone(label, old, self.was.seconds(before[0][1].tick))
        elif old != new:
            more = self._matched(before, after)
            lone = [self.now.seconds(after[j][1].tick) for j in _others(len(after), more, 1)]
            lost = [self.was.seconds(before[i][1].tick) for i in _others(len(before), more, 0)]
            yield words.how_often(label, old, new, lone or lost)

    def _matched(
        self, before: list[tuple[int, Moment]], after: list[tuple[int, Moment]]
    ) -> list[tuple[int, int]]:
        old = [self.was.seconds(each.tick) for _, each in before]
        new = [self.now.seconds(each.tick) for _, each in after]
        return _matched(old, new)

    def _pair(self, pair: _Pair) -> Iterator[Change]:
        was, now = pair.was, pair.now
        first, last = self._late(was.tick, now.tick), self._late(was.ends, now.ends)
        if self._beyond(first):
            sight = Sight(self.was.seconds(was.tick), self.now.seconds(now.tick), pair.now_at)
            yield words.moved(now.label, sight, now.count)
        elif self._beyond(last) and now.count == was.count > 1:
            sight = Sight(self.was.seconds(was.ends), self.now.seconds(now.ends), pair.now_at)
            yield words.moved(now.label, sight, now.count, last=True)
        elif self._beyond_nothing(first):
            self.within += 1
        if was.detail != now.detail:
            yield words.detail(now.label, was.detail, now.detail, self.now.seconds(now.tick))

    @staticmethod
    def _beyond_nothing(shift_s: float) -> bool:
        return abs(shift_s) > 1e-9

    def _order(self) -> Iterator[Change]:
        """Events that stand at another place among the others, each with one it passed."""
        pairs = sorted(
            (each for each in self._pairs if each.now.count == each.was.count == 1),
            key=lambda each: each.now_at,
        )
        kept = _longest_rising([each.was_at for each in pairs])
        stay = [pairs[i] for i in kept]
        for i in sorted(set(range(len(pairs))) - set(kept)):
            mover = pairs[i]
            passed = [each for each in stay if self._passed(mover, each)]
            if not passed:
                continue
            nearest = min(passed, key=lambda each: abs(each.now_at - mover.now_at))
            first, second = sorted((mover, nearest), key=lambda each: each.now_at)
            at = self.now.seconds(first.now.tick), self.now.seconds(second.now.tick)
            yield words.order(
                mover.now.label, (first.now.label, second.now.label), at, len(passed) - 1
            )

    def _passed(self, one: _Pair, other: _Pair) -> bool:
        """Whether two changed places, and were ever further apart than the tolerance."""
        if (one.was_at < other.was_at) == (one.now_at < other.now_at):
            return False
        was = self.was.seconds(one.was.tick) - self.was.seconds(other.was.tick)
        now = self.now.seconds(one.now.tick) - self.now.seconds(other.now.tick)
        return self._beyond(was) or self._beyond(now)

    def _requirements(self) -> Iterator[Change]:
        was = {each.requirement: each for each in self.was.standings}
        now = {each.requirement: each for each in self.now.standings}
        for name, old in was.items():
            new = now.get(name)
            if new is None:
                yield words.requirement_gone(old)
            elif new.status != old.status:
                yield words.verdict(old, new)
            elif self._margin_moved(old, new):
                yield words.margin(old, new)
        for name, new in now.items():
            if name not in was:
                yield words.requirement_new(new)

    def _margin_moved(self, was: Standing, now: Standing) -> bool:
        a, b = was.margin, now.margin
        if a == b and (a is None or math.isinf(a) or was.unit == now.unit):
            return False
        if a is None or b is None or math.isinf(a) or math.isinf(b) or was.unit != now.unit:
            return True
        small = abs(b - a) <= self.tolerance.margin * max(abs(a), abs(b))
        # it lies between two events, and each may move by the tolerance
        small = small or (was.unit == "s" and not self._beyond(b - a, 2))
        self.within += small
        return not small


def accepted(
    was: Timeline,
    now: Timeline,
    only: Collection[str] | None = None,
    tolerance: Tolerance | None = None,
) -> Timeline:
    """The timeline to keep when the changes from `was` to `now` are meant.

    only   accept no more than the changes of these: labels of events, names of requirements,
           `OUTCOME`; None: all of them

    Unless everything is accepted, the events and margins that are not named stay as they were, and
    so does what the timeline is about, until nothing is left that moved. Where nothing moved, what
    is within the tolerance is not taken over: else a timeline could creep.
    """
    if not compare_timelines(was, now, tolerance).changes:
        return replace(was, about=now.about)
    if only is None:
        return replace(now, tolerance=was.tolerance)
    new = replace(
        was,
        outcome=now.outcome if OUTCOME in only else was.outcome,
        moments=_merged(was, now, lambda moment: moment.label in only),
        standings=_merged_standings(was, now, only),
    )
    left = compare_timelines(new, now, tolerance).changes
    return new if left else replace(new, about=now.about)


def _merged(was: Timeline, now: Timeline, takes: Callable[[Moment], bool]) -> tuple[Moment, ...]:
    """What is taken from today, in ticks of `was`, among the rest, which keeps its order."""
    places = {
        (label, k): at for label, found in _by_label(now).items() for k, (at, _) in enumerate(found)
    }
    numbered = [
        (at, label, k) for label, found in _by_label(was).items() for k, (at, _) in enumerate(found)
    ]
    # each with its place in the flight of today; -1: it has none there
    merged = [
        (was.moments[at], places.get((label, k), -1))
        for at, label, k in sorted(numbered)
        if not takes(was.moments[at])
    ]
    scale = was.rate_hz / now.rate_hz
    for place, moment in enumerate(now.moments):
        if not takes(moment):
            continue
        tick = round(moment.tick * scale)
        at = bisect_left(merged, tick, key=lambda each: each[0].tick)
        while at < len(merged) and merged[at][0].tick == tick and merged[at][1] < place:
            at += 1
        new = replace(moment, tick=tick, last=round(moment.ends * scale))
        merged.insert(at, (new, place))
    return tuple(moment for moment, _ in merged)


def _merged_standings(was: Timeline, now: Timeline, only: Collection[str]) -> tuple[Standing, ...]:
    new = {each.requirement: each for each in now.standings if each.requirement in only}
    stay = [
        new.get(each.requirement, each)
        for each in was.standings
        if each.requirement not in only or each.requirement in new
    ]
    known = {each.requirement for each in was.standings}
    return (*stay, *(each for name, each in new.items() if name not in known))


def _by_label(timeline: Timeline) -> dict[str, list[tuple[int, Moment]]]:
    found: dict[str, list[tuple[int, Moment]]] = {}
    for at, moment in enumerate(timeline.moments):
        found.setdefault(moment.label, []).append((at, moment))
    return found


def _others(number: int, pairs: list[tuple[int, int]], side: int) -> list[int]:
    return sorted(set(range(number)) - {pair[side] for pair in pairs})


def _matched(was: list[float], now: list[float]) -> list[tuple[int, int]]:
    """Pairs of indices: all of the shorter side, in order, moved by as little as can be."""
    if len(was) > len(now):
        return [(i, j) for j, i in _matched(now, was)]
    spare = len(now) - len(was)
    if spare == 0 or len(was) * (spare + 1) > _MOST:
        return [(i, i) for i in range(len(was))]
    # costs[k]: least sum of moves of all so far, with k of `now` left out before the last
    costs = [0.0] * (spare + 1)
    left_out: list[list[int]] = []
    for i, time in enumerate(was):
        choice, least, row = 0, math.inf, []
        for k in range(spare + 1):
            if costs[k] < least:
                choice, least = k, costs[k]
            row.append(choice)
            costs[k] = least + abs(now[i + k] - time)
        left_out.append(row)
    k = min(range(spare + 1), key=costs.__getitem__)
    pairs = []
    for i in reversed(range(len(was))):
        pairs.append((i, i + k))
        k = left_out[i][k]
    return pairs[::-1]


def _longest_rising(numbers: list[int]) -> list[int]:
    """Indices of a longest rising part of different numbers (patience sorting)."""
    tops: list[int] = []
    at: list[int] = []
    before: list[int] = []
    for index, number in enumerate(numbers):
        pile = bisect_left(tops, number)
        before.append(at[pile - 1] if pile else -1)
        if pile == len(tops):
            tops.append(number)
            at.append(index)
        else:
            tops[pile], at[pile] = number, index
    found = []
    index = at[-1] if at else -1
    while index >= 0:
        found.append(index)
        index = before[index]
    return found[::-1]
