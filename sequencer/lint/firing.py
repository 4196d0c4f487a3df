"""Exits that no flight can take: their condition is never true, or an earlier exit always wins."""

from __future__ import annotations

from sequencer.lint.reaching import Configuration, Reach, can_fire
from sequencer.lint.solving import Is, Moment, Proved, Solver
from sequencer.sequence.model import Exit, Sequence

__all__ = ["never_fires", "overtaker"]


def never_fires(reach: Reach, solver: Solver, way: Exit, *, other: bool = False) -> bool:
    """Whether it is proved that an exit is never taken.

    reach   of the solver's sequence
    other   the exit is one of the solver's other sequence, whose flights are the same up to there
    """
    if not reach.complete:
        return False
    sequence = solver.other if other else solver.sequence
    states = reach.states
    for state in way.sources:
        ways = sequence.eligible_exits(state)
        index = _index(ways, way)
        for place in states.get(state, ()):
            if can_fire(solver, ways, index, place, other=other):
                return overtaker(reach, solver, way, other=other) is not None
    return True


def overtaker(reach: Reach, solver: Solver, way: Exit, *, other: bool = False) -> Exit | None:
    """An earlier exit that is always taken before this one could be, because it counts no longer.

    Both count on the same ticks. Whenever this one's condition is true so is the other's, so its
    counter is never behind. For a common exit the other has to be counting wherever this one
    is, and must not lead to where this one goes on counting.
    """
    sequence = solver.other if other else solver.sequence
    for one in _earlier_everywhere(sequence, way):
        if one.hold_ticks > way.hold_ticks or one.fresh != way.fresh:
            continue
        if way.common and (
            not one.common or not set(way.sources) <= set(one.sources) or one.to in way.sources
        ):
            continue
        if _implied(reach, solver, way, one, other=other):
            return one
    return None


def _earlier_everywhere(sequence: Sequence, way: Exit) -> list[Exit]:
    """Exits that are tried before this one in every state that has it."""
    found: list[Exit] | None = None
    for state in way.sources:
        ways = sequence.eligible_exits(state)
        earlier = list(ways[: _index(ways, way)])
        found = earlier if found is None else [one for one in found if one in earlier]
    return found or []


def _implied(reach: Reach, solver: Solver, way: Exit, one: Exit, *, other: bool) -> bool:
    claims = [
        Is(way.condition, other=other),
        Is(one.condition, no=True, other=other),
    ]
    return all(
        isinstance(solver.find(list(claims), _moment(solver, claims, place, other=other)), Proved)
        for state in way.sources
        for place in reach.states.get(state, ())
    )


def _moment(solver: Solver, claims: list[Is], place: Configuration, *, other: bool) -> Moment:
    nodes = [claim.node for claim in claims]
    return solver.moment(nodes, place.state, place.flags(solver.sequence), other=other)


def _index(ways: tuple[Exit, ...], way: Exit) -> int:
    return next(index for index, one in enumerate(ways) if one is way or one == way)
