"""Assignments: what every name stands for, tried out with the executor's own evaluator."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping

from sequencer.execute.blocks import make_block
from sequencer.execute.values import STATE, TIME_IN_STATE, Memory, compile_expression, names_of
from sequencer.expressions import Node, Variable, variables
from sequencer.lint.solving.answers import Value
from sequencer.lint.solving.reading import is_seen_through
from sequencer.lint.solving.terms import AFTER
from sequencer.sequence.model import Sequence
from sequencer.units import unit

__all__ = ["Evaluator", "shorter", "wording"]

#: nothing on a model rocket reads that much: such a value only says that any would do
_FAR = 1e9


class Evaluator:
    """Evaluates expressions of one sequence for an assignment, as the executor would.

    Names that an assignment leaves out are bad; flags are false, time is 0 and the state the first.

    apart   estimates that the assignment knows by another name
    """

    def __init__(self, sequence: Sequence, apart: Mapping[str, str] | None = None) -> None:
        self._sequence = sequence
        self._names = names_of(sequence)
        self._apart = apart or {}
        # without memory: worked out from the names that they read
        self._unfolded = {
            name: make_block(estimate.block, self._names, sequence.rate_hz)
            for name, estimate in sequence.estimates.items()
            if is_seen_through(estimate)
        }

    def value(
        self, node: Node, assignment: Mapping[str, Value], *, after: bool = False
    ) -> float | bool | None:
        """What an expression comes to: a number, a truth, or None for bad or unknown.

        after   it is read after a change of state: state, flags and time from the names with
                ``@after``, estimates from the others
        """
        sequence, names = self._sequence, self._names
        memory: Memory = [None] * names.size
        for name in sequence.inputs:
            memory[names.cells[name]] = assignment.get(name)
        self._present(memory, assignment, "")
        for name in sequence.estimates:
            cell = names.cells[name]
            if name in self._unfolded:
                memory[cell] = self._unfolded[name].update(memory)
            else:
                memory[cell] = assignment.get(self._apart.get(name, name))
        if after:
            self._present(memory, assignment, AFTER)
        found: float | bool | None = compile_expression(node, names)(memory)
        return found

    def _present(self, memory: Memory, assignment: Mapping[str, Value], suffix: str) -> None:
        names = self._names
        for name in self._sequence.flags:
            memory[names.cells[name]] = bool(assignment.get(name + suffix))
        state = assignment.get("state" + suffix)
        memory[STATE] = names.states[state] if isinstance(state, str) else 0
        memory[TIME_IN_STATE] = assignment.get("time_in_state" + suffix) or 0.0


def wording(
    assignment: Mapping[str, Value],
    sequence: Sequence,
    conditions: Iterable[Node] = (),
    known: Mapping[str, Value] | None = None,
) -> str:
    """An assignment as a builder reads it: ``accel = 4 m/s2, tilt = 30 deg, key false``.

    conditions   of estimates that they name and that are only expressions, the values follow:
                 ``climb = -3 m/s, so fall = 3 m/s``
    known        state and flags that were no question
    """
    text = ", ".join(_worded(name, value, sequence) for name, value in assignment.items())
    evaluator, whole = Evaluator(sequence), {**(known or {}), **assignment}
    named = dict.fromkeys(name for node in conditions for name in variables(node))
    follow = [
        _worded(name, evaluator.value(Variable(name), whole), sequence)
        for name in named
        if name in sequence.estimates and is_seen_through(sequence.estimates[name])
    ]
    return f"{text}, so {', '.join(follow)}" if follow else text


def _worded(name: str, value: Value, sequence: Sequence) -> str:
    plain = name.removesuffix(AFTER)
    if plain == "state":
        return f"in {value}"
    if value is None:
        return f"{plain} bad"
    if isinstance(value, bool):
        return f"{plain} {'true' if value else 'false'}"
    symbol, cosine = _unit_of(plain, sequence)
    if cosine:
        symbol, shown = "deg", math.degrees(math.acos(max(-1.0, min(1.0, float(value)))))
    else:
        shown = unit(symbol).from_si(float(value))
    # one that lies right beside a limit must not look like it
    text = next(
        (text for digits in (6, 9) if float(text := f"{shown:.{digits}g}") == shown),
        f"{shown:.12g}",
    )
    return f"{plain} = {text}" + ("" if symbol == "1" else f" {symbol}")


def _unit_of(name: str, sequence: Sequence) -> tuple[str, bool]:
    """Unit of a quantity in its file, and whether it is the cosine of an angle."""
    if name == "time_in_state":
        return "s", False
    if name in sequence.inputs:
        return sequence.inputs[name].unit, False
    return sequence.estimates[name].unit, sequence.estimates[name].is_cosine


def shorter(name: str, value: float, sequence: Sequence) -> Iterator[float]:
    """Values near one (SI) that are shorter to write in its unit, shortest first."""
    symbol, cosine = _unit_of(name.removesuffix(AFTER), sequence)
    if cosine:
        degrees = math.degrees(math.acos(max(-1.0, min(1.0, value))))
        yield from (math.cos(math.radians(near)) for near in _rounded(degrees))
        return
    if abs(value) > _FAR:
        yield 0.0
    written = unit(symbol)
    yield from (written.to_si(near) for near in _rounded(written.from_si(value)))


def _rounded(value: float) -> Iterator[float]:
    if math.isfinite(value):
        found = (float(f"{value:.{digits}g}") for digits in (1, 2, 3, 4, 6))
        yield from (near for near in found if math.isfinite(near))
