"""Why the model did what it did: terms, counters, numbers and inputs on a few ticks.

Everything is worked out after the fact, from what the model remembered after each tick and the
events of the tick; conditions are evaluated as the reference executor evaluates them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from collections.abc import Sequence as Listed
from dataclasses import dataclass

from sequencer.execute import Outputs
from sequencer.execute.values import (
    CLOCK,
    STATE,
    TIME_IN_STATE,
    Memory,
    compile_expression,
    names_of,
)
from sequencer.expressions import Node, Variable, unparse, variables
from sequencer.record.divergence import Constant, Decision, Quantity, Reading, Term
from sequencer.sequence import Estimate, Exit, Inhibit, Loop, Sequence
from sequencer.sequence.decisions import leaves_of
from sequencer.sequence.phrases import hold
from sequencer.units import unit

__all__ = ["Asked", "Moment", "decision", "read_by", "readings"]

#: what can be asked why it came out as it did
Asked = Exit | Inhibit | Estimate | Loop

_KINDS: Mapping[type[Asked], str] = {
    Exit: "exit",
    Inhibit: "inhibit",
    Estimate: "estimate",
    Loop: "loop",
}

#: ticks that are shown at most, and at least where there were so many
_MOST, _LEAST = 6, 3


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """One tick of the model, and what came before it.

    state, entered   before the tick; `entered` is the clock of that
    registers        after it, as `Executor.registers` tells them
    fresh            whether each input was refreshed, in order of declaration
    outputs          of the model
    """

    clock: int
    state: str
    entered: int
    registers: Mapping[str, float]
    fresh: Listed[bool]
    outputs: Outputs


def decision(sequence: Sequence, of: Asked, moments: Listed[Moment]) -> Decision:
    """What decided on the last of these moments, and on those before that led to it."""
    way = of if isinstance(of, Exit) else None
    shown = _shown(sequence, moments, way)
    asked = [_asked(sequence, each, tried=not isinstance(of, Inhibit)) for each in shown]
    conditions = _conditions(of)
    leaves = dict.fromkeys(leaf for each in conditions for leaf in leaves_of(sequence, each))
    alone = {leaf.name for leaf in leaves if isinstance(leaf, Variable)}
    named = tuple(read_by(of))
    direct = [name for name in named if name in sequence.inputs]
    inside = _inside(sequence, named, inputs=False)
    limits = (*named, *(name for each in inside for name in _behind(sequence, each)))
    return Decision(
        kind=_KINDS[type(of)],
        name=of.name,
        text=_text(of),
        hold="" if way is None else hold(sequence, way),
        needed=1 if way is None else way.hold_ticks,
        clocks=tuple(each.clock for each in shown),
        states=tuple(each.state for each in shown),
        terms=tuple(Term(unparse(leaf), _truths(sequence, leaf, asked)) for leaf in leaves),
        quantities=tuple(
            _quantity(sequence, name, asked) for name in (*direct, *inside) if name not in alone
        ),
        constants=tuple(_constants(sequence, limits)),
        held=() if way is None else tuple(_held(way, each) for each in shown),
    )


def read_by(of: Asked) -> Iterator[str]:
    """Names that it is worked out from at first hand, each once, limits included."""
    if isinstance(of, Exit | Inhibit):
        yield from variables(of.condition)
        return
    nodes = (node for _, node in of.block.arguments)
    found = [*(each for node in nodes for each in variables(node)), of.block.gate, of.block.subject]
    yield from dict.fromkeys(each for each in found if each is not None)


def readings(sequence: Sequence, names: Iterable[str], moment: Moment) -> tuple[Reading, ...]:
    """The inputs that these names are worked out from, in order of declaration."""
    found = []
    wanted = set(_inside(sequence, names, inputs=True))
    for index, (name, put) in enumerate(sequence.inputs.items()):
        if name not in wanted:
            continue
        registers, symbol = moment.registers, unit(put.unit)
        bad = registers[f"input.{name}.bad"] != 0.0
        value = registers[f"input.{name}"]
        heard = registers[f"input.{name}.heard"]
        fresh = bool(moment.fresh[index])
        # 0 stands for "never" and for tick 0; of a bad value nothing tells the two apart
        never = bad and heard == 0.0
        found.append(
            Reading(
                name,
                put.unit,
                None if bad else value if put.unit == "bool" else symbol.from_si(value),
                fresh,
                None if never else (moment.clock - heard) / sequence.rate_hz,
            )
        )
    return tuple(found)


def _conditions(of: Asked) -> tuple[Node, ...]:
    """What of it is true or false."""
    if isinstance(of, Exit | Inhibit):
        return (of.condition,)
    if isinstance(of, Estimate) and of.unit == "bool":
        return tuple(node for _, node in of.block.arguments)
    return ()


def _text(of: Asked) -> str:
    """As the file writes it, or near to it."""
    if isinstance(of, Exit):
        return of.text
    if isinstance(of, Inhibit):
        return unparse(of.condition)
    arguments = [unparse(node) for _, node in of.block.arguments]
    if of.block.kind == "expression":
        return arguments[0]
    subject = [] if of.block.subject is None else [of.block.subject]
    return f"{of.block.kind}({', '.join([*subject, *arguments])})"


def _shown(sequence: Sequence, moments: Listed[Moment], way: Exit | None) -> list[Moment]:
    """The last moment, and as many before it as the hold of an exit reaches back."""
    before: Iterable[Moment] = moments[:-1]
    if way is not None and way.fresh is not None:
        index = list(sequence.inputs).index(way.fresh)
        before = [each for each in before if each.fresh[index]]
    count = min(_MOST, max(_LEAST, 0 if way is None else way.hold_ticks + 1))
    return [*list(before)[1 - count :], moments[-1]]


def _asked(sequence: Sequence, moment: Moment, *, tried: bool) -> Memory:
    """The memory as expressions read it.

    tried   when exits were tried, before the change of state: else at the end of the tick
    """
    names = names_of(sequence)
    memory: Memory = [None] * names.size
    registers = moment.registers
    for group in ("input", "estimate"):
        declared = sequence.inputs if group == "input" else sequence.estimates
        for name in declared:
            if registers[f"{group}.{name}.bad"] == 0.0:
                memory[names.cells[name]] = registers[f"{group}.{name}"]
    for name in sequence.flags:
        memory[names.cells[name]] = registers[f"flag.{name}"] != 0.0
    state, entered = moment.outputs.state, registers["entered"]
    if tried:
        state, entered = moment.state, moment.entered
        for kind, name, _ in reversed(_of_the_change(moment.outputs)):
            if kind in ("set", "cleared"):
                memory[names.cells[name]] = kind == "cleared"
    memory[STATE] = names.states[state]
    memory[TIME_IN_STATE] = (moment.clock - entered) / sequence.rate_hz
    memory[CLOCK] = moment.clock
    return memory


def _of_the_change(outputs: Outputs) -> tuple[tuple[str, str, str], ...]:
    """The events of a tick from the exit on that was taken."""
    at = next((i for i, event in enumerate(outputs.events) if event[0] == "took"), None)
    return () if at is None else outputs.events[at:]


def _truths(sequence: Sequence, leaf: Node, asked: Iterable[Memory]) -> tuple[bool | None, ...]:
    run = compile_expression(leaf, names_of(sequence))
    return tuple(None if (truth := run(memory)) is None else bool(truth) for memory in asked)


def _quantity(sequence: Sequence, name: str, asked: Iterable[Memory]) -> Quantity:
    cell = names_of(sequence).cells[name]
    if name == "time_in_state":
        return Quantity(name, "s", tuple(memory[cell] for memory in asked))
    put, estimate = sequence.inputs.get(name), sequence.estimates.get(name)
    symbol = put.unit if put is not None else estimate.unit if estimate is not None else "bool"
    tilt = estimate is not None and estimate.is_cosine
    return Quantity(name, symbol, tuple(_value(memory[cell], symbol, tilt) for memory in asked))


def _value(value: float | None, symbol: str, tilt: bool) -> float | None:  # noqa: FBT001 - private
    if value is None:
        return None
    if symbol == "bool":
        return float(value)
    return unit(symbol).from_si(math.acos(max(-1.0, min(1.0, value))) if tilt else value)


def _held(of: Exit, moment: Moment) -> int | None:
    if moment.state not in of.sources:
        return None
    if ("took", of.name, "") in moment.outputs.events:
        return of.hold_ticks
    lives_on = of.common and moment.outputs.state in of.sources
    if not lives_on and any(kind == "took" for kind, _, _ in moment.outputs.events):
        return None  # the change of state has reset it
    return int(moment.registers[f"hold.{of.name}"])


def _inside(sequence: Sequence, names: Iterable[str], *, inputs: bool) -> tuple[str, ...]:
    """What these names are worked out from, themselves included: inputs, or all but inputs."""
    found: dict[str, None] = {}
    waiting = list(names)
    while waiting:
        name = waiting.pop(0)
        if name in found or name in sequence.limits:
            continue
        found[name] = None
        waiting += _behind(sequence, name)
    return tuple(name for name in found if (name in sequence.inputs) == inputs)


def _behind(sequence: Sequence, name: str) -> Iterator[str]:
    """What an estimate is worked out from; of anything else nothing."""
    if name in sequence.estimates:
        yield from read_by(sequence.estimates[name])


def _constants(sequence: Sequence, names: Iterable[str]) -> Iterator[Constant]:
    for name in dict.fromkeys(names):
        limit = sequence.limits.get(name)
        if limit is not None:
            yield Constant(name, limit.unit, unit(limit.unit).from_si(limit.value))
