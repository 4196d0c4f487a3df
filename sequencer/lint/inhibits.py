"""The rule that two independent inhibits stand before every motor."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sequencer.lint.circuits import motors_of, no_motor, switches_of
from sequencer.lint.findings import Claim, Undecided, rule
from sequencer.lint.possible import Can
from sequencer.lint.reading import sources
from sequencer.lint.states import walked
from sequencer.lint.subject import Subject
from sequencer.lint.walking import MOST_NODES, Node, Step, Walk, landed, steps_text, world
from sequencer.sequence import Exit, Sequence

__all__ = ["RULES"]

_NOTHING: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class _Place:
    """A node, with what has taken the inhibits away that look at flags and the state alone.

    asked   inputs that the last exit which asked for any has read
    causes  per such inhibit, inputs read by the exit that took it away; None while it is in place
    """

    node: Node
    asked: frozenset[str]
    causes: tuple[frozenset[str] | None, ...]


@dataclass(frozen=True, slots=True)
class _Met:
    """An inhibit that a path has come past, and the inputs that it hangs on."""

    text: str
    hangs_on: frozenset[str]


class _Inhibits:
    """The inhibits of one igniter, and which of them a path to it comes past."""

    def __init__(self, subject: Subject, logic: Sequence, function: str) -> None:
        self._logic = logic
        self._switches = switches_of(subject, logic, function)
        names = logic.functions[function].inhibits
        sensed = {name: sources(logic, logic.inhibits[name].condition).sensed for name in names}
        self._sensing = {name: read for name, read in sensed.items() if read}
        self._minding = [name for name in names if not sensed[name]]
        self._asked: dict[Exit, frozenset[str]] = {}
        self._known: dict[tuple[str, Node], Can] = {}

    def begin(self, walk: Walk) -> _Place:
        """Power-up: an inhibit that is not in place then is never come past."""
        node = walk.start.target
        causes = tuple(None if self._can(name, node).true else _NOTHING for name in self._minding)
        return _Place(node, _NOTHING, causes)

    def after(self, place: _Place, step: Step) -> _Place:
        """Where a step leads."""
        # what a reboot leaves behind nobody has asked for
        asked = _NOTHING if step.way is None else self._read(step.way) or place.asked
        causes = tuple(
            None if self._can(name, step.target).true else (asked if cause is None else cause)
            for name, cause in zip(self._minding, place.causes, strict=True)
        )
        return _Place(step.target, asked, causes)

    def met(self, place: _Place, step: Step) -> list[_Met] | None:
        """The inhibits that the path to here has come past; None where one surely blocks."""
        found = []
        here = landed(self._logic, step)
        for name in (*self._sensing, *self._minding):
            can = here.can(self._logic.inhibits[name].condition)
            if can.true and not can.false:
                return None
            if name in self._sensing and can.true:
                found.append(_Met(f"'{name}'", self._sensing[name]))
        for name, cause in zip(self._minding, place.causes, strict=True):
            if cause:
                found.append(_Met(f"'{name}'", cause))
        found += [_Met(f"'{name}' in the circuit", frozenset({name})) for name in self._switches]
        return found

    def _read(self, way: Exit) -> frozenset[str]:
        """Inputs that an exit asks for."""
        if way not in self._asked:
            read = sources(self._logic, way.condition).sensed
            self._asked[way] = read if way.fresh is None else read | {way.fresh}
        return self._asked[way]

    def _can(self, name: str, node: Node) -> Can:
        if (name, node) not in self._known:
            condition = self._logic.inhibits[name].condition
            self._known[name, node] = world(self._logic, node).can(condition)
        return self._known[name, node]


def _independent(met: list[_Met]) -> int:
    """How many of them hang on nothing in common, at most."""
    if not met:
        return 0
    first, *rest = met
    apart = [other for other in rest if not other.hangs_on & first.hangs_on]
    return max(_independent(rest), 1 + _independent(apart))


@rule(
    "few-inhibits",
    "a path from power-up to a motor that comes past fewer than two independent inhibits",
    "one fault, in one contact, flag or line of logic, lights a motor with people beside it",
    needs=no_motor,
)
def few_inhibits(subject: Subject) -> Iterator[Claim | Undecided]:
    """An inhibit counts if it was in place and what it hangs on is not that of another.

    One that reads inputs hangs on them. One that looks at flags or the state hangs on the inputs
    that were asked by the exit which took it away. A key or plug in the circuit hangs on itself.
    """
    for logic in subject.sequences.values():
        walk = walked(subject, logic)
        done: set[tuple[object, ...]] = set()
        for name in motors_of(logic):
            alike = (logic.functions[name].inhibits, switches_of(subject, logic, name), name)
            if alike in done:
                continue
            done.add(alike)
            path = _least_guarded(_Inhibits(subject, logic, name), walk, name)
            if isinstance(path, str):
                yield Undecided(logic, ("functions", name), f"inhibits before '{name}'", path)
            elif path is not None:
                steps, met, count = path
                known = ", ".join(one.text for one in met) or "none"
                passed = "one independent inhibit" if count else "no independent inhibit"
                what = f"a path to '{name}' comes past {passed}, not two"
                details = (*steps_text(steps), f"fires {name}; inhibits met: {known}")
                yield Claim(logic, ("functions", name), what, (name,), details)


def _least_guarded(
    inhibits: _Inhibits, walk: Walk, name: str
) -> tuple[tuple[Step, ...], list[_Met], int] | str | None:
    """The shortest path that is guarded too little, what it meets and how many count."""
    begin = inhibits.begin(walk)
    came: dict[_Place, tuple[_Place, Step] | None] = {begin: None}
    queue = deque([begin])
    while queue:
        place = queue.popleft()
        for step in walk.steps.get(place.node, ()):
            there = inhibits.after(place, step)
            if step.fires([name]):
                met = inhibits.met(there, step)
                if met is not None and _independent(met) < 2:
                    return (*_way(came, place, walk), step), met, _independent(met)
            if there not in came:
                came[there] = place, step
                queue.append(there)
        if len(came) > MOST_NODES:
            return f"there are more than {MOST_NODES} ways"
    return None


def _way(
    came: Mapping[_Place, tuple[_Place, Step] | None], place: _Place, walk: Walk
) -> tuple[Step, ...]:
    steps: list[Step] = []
    before = came[place]
    while before is not None:
        steps.append(before[1])
        before = came[before[0]]
    return (walk.start, *reversed(steps))


RULES = (few_inhibits,)
