"""Rules about exits that get in each other's way: never taken, or chosen by their order alone."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from sequencer.expressions import Comparison, Node, Number, Variable
from sequencer.lint import solving
from sequencer.lint.asking import needs_solver, reach_of, solver_of
from sequencer.lint.findings import Claim, Undecided, rule
from sequencer.lint.firing import never_fires, overtaker
from sequencer.lint.reaching import Configuration, Reach
from sequencer.lint.reading import exits_of, place_of
from sequencer.lint.solving import Is, Moment, Proved, Solver, Witness, quantities
from sequencer.lint.subject import Subject
from sequencer.sequence import Exit, Sequence

__all__ = ["RULES"]


@rule(
    "never-taken",
    "an exit that is never taken: another one always is, or the state is over before",
    "what it leads to was meant to happen; as it stands the exit is not there",
    needs=needs_solver,
)
def never_taken(subject: Subject) -> Iterator[Claim | Undecided]:
    """Holds and the order of exits counted in; flags are those that some way can leave set.

    Exits whose condition is never true at all are left to their own rule.
    """
    for logic in subject.sequences.values():
        solver, reach = solver_of(logic), reach_of(logic)
        if not reach.complete:
            what = "whether every exit can be taken"
            yield Undecided(logic, ("states",), what, "too many states and flags come together")
            continue
        for way in exits_of(logic):
            reached = [state for state in way.sources if state in reach.states]
            if not reached or _never_true(solver, way):
                continue
            if never_fires(reach, solver, way):
                what, names = _instead(logic, reach, way, reached)
                yield Claim(logic, way.line, f"{place_of(way)} is never taken: {what}", names)
                continue
            ending = _ended_by(logic, solver, way)
            if ending is not None:
                what = f"'{ending.name}' (line {ending.line}) always ends the state before"
                yield Claim(
                    logic,
                    way.line,
                    f"{place_of(way)} is never taken: {what}",
                    (way.name, ending.name),
                    ("only ticks that are late could let it through",),
                )


def _never_true(solver: Solver, way: Exit) -> bool:
    return all(
        isinstance(solver.always_false(way.condition, Moment(state=state)), Proved)
        for state in way.sources
    )


def _instead(
    logic: Sequence, reach: Reach, way: Exit, reached: list[str]
) -> tuple[str, tuple[str, ...]]:
    """Why it is not taken, and the names that this is about."""
    solver = reach.solver
    places = [place for state in reached for place in reach.states[state]]
    if all(
        isinstance(
            solver.always_false(way.condition, _moment(solver, [way.condition], place)), Proved
        )
        for place in places
    ):
        flags = [name for name in quantities(logic, way.condition) if name in logic.flags]
        inside = " or ".join(f"'{state}'" for state in reached)
        listed = " and ".join(f"'{name}'" for name in flags)
        return f"no way leads to {inside} with {listed} as it wants", (way.name, *flags)
    winner = _winner(logic, reach, way, places)
    if winner is not None:
        what = f"'{winner.name}' (line {winner.line}) comes first and is true whenever it is"
        return what, (way.name, winner.name)
    return "the exits before it are true, one or another, whenever it is", (way.name,)


def _winner(logic: Sequence, reach: Reach, way: Exit, places: list[Configuration]) -> Exit | None:
    """One earlier exit that is enough to keep it from being taken."""
    by_count = overtaker(reach, reach.solver, way)
    if by_count is not None:
        return by_count
    for one in logic.eligible_exits(places[0].state):
        if one is way:
            return None
        if one.hold_ticks == 1 and one.fresh in (None, way.fresh):
            ours, its = way.condition, one.condition
            if all(
                one in logic.eligible_exits(place.state)
                and isinstance(
                    reach.solver.implies(ours, its, _moment(reach.solver, [ours, its], place)),
                    Proved,
                )
                for place in places
            ):
                return one
    return None


def _moment(solver: Solver, nodes: list[Node], place: Configuration) -> Moment:
    return solver.moment(nodes, place.state, place.flags(solver.sequence))


def _ended_by(logic: Sequence, solver: Solver, way: Exit) -> Exit | None:
    """An exit by time in state alone that is taken before this one can be."""
    if way.common:
        return None
    ways = logic.eligible_exits(way.sources[0])
    place = ways.index(way)
    for index, one in enumerate(ways):
        last = _last_tick(logic, one)
        if one is way or last is None:
            continue
        # its condition has to begin to be true so many ticks before it is taken
        begins = (last if place < index else last - 1) - way.hold_ticks + 1
        if begins < 0:  # a hold that alone is too long has a rule of its own
            continue
        early = Comparison("<=", Variable("time_in_state"), Number(begins / logic.rate_hz))
        answer = solver.find([Is(way.condition), Is(early)], Moment(state=way.sources[0]))
        if isinstance(answer, Proved):
            return one
    return None


def _last_tick(logic: Sequence, way: Exit) -> int | None:
    """Tick of its state on which an exit is surely taken, where time in state alone decides."""
    match way.condition:
        case Comparison(">" | ">=" as operator, Variable("time_in_state"), Variable(name)) if (
            name in logic.limits and way.hold_ticks == 1 and way.fresh is None
        ):
            limit, rate = logic.limits[name].value, logic.rate_hz
            tick = max(0, int(limit * rate) - 2)
            while tick / rate < limit or (operator == ">" and tick / rate == limit):
                tick += 1
            return tick
    return None


@rule(
    "order-decides",
    "two exits of a state that can be true together, and only their order says which is taken",
    "whoever moves a line, or a limit, changes where the flight goes, and nothing tells them so",
    needs=needs_solver,
)
def order_decides(subject: Subject) -> Iterator[Claim | Undecided]:
    """Exits of one state that go by the very same quantities and lead apart.

    Silent where the first is a special case of the second, since that is what an order is for;
    where they go by different quantities, since then each has its own reason; and between a common
    exit and a state's own, since common ones go first by rule.
    """
    for logic in subject.sequences.values():
        solver, reach = solver_of(logic), reach_of(logic)
        for state, places in reach.states.items():
            ways = logic.eligible_exits(state)
            for first, second in combinations(ways, 2):
                if _can_compete(logic, first, second):
                    yield from _together(logic, solver, state, places, (first, second))


def _can_compete(logic: Sequence, first: Exit, second: Exit) -> bool:
    read = [set(quantities(logic, way.condition)) for way in (first, second)]
    return (
        first.common == second.common
        and (first.to, first.actions) != (second.to, second.actions)
        and read[0] == read[1]
        and bool(read[0])
    )


def _together(
    logic: Sequence,
    solver: Solver,
    state: str,
    places: tuple[Configuration, ...],
    pair: tuple[Exit, Exit],
) -> Iterator[Claim | Undecided]:
    first, second = pair
    one, other = first.condition, second.condition
    asked = f"whether '{first.name}' and '{second.name}' of '{state}' can be true together"
    for place in places:
        moment = _moment(solver, [one, other], place)
        both = solver.never_both(one, other, moment)
        if isinstance(both, Proved):
            continue
        ways = (solver.implies(one, other, moment), solver.implies(other, one, moment))
        if any(isinstance(answer, Proved) for answer in ways):
            continue
        for answer in (both, *ways):
            if isinstance(answer, solving.Undecided):
                yield Undecided(logic, second.line, asked, answer.why)
                return
        assert isinstance(both, Witness)  # noqa: S101 - nothing else is left
        known: dict[str, solving.Value] = {**place.flags(logic), "state": state}
        shown = solving.wording(both.assignment, logic, [one, other], known)
        yield Claim(
            logic,
            second.line,
            f"'{first.name}' (line {first.line}) and '{second.name}' of '{state}' can be true "
            f"together, and '{first.name}' is taken only because it comes first",
            (second.name, first.name, state),
            (f"both are true with {shown}",),
        )
        return


RULES = (never_taken, order_decides)
