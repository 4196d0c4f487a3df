"""Which states and flags can come together, from boot on: an over-estimate of what can happen.

A *configuration* is a state with the values of all flags, as exits find them. From each of them
every exit is followed whose condition the solver cannot prove false there; inputs are free on every
tick. A reboot can come at any moment and keeps the retained flags. What is not reached here is not
reached by any flight; what is reached here may still need inputs that no flight has.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from sequencer.lint.solving import Is, Proved, Solver
from sequencer.sequence.model import Command, Exit, Sequence

__all__ = ["Configuration", "Reach", "Step", "can_fire", "steps_commands"]

#: More configurations than that are not looked at: the answer is then "undecided".
_MOST = 5_000


@dataclass(frozen=True, slots=True)
class Configuration:
    """A state and the flags, in the order of their declaration."""

    state: str
    values: tuple[bool, ...]

    def flags(self, sequence: Sequence) -> dict[str, bool]:
        """The flags by name."""
        return dict(zip(sequence.flags, self.values, strict=True))


@dataclass(frozen=True, slots=True)
class Step:
    """A change of state, or a boot (`source` and `way` are None), from the flags before it."""

    source: str | None
    way: Exit | None
    before: tuple[bool, ...]
    after: Configuration


def can_fire(
    solver: Solver,
    ways: tuple[Exit, ...],
    index: int,
    place: Configuration,
    *,
    other: bool = False,
) -> bool:
    """Whether an exit can be taken there, as far as one tick tells.

    Its condition can be true while no earlier exit without a hold, which would be taken instead,
    has a true one.

    ways     all exits that are tried, in their order; the one at `index` is asked about
    other    they are those of the solver's other sequence
    """
    way = ways[index]
    earlier = [
        one
        for one in ways[:index]
        if one.hold_ticks == 1 and (one.fresh is None or one.fresh == way.fresh)
    ]
    claims = [Is(way.condition, other=other)]
    for one in earlier:
        rival = Is(one.condition, no=True, other=other)
        if solver.related(way.condition, one.condition, other=other):
            claims.append(rival)
        elif _none(solver, [rival], place):  # its flags make it true whatever is measured
            return False
    return not _none(solver, claims, place)


def _none(solver: Solver, claims: list[Is], place: Configuration) -> bool:
    """Whether it is proved that nothing makes all of these hold there."""
    other = claims[0].other
    nodes = [claim.node for claim in claims]
    flags = place.flags(solver.sequence)
    moment = solver.moment(nodes, place.state, flags, other=other)
    return isinstance(solver.find(claims, moment), Proved)


def steps_commands(
    sequence: Sequence, source: str | None, way: Exit | None, to: str
) -> Iterator[Command]:
    """The commands of a step in their order."""
    if source is not None:
        yield from sequence.states[source].on_leave
    if way is not None:
        yield from way.actions
    yield from sequence.states[to].on_entry


def changed_flags(
    sequence: Sequence, before: tuple[bool, ...], commands: Iterator[Command]
) -> tuple[bool, ...]:
    """The flags after a step's commands."""
    flags = dict(zip(sequence.flags, before, strict=True))
    for command in commands:
        if command.verb in ("set", "clear"):
            flags[command.name] = command.verb == "set"
    return tuple(flags.values())


@dataclass
class Reach:
    """All configurations of a sequence and all steps between them, each once.

    complete   False where there were too many: nothing may be concluded then
    """

    solver: Solver
    configurations: dict[Configuration, None] = field(default_factory=dict)
    steps: dict[Step, None] = field(default_factory=dict)
    complete: bool = True

    def __post_init__(self) -> None:
        """Follow everything from boot on."""
        sequence = self.solver.sequence
        self._boot(tuple(flag.initial for flag in sequence.flags.values()))
        waiting = 0
        while waiting < len(self._order):
            if len(self._order) > _MOST:
                self.complete = False
                return
            self._follow(self._order[waiting])
            waiting += 1

    def __hash__(self) -> int:
        """By identity."""
        return id(self)

    @cached_property
    def states(self) -> Mapping[str, tuple[Configuration, ...]]:
        """The configurations of every reached state."""
        found: dict[str, list[Configuration]] = {}
        for place in self.configurations:
            found.setdefault(place.state, []).append(place)
        return {state: tuple(places) for state, places in found.items()}

    def _boot(self, flags: tuple[bool, ...]) -> None:
        sequence = self.solver.sequence
        self._step(None, None, flags, sequence.start)

    def _follow(self, place: Configuration) -> None:
        sequence = self.solver.sequence
        kept = tuple(
            value if flag.retained else flag.initial
            for value, flag in zip(place.values, sequence.flags.values(), strict=True)
        )
        self._boot(kept)
        ways = sequence.eligible_exits(place.state)
        for index, way in enumerate(ways):
            if can_fire(self.solver, ways, index, place):
                self._step(place.state, way, place.values, way.to)

    def _step(
        self, source: str | None, way: Exit | None, before: tuple[bool, ...], to: str
    ) -> None:
        sequence = self.solver.sequence
        commands = steps_commands(sequence, source, way, to)
        after = Configuration(to, changed_flags(sequence, before, commands))
        self.steps[Step(source, way, before, after)] = None
        if after not in self.configurations:
            self.configurations[after] = None
            self._order.append(after)

    _order: list[Configuration] = field(default_factory=list)
