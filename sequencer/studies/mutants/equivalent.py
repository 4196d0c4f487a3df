"""Tries to prove that a changed sequence always does what the unchanged one does."""

from __future__ import annotations

import math
from collections.abc import Mapping

from sequencer.expressions import (
    And,
    Comparison,
    InState,
    Node,
    Not,
    Or,
    Truth,
    Variable,
    variables,
)
from sequencer.lint.equivalence import Original
from sequencer.lint.reaching import Configuration, Reach, steps_commands
from sequencer.lint.solving import Proved, Witness, has_solver
from sequencer.sequence import Command, Exit, Sequence
from sequencer.sequence.model import FUNCTION_VERBS
from sequencer.studies.mutants.model import Kind, Mutant

__all__ = ["Prover"]

Flags = Mapping[str, bool]


class Prover:
    """Compares mutants with their sequence: by rules of our own, then with the solver."""

    def __init__(self, sequence: Sequence) -> None:
        self._sequence = sequence
        self._original = Original(sequence)

    def same(self, mutant: Mutant) -> tuple[bool, str]:
        """Whether it is proved to do the same, and why; or why that is undecided, if it is."""
        why = None
        if mutant.kind is Kind.EXITS_SWAPPED:
            why = _order_of(self._sequence, mutant.sequence)
        elif mutant.kind is Kind.ACTION_REMOVED:
            why = _cut_anyway(self._sequence, mutant.sequence)
        elif mutant.kind is Kind.INHIBIT_REMOVED and has_solver():
            why = self._another_is_in_place(mutant.sequence)
        if why is not None:
            return True, why
        answer = self._original.same_meaning(mutant.sequence)
        if isinstance(answer, Proved):
            return True, answer.why
        return False, "" if isinstance(answer, Witness) else answer.why

    def _another_is_in_place(self, changed: Sequence) -> str | None:
        """Wherever the inhibit is in place while the function is on or commanded, another one is.

        So the function is blocked and cut all the same; only which inhibit an event names in its
        remark can differ, and that no verdict reads.
        """
        sequence, reach = self._sequence, self._original.reach
        if not reach.complete:
            return None
        function, gone = _inhibit_gone(sequence, changed)
        others = changed.functions[function].inhibits
        on = _may_be_on(sequence, reach, function)
        touched = on | {
            step.after
            for step in reach.steps
            if step.source is not None and Configuration(step.source, step.before) in on
        }
        for place in touched:
            flags = place.flags(sequence)

            def judged(name: str, state: str = place.state, flags: Flags = flags) -> bool | None:
                return _known(sequence.inhibits[name].condition, state, flags)

            if judged(gone) is not False and not any(judged(name) is True for name in others):
                return None
        return f"wherever '{gone}' is in place while {function} is on, another inhibit is, too"


def _may_be_on(sequence: Sequence, reach: Reach, function: str) -> set[Configuration]:
    """Configurations in which a function may be on: its pulse ends while states last.

    A state that is left when a time in it is over lasts as long; others last as long as the hold.
    """
    pulse = sequence.functions[function].pulse_ticks
    left: dict[Configuration, int] = {}
    moved = True
    while moved:
        moved = False
        for step in reach.steps:
            rest = 0
            if step.source is not None and step.way is not None:
                before = left.get(Configuration(step.source, step.before), 0)
                rest = before - _lasts(sequence, step.way)
            for command in steps_commands(sequence, step.source, step.way, step.after.state):
                if command.name == function and command.verb not in ("set", "clear"):
                    rest = 0 if command.verb == "cut" else pulse
            if rest > left.get(step.after, 0):
                left[step.after] = rest
                moved = True
    return set(left)


def _lasts(sequence: Sequence, way: Exit) -> int:
    """Ticks that a state lasts at least before this exit is taken; a common one counts on."""
    condition = way.condition
    parts = condition.operands if isinstance(condition, And) else (condition,)
    times = [
        math.floor(sequence.limits[part.right.name].value * sequence.rate_hz)
        for part in parts
        if isinstance(part, Comparison)
        and part.operator in (">", ">=")
        and part.left == Variable("time_in_state")
        and isinstance(part.right, Variable)
        and part.right.name in sequence.limits
    ]
    return max([0 if way.common else way.hold_ticks - 1, *times])


def _inhibit_gone(sequence: Sequence, changed: Sequence) -> tuple[str, str]:
    """The function, and the inhibit that it has no longer."""
    for name, function in sequence.functions.items():
        for inhibit in function.inhibits:
            if inhibit not in changed.functions[name].inhibits:
                return name, inhibit
    raise AssertionError


def _order_of(sequence: Sequence, changed: Sequence) -> str | None:
    """Why the order of two exits that were swapped cannot matter."""
    ways = [(sequence.common_exits, changed.common_exits)]
    ways += [(state.exits, changed.states[name].exits) for name, state in sequence.states.items()]
    pairs = ((a, b) for ours, theirs in ways for a, b in zip(ours, theirs, strict=True))
    first, second = next((a, b) for a, b in pairs if a != b)
    # a counter that lived on would be another one
    counts_on = any(way.common and way.to in way.sources for way in (first, second))
    if (first.to, first.actions) == (second.to, second.actions) and not counts_on:
        return (
            f"'{first.name}' and '{second.name}' lead to the same state with the same commands; "
            "only which of them the record names can differ"
        )
    # the first asks flags alone, which do not change while a state lasts: it is taken on the first
    # tick in it or never. The second, whose counter is zero on entry, has not counted to its number
    if (
        not first.common
        and first.hold_ticks == 1 < second.hold_ticks
        and _asks_flags(sequence, first)
    ):
        return (
            f"'{first.name}' asks flags alone: it is taken on the first tick in the state or "
            f"never, and '{second.name}' has to wait"
        )
    return None


def _asks_flags(sequence: Sequence, way: Exit) -> bool:
    return way.fresh is None and set(variables(way.condition)) <= set(sequence.flags)


def _cut_anyway(sequence: Sequence, changed: Sequence) -> str | None:
    """A `cut` on entry to a state in which an inhibit of the function is in place for sure.

    Inhibits cut before commands are carried out, with the same event.
    """
    for name, state in sequence.states.items():
        left = changed.states[name].on_entry
        if left == state.on_entry:
            continue
        (gone,) = _missing(state.on_entry, left)
        if gone.verb != "cut" or _is_fired_on_the_way(sequence, gone.name, name):
            return None
        for inhibit in sequence.functions[gone.name].inhibits:
            if _known(sequence.inhibits[inhibit].condition, name, {}) is True:
                return f"'{inhibit}' is in place there, and cuts {gone.name} before"
    return None


def _missing(before: tuple[Command, ...], left: tuple[Command, ...]) -> tuple[Command]:
    """The one command that is no longer there."""
    for i, command in enumerate(before):
        if i == len(left) or left[i] != command:
            return (command,)
    raise AssertionError


def _is_fired_on_the_way(sequence: Sequence, function: str, to: str) -> bool:
    """Whether a change to a state can command a function as well."""
    fire = Command(FUNCTION_VERBS[sequence.functions[function].kind], function)
    ways = (*sequence.common_exits, *(w for s in sequence.states.values() for w in s.exits))
    return (
        fire in sequence.states[to].on_entry
        or any(fire in way.actions for way in ways)
        or any(fire in state.on_leave for state in sequence.states.values())
    )


def _known(  # noqa: PLR0911 - one branch a node type
    node: Node, state: str, flags: Flags
) -> bool | None:
    """What a condition is in a state with these flags, whatever else holds; None: that depends."""
    match node:
        case InState(states):
            return state in states
        case Truth(value):
            return value
        case Variable(name):
            return flags.get(name)
        case Not(operand):
            inner = _known(operand, state, flags)
            return None if inner is None else not inner
        case And(operands):
            found = [_known(operand, state, flags) for operand in operands]
            return False if False in found else None if None in found else True
        case Or(operands):
            found = [_known(operand, state, flags) for operand in operands]
            return True if True in found else None if None in found else False
    return None
