"""Rules about conditions, and terms of conditions, that can come out only one way."""

from __future__ import annotations

from collections.abc import Iterator

from sequencer.expressions import And, Node, Not, Or, unparse
from sequencer.lint import solving
from sequencer.lint.asking import needs_solver, solver_of
from sequencer.lint.conditions import Condition, conditions_of
from sequencer.lint.findings import Claim, Undecided, rule
from sequencer.lint.open_conditions import is_open
from sequencer.lint.solving import Is, Moment, Proved, Solver, touches
from sequencer.lint.subject import Subject
from sequencer.sequence import Sequence

__all__ = ["RULES"]


def _moments(condition: Condition, *, good: bool) -> list[Moment]:
    """In which state it is asked, one after the other; flags are left free."""
    after = condition.kind == "inhibit"
    if not condition.states:
        return [Moment(good=good)]
    if after:
        return [Moment(after_state=state, good=good) for state in condition.states]
    return [Moment(state=state, good=good) for state in condition.states]


def _one_way(
    solver: Solver, condition: Condition, wanted: Is, *, good: bool
) -> tuple[list[str], str]:
    """States in which nothing makes `wanted` hold ("" for all), and why one was not decided."""
    found, why = [], ""
    for moment in _moments(condition, good=good):
        answer = solver.find([wanted], moment)
        if isinstance(answer, Proved):
            found.append(moment.state or "")
        elif isinstance(answer, solving.Undecided):
            why = answer.why
    return found, why


def _within(condition: Condition, states: list[str]) -> str:
    """Words for some of the states, where those are not all."""
    if len(states) == max(1, len(condition.states)):
        return ""
    return " in " + ", ".join(f"'{state}'" for state in states)


@rule(
    "always-true",
    "a condition that is true whatever is measured",
    "it asks nothing: an exit with it is taken at once, an inhibit with it never lets go",
    needs=needs_solver,
)
def always_true(subject: Subject) -> Iterator[Claim | Undecided]:
    """As long as nothing that it reads is bad; flags may have any value."""
    for logic in subject.sequences.values():
        solver = solver_of(logic)
        for condition in conditions_of(logic):
            if is_open(logic, condition.node):
                continue
            after = condition.kind == "inhibit"
            never_else = Is(condition.node, no=True, after=after)
            states, why = _one_way(solver, condition, never_else, good=True)
            if states:
                what = f"{condition.title} is always true" + _within(condition, states)
                yield Claim(
                    logic,
                    condition.at,
                    what + _at_once(logic, condition),
                    (condition.name, *filter(None, states)),
                )
            elif why:
                asked = f"whether {condition.title} is always true"
                yield Undecided(logic, condition.at, asked, why)


def _at_once(logic: Sequence, condition: Condition) -> str:
    """What comes of it."""
    way = condition.way
    if condition.kind == "inhibit":
        return ": what it blocks can never act"
    if way is None:
        return ""
    if way.fresh is not None:
        return f": it waits for {way.hold_ticks} values of '{way.fresh}', whatever they are"
    if way.hold_ticks == 1:
        return ": the state is left on its first tick"
    seconds = way.hold_ticks / logic.rate_hz
    return f": it only waits {seconds:g} s, as time_in_state would say"


@rule(
    "never-true",
    "a condition that nothing makes true",
    "what waits for it waits in vain: an exit that is never taken, an inhibit that blocks nothing",
    needs=needs_solver,
)
def never_true(subject: Subject) -> Iterator[Claim | Undecided]:
    """Whatever is measured, bad or not, and whatever flags are set."""
    for logic in subject.sequences.values():
        solver = solver_of(logic)
        for condition in conditions_of(logic):
            if is_open(logic, condition.node):
                continue
            inhibit = condition.kind == "inhibit"
            # an inhibit that cannot be told blocks too, but only something broken makes it so
            some = Is(condition.node, after=inhibit)
            states, why = _one_way(solver, condition, some, good=inhibit)
            if states:
                what = f"{condition.title} can never be true" + _within(condition, states)
                what += ": it blocks nothing" if inhibit else ""
                yield Claim(logic, condition.at, what, (condition.name, *filter(None, states)))
            elif why:
                asked = f"whether {condition.title} can be true"
                yield Undecided(logic, condition.at, asked, why)


@rule(
    "idle-term",
    "a term of a condition that decides nothing, because the others settle it",
    "it was written to make a difference: another limit, another sign or another name was meant",
    needs=needs_solver,
)
def idle_term(subject: Subject) -> Iterator[Claim | Undecided]:
    """A term of `and` that is true whenever the others are, of `or` that never is without them.

    Conditions that are always or never true as a whole are left to their own rules.
    """
    for logic in subject.sequences.values():
        solver = solver_of(logic)
        for condition in conditions_of(logic):
            if is_open(logic, condition.node) or _settled(solver, condition):
                continue
            for node in _groups(condition.node):
                idle = _idle(logic, solver, condition, node)
                if isinstance(idle, solving.Undecided):
                    asked = f"whether every term of {condition.title} decides something"
                    yield Undecided(logic, condition.at, asked, idle.why)
                if not isinstance(idle, tuple):
                    continue
                term, others = idle
                when = "whenever" if isinstance(node, And) else "only when"
                what = (
                    f"'{_short(term)}' decides nothing in {condition.title}: it is true {when} "
                    f"'{_short(others)}' is"
                )
                yield Claim(logic, condition.at, what, (condition.name,))


def _settled(solver: Solver, condition: Condition) -> bool:
    after = condition.kind == "inhibit"
    always = Is(condition.node, no=True, after=after)
    never = Is(condition.node, after=after)
    return bool(
        _one_way(solver, condition, always, good=True)[0]
        or _one_way(solver, condition, never, good=after)[0]
    )


def _groups(node: Node) -> Iterator[And | Or]:
    """Every `and` and `or` of a condition."""
    if isinstance(node, Not):
        yield from _groups(node.operand)
    if isinstance(node, And | Or):
        yield node
        for operand in node.operands:
            yield from _groups(operand)


def _idle(
    logic: Sequence, solver: Solver, condition: Condition, group: And | Or
) -> tuple[Node, Node] | solving.Undecided | None:
    """The last operand that the others settle, and the others; None: there is none."""
    after = condition.kind == "inhibit"
    undecided = None
    for index in reversed(range(len(group.operands))):
        term = group.operands[index]
        rest = group.operands[:index] + group.operands[index + 1 :]
        others = rest[0] if len(rest) == 1 else type(group)(rest)
        if _is_apart(logic, term, others):
            continue
        stronger, weaker = (others, term) if isinstance(group, And) else (term, others)
        claims = [Is(stronger, after=after), Is(weaker, no=True, after=after)]
        answers = [solver.find(claims, moment) for moment in _moments(condition, good=False)]
        open_ones = [answer for answer in answers if not isinstance(answer, Proved)]
        if not open_ones:
            return term, others
        if all(isinstance(answer, solving.Undecided) for answer in open_ones):
            undecided = open_ones[0]
    return undecided if isinstance(undecided, solving.Undecided) else None


def _is_apart(logic: Sequence, term: Node, others: Node) -> bool:
    """Whether a term that can come out both ways goes by names that the others do not read."""
    limits = set(logic.limits)
    shared = (touches(logic, term) & touches(logic, others)) - limits
    return not shared and is_open(logic, term)


def _short(node: Node) -> str:
    text = unparse(node)
    return text if len(text) <= 60 else f"{text[:57]}..."


RULES = (always_true, never_true, idle_term)
