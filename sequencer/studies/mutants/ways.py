"""Mutants of exits: holds, conditions, where they lead, their order, and none at all."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from sequencer.sequence import Exit, Sequence
from sequencer.studies.mutants.lines import Lines
from sequencer.studies.mutants.model import Kind, Mutant, Shows
from sequencer.studies.mutants.places import Danger, exits_of, with_exit, with_state
from sequencer.studies.mutants.terms import alterations

__all__ = ["exit_mutants"]


def exit_mutants(sequence: Sequence, lines: Lines, danger: Danger) -> Iterator[Mutant]:
    """Every mutant of every exit."""
    for way in exits_of(sequence):
        one = _Way(sequence, way, lines, danger)
        yield from one.holds()
        yield from one.conditions()
        yield one.removed()
        yield from one.led_elsewhere()
    yield from _swaps(sequence, lines, danger)


class _Way:
    """Mutants of one exit."""

    def __init__(self, sequence: Sequence, way: Exit, lines: Lines, danger: Danger) -> None:
        self._sequence = sequence
        self._way = way
        self._lines = lines
        self._danger = danger

    def _mutant(self, kind: Kind, key: tuple[str, ...], change: str, other: Exit | None) -> Mutant:
        # these three leave alone when it would be taken, or let it be taken less often
        later = kind in (Kind.EXIT_REMOVED, Kind.WRONG_TARGET, Kind.HOLD_DOUBLED)
        way = self._way
        critical = self._danger.exit(way) or (other is not None and self._danger.exit(other))
        return Mutant(
            id=f"{kind} of '{way.name}'",
            kind=kind,
            line=self._lines.exit(way, *key),
            change=change,
            about=f"exit {way.name}",
            shows=Shows("took", frozenset({way.name}))
            if later
            else Shows("entered", frozenset(way.sources)),
            critical=critical,
            sequence=with_exit(self._sequence, way, other),
        )

    def holds(self) -> Iterator[Mutant]:
        """The hold removed, and doubled."""
        way = self._way
        if way.hold_ticks == 1:
            return
        key = ("hold_s",) if way.fresh is None else ("hold_samples",)
        doubled = 2 * way.hold_ticks
        held = self._length(way.hold_ticks)
        yield self._mutant(
            Kind.HOLD_REMOVED,
            key,
            f"{self._named()} is taken at once instead of after {held}",
            replace(way, hold_ticks=1),
        )
        yield self._mutant(
            Kind.HOLD_DOUBLED,
            key,
            f"{self._named()} waits {self._length(doubled)} instead of {held}",
            replace(way, hold_ticks=doubled),
        )

    def conditions(self) -> Iterator[Mutant]:
        """Terms of the condition dropped, negated and turned round."""
        for altered in alterations(self._way.condition):
            change = f"{self._named()} does not ask for '{altered.was}'"
            if altered.now is not None:
                change = f"{self._named()} asks for '{altered.now}' instead of '{altered.was}'"
            mutant = self._mutant(
                altered.kind, ("when",), change, replace(self._way, condition=altered.node)
            )
            yield replace(mutant, id=f"{mutant.id}: {altered.was}")

    def removed(self) -> Mutant:
        """Not there at all."""
        return self._mutant(
            Kind.EXIT_REMOVED, (), f"{self._named()} to {self._way.to} is missing", None
        )

    def led_elsewhere(self) -> Iterator[Mutant]:
        """To a state that it does not lead to."""
        to = self._elsewhere()
        if to is not None:
            yield self._mutant(
                Kind.WRONG_TARGET,
                ("to",),
                f"{self._named()} leads to {to} instead of {self._way.to}",
                replace(self._way, to=to),
            )

    def _elsewhere(self) -> str | None:
        """A mistake that is easily made: where the next exit of the state leads, or the state that
        comes next in the file.
        """
        way = self._way
        around = self._sequence.states[way.sources[0]].exits
        after = [other.to for other in around if other.name != way.name]
        names = list(self._sequence.states)
        at = names.index(way.to)
        after += names[at + 1 :] + names[:at]
        return next((name for name in after if name not in (way.to, *way.sources)), None)

    def _length(self, ticks: int) -> str:
        if self._way.fresh is not None:
            return f"{ticks} samples of {self._way.fresh}"
        return f"{ticks / self._sequence.rate_hz:g} s"

    def _named(self) -> str:
        way = self._way
        return f"'{way.name}' of {_several(way.sources)}"


def _several(names: tuple[str, ...]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _swaps(sequence: Sequence, lines: Lines, danger: Danger) -> Iterator[Mutant]:
    """Each two neighbours, tried in the other order."""

    def swap(first: Exit, second: Exit, swapped: Sequence, states: set[str]) -> Mutant:
        return Mutant(
            id=f"{Kind.EXITS_SWAPPED} '{first.name}' and '{second.name}'",
            kind=Kind.EXITS_SWAPPED,
            line=lines.exit(second),
            change=f"'{second.name}' is tried before '{first.name}' "
            f"in {_several(tuple(state for state in sequence.states if state in states))}",
            about=f"exit {first.name}",
            shows=Shows("took", frozenset({first.name})),  # where both could be, the first was
            critical=danger.exit(first) or danger.exit(second),
            sequence=swapped,
        )

    common = sequence.common_exits
    for i, (first, second) in enumerate(pairwise(common)):
        both = set(first.sources) & set(second.sources)
        if both:
            ways = (*common[:i], second, first, *common[i + 2 :])
            yield swap(first, second, replace(sequence, common_exits=ways), both)
    for state in sequence.states.values():
        own = state.exits
        for i, (first, second) in enumerate(pairwise(own)):
            ways = (*own[:i], second, first, *own[i + 2 :])
            swapped = with_state(sequence, replace(state, exits=ways))
            yield swap(first, second, swapped, {state.name})
