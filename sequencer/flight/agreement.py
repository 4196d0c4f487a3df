"""Whether two executors that get the same inputs do the same: the rule, tick by tick.

Without a tolerance everything must be equal on every tick: state, events in their order, pulses,
demands, messages, to the last bit (of the two zeros either will do: nothing in the language tells
them apart).

With a tolerance of T ticks an event may come up to T executed ticks earlier or later, and events
so close to each other in any order. A state, a pulse, a demand or a published value that is not
the same must be the same again within T ticks. Demands are the same within `OF_TRAVEL` of what the
servo can be asked for, published numbers within `OF_LARGEST` of the largest value yet.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from sequencer.execute import Outputs
from sequencer.sequence import Sequence as FlightLogic

__all__ = [
    "OF_LARGEST",
    "OF_TRAVEL",
    "Agreement",
    "Difference",
    "Happening",
    "tolerated_ticks",
]

#: single precision costs less than 1e-5 of either. A loop that begins a tick late keeps what its
#: integral has missed: of the demo's, at ten degrees of tilt, 3e-3 of the travel
OF_TRAVEL = 1e-2
OF_LARGEST = 1e-3

#: (kind, name, detail)
Happening = tuple[str, str, str]
#: a part of the outputs, and which entry of it; None: the whole
Level = tuple[str, int | None]

#: in the order in which they are told
_PARTS = ("state", "on", "demands", "message")


@dataclass(frozen=True, slots=True)
class Difference:
    """The first difference between the model and something else.

    clock     of the tick on which it began
    missing   events that the model had and the other had not
    extra     events that the other had and the model had not
    levels    where both were empty and the order of the events was the same: what else differs
    """

    clock: int
    missing: tuple[Happening, ...] = ()
    extra: tuple[Happening, ...] = ()
    levels: tuple[Level, ...] = ()


class Agreement:
    """Follows two executors of one sequence from boot to boot.

    ticks   by which events and levels may be late or early; None: everything must be equal
    """

    def __init__(self, sequence: FlightLogic, ticks: int | None = None) -> None:
        self._ticks = ticks
        self._travels = _travels(sequence)
        publication = sequence.publication
        self._largest = [0.0] * (len(publication.fields) if publication is not None else 0)
        self.boot()

    def boot(self) -> None:
        """Both begin anew; what was still open is given up."""
        self._count = 0
        self._missing: list[tuple[int, int, Happening]] = []  # (count, clock, event)
        self._extra: list[tuple[int, int, Happening]] = []
        self._since: dict[Level, tuple[int, int]] = {}  # (count, clock)

    def look(self, clock: int, model: Outputs, its: Outputs) -> Difference | None:
        """What one tick came to; the first difference, once it is one."""
        if self._ticks is None:
            return None if its == model else _exact(clock, model, its)
        self._count += 1
        self._largest_yet(model)
        if its == model and not (self._missing or self._extra or self._since):
            return None
        self._pair(clock, model.events, its.events)
        self._level(clock, model, its)
        return self._over()

    def _largest_yet(self, model: Outputs) -> None:
        for i, value in enumerate(model.message or ()):
            self._largest[i] = max(self._largest[i], abs(value))  # which a NaN never is

    def _pair(self, clock: int, model: Iterable[Happening], its: Iterable[Happening]) -> None:
        """Every event waits for its counterpart, the oldest first."""
        for events, mine, other in (
            (model, self._missing, self._extra),
            (its, self._extra, self._missing),
        ):
            for event in events:
                at = next((i for i, each in enumerate(other) if each[2] == event), None)
                if at is None:
                    mine.append((self._count, clock, event))
                else:
                    del other[at]

    def _level(self, clock: int, model: Outputs, its: Outputs) -> None:
        for level, same in self._levels(model, its):
            if same:
                self._since.pop(level, None)
            else:
                self._since.setdefault(level, (self._count, clock))

    def _levels(self, model: Outputs, its: Outputs) -> Iterator[tuple[Level, bool]]:
        yield ("state", None), model.state == its.state
        for i, (mine, other) in enumerate(zip(model.on, its.on, strict=True)):
            yield ("on", i), mine == other
        for i, (one, two) in enumerate(zip(model.demands, its.demands, strict=True)):
            yield ("demands", i), abs(one - two) <= OF_TRAVEL * self._travels[i]
        yield ("message", None), (model.message is None) == (its.message is None)
        if model.message is None or its.message is None:
            return
        for i, (one, two) in enumerate(zip(model.message, its.message, strict=True)):
            near = abs(one - two) <= OF_LARGEST * self._largest[i]
            yield ("message", i), near or _equal(one, two)

    def _over(self) -> Difference | None:
        """What is open for too long; the earliest of it, and what stands near it."""
        ticks = self._ticks or 0
        opened = [*self._missing, *self._extra]
        begun = [
            (count, clock)
            for count, clock in (*((c, k) for c, k, _ in opened), *self._since.values())
            if self._count - count >= ticks
        ]
        if not begun:
            return None
        count, clock = min(begun)
        near = range(count - ticks, count + ticks + 1)
        return Difference(
            clock,
            tuple(event for at, _, event in self._missing if at in near),
            tuple(event for at, _, event in self._extra if at in near),
            _in_order(level for level, (at, _) in self._since.items() if at in near),
        )


def tolerated_ticks(tolerance_s: float, rate_hz: int) -> int | None:
    """The tolerance of a target as `Agreement` takes it; None where there is none."""
    return None if tolerance_s == 0.0 else int(tolerance_s * rate_hz + 1e-6)


def _exact(clock: int, model: Outputs, its: Outputs) -> Difference | None:
    """Of outputs that are not equal as Python has it; None where only a NaN was in the way."""
    if tuple(model.events) != tuple(its.events):
        return Difference(
            clock,
            _beyond(model.events, its.events),
            _beyond(its.events, model.events),
        )
    levels: list[Level] = []
    for part in _PARTS:
        mine, other = getattr(model, part), getattr(its, part)
        if isinstance(mine, str) or mine is None or other is None:
            if mine != other:
                levels.append((part, None))
        elif len(mine) != len(other):
            levels.append((part, None))
        else:
            pairs = enumerate(zip(mine, other, strict=True))
            levels += [(part, i) for i, (one, two) in pairs if not _equal(one, two)]
    return Difference(clock, levels=tuple(levels)) if levels else None


def _equal(one: float, two: float) -> bool:
    """Equal numbers, or two that are none."""
    return one == two or (math.isnan(one) and math.isnan(two))


def _beyond(some: Sequence[Happening], others: Sequence[Happening]) -> tuple[Happening, ...]:
    """What `some` has more than `others`: of events that come more often, the last ones."""
    left = list(others)
    found = []
    for event in some:
        if event in left:
            left.remove(event)
        else:
            found.append(event)
    return tuple(found)


def _in_order(levels: Iterable[Level]) -> tuple[Level, ...]:
    return tuple(sorted(levels, key=lambda level: (_PARTS.index(level[0]), level[1] or 0)))


def _travels(sequence: FlightLogic) -> tuple[float, ...]:
    """Of each servo the largest demand that it can get, rad or 1."""
    limits: Mapping[str, float] = {
        servo: dict(loop.block.coefficients)["limit"]
        for loop in sequence.loops.values()
        for _, servo in loop.outputs
    }
    return tuple(
        max([limits.get(each.name, 0.0), *(abs(at) for _, at in each.positions)])
        for each in sequence.functions.values()
        if each.kind == "servo"
    )
