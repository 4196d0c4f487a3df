"""Inputs, limits, flags, estimates and loops: from the file's tables to resolved, SI data."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from fractions import Fraction

from sequencer.documents import Loc
from sequencer.errors import InputError
from sequencer.expressions import Node
from sequencer.parsing import Symbol
from sequencer.sequence.blocks import EstimateFile, ThrustVectorPid, Vote, arguments_of
from sequencer.sequence.model import Block, Estimate, Flag, Function, Input, Limit, Loop
from sequencer.sequence.schema import SequenceFile
from sequencer.sequence.scope import Scope
from sequencer.units import ONE, TRUTH, Dimension, exact, unit

__all__ = [
    "resolve_estimates",
    "resolve_flags",
    "resolve_inputs",
    "resolve_limits",
    "resolve_loops",
]

_ANGLE = unit("rad").dimension
_MESSAGE = re.compile(r"([a-z][a-z0-9_]*)\.([a-z][a-z0-9_]*)", re.ASCII)


def resolve_inputs(scope: Scope, file: SequenceFile) -> dict[str, Input]:
    """[inputs]"""
    found = {}
    for name, table in file.inputs.items():
        loc: Loc = ("inputs", name)
        message = None
        if table.message is not None:
            match = _MESSAGE.fullmatch(table.message)
            if match is None:
                scope.fail((*loc, "from"), f"'{table.message}' is not of the form computer.field")
            message = match[1], match[2]
            if message[0] == file.sequence.name:
                scope.fail((*loc, "from"), "a computer gets no messages from itself")
        dimension = scope.unit((*loc, "unit"), table.unit).dimension
        scope.declare(name, Symbol(dimension))
        found[name] = Input(name, table.unit, table.period_s, message)
    return found


def resolve_limits(scope: Scope, file: SequenceFile) -> dict[str, Limit]:
    """[limits]"""
    found = {}
    for name, table in file.limits.items():
        loc: Loc = ("limits", name)
        written = scope.unit((*loc, "unit"), table.unit)
        if written.dimension == TRUTH:
            scope.fail((*loc, "unit"), f"limit '{name}' must be a quantity, not true or false")
        if not table.reason.strip():
            scope.fail((*loc, "reason"), f"limit '{name}' needs a reason")
        value = scope.convert((*loc, "value"), table.value, written)
        tolerance = scope.convert((*loc, "tolerance"), table.tolerance, written, span=True)
        is_angle = written.dimension == _ANGLE
        cosine = math.cos(value) if is_angle else None
        in_range = is_angle and 0 <= value <= math.pi
        scope.declare(name, Symbol(written.dimension, is_angle=in_range))
        found[name] = Limit(name, value, table.unit, tolerance, table.reason, cosine)
    return found


def resolve_flags(scope: Scope, file: SequenceFile) -> dict[str, Flag]:
    """[flags]"""
    found = {}
    for name, table in file.flags.items():
        scope.declare(name, Symbol(TRUTH))
        found[name] = Flag(name, table.initial, table.retained)
    return found


def resolve_estimates(
    scope: Scope, file: SequenceFile, inputs: Mapping[str, Input]
) -> dict[str, Estimate]:
    """[estimates], each of which may read those above it."""
    found = {}
    for name, table in file.estimates.items():
        estimate = _estimate(scope, name, table, inputs, file.sequence.rate_hz)
        dimension = unit(estimate.unit).dimension
        scope.declare(name, Symbol(dimension, is_tilt=estimate.is_cosine))
        found[name] = estimate
    return found


def _estimate(
    scope: Scope, name: str, table: EstimateFile, inputs: Mapping[str, Input], rate_hz: int
) -> Estimate:
    loc: Loc = ("estimates", name)
    arguments: list[tuple[str, Node]] = []
    of: Dimension | None = None
    for key, wants, text, place in arguments_of(table):
        node, dimension = scope.argument((*loc, *place), wants, text, own=name)
        arguments.append((key, node))
        of = dimension if of is None else of
    written = scope.unit((*loc, "unit"), table.unit)
    given = table.dimension(ONE if of is None else of)
    if written.dimension != given:
        what = "true or false ('bool')" if given == TRUTH else f"in {given}"
        scope.fail((*loc, "unit"), f"'{name}' is declared in '{table.unit}' but comes out {what}")
    if isinstance(table, Vote):
        for key in ("needed", "quorum"):
            if getattr(table, key) > len(table.members):
                scope.fail(
                    (*loc, key), f"'{key}' is {getattr(table, key)} of {len(table.members)} members"
                )
    if table.input_name is not None:
        scope.choose((*loc, "input"), "input", table.input_name, inputs)
    dt = _update_period(scope, loc, table.gate, inputs, rate_hz)
    try:
        coefficients = tuple(table.coefficients(dt, rate_hz, written).items())
    except InputError as error:
        raise error.at(scope.document.path, scope.document.line(loc)) from None
    kind = str(getattr(table, "block", "expression"))
    block = Block(kind, tuple(arguments), coefficients, table.gate, table.input_name)
    return Estimate(name, table.unit, block, table.is_cosine)


def _update_period(
    scope: Scope, loc: Loc, gate: str | None, inputs: Mapping[str, Input], rate_hz: int
) -> Fraction:
    """Nominal time between two updates, s: a tick, or the period of the input that gates."""
    tick = Fraction(1, rate_hz)
    if gate is None:
        return tick
    scope.choose((*loc, "on_fresh"), "input", gate, inputs)
    period_s = inputs[gate].period_s
    if period_s is None:
        scope.fail((*loc, "on_fresh"), f"input '{gate}' needs a period_s to gate a block")
    # an input that comes faster than the ticks is refreshed once a tick
    return max(tick, exact(period_s))


def resolve_loops(
    scope: Scope,
    file: SequenceFile,
    estimates: Mapping[str, Estimate],
    functions: Mapping[str, Function],
) -> dict[str, Loop]:
    """[loops]"""
    return {
        name: _loop(scope, name, table, file, estimates, functions)
        for name, table in file.loops.items()
    }


def _loop(
    scope: Scope,
    name: str,
    table: ThrustVectorPid,
    file: SequenceFile,
    estimates: Mapping[str, Estimate],
    functions: Mapping[str, Function],
) -> Loop:
    loc: Loc = ("loops", name)
    attitudes = [estimate.name for estimate in estimates.values() if estimate.is_cosine]
    scope.choose((*loc, "attitude"), "attitude estimate", table.attitude, attitudes)
    arguments = tuple(
        (key, scope.argument((*loc, *place), wants, text)[0])
        for key, wants, text, place in arguments_of(table)
    )
    servos = [function.name for function in functions.values() if function.kind == "servo"]
    outputs: list[tuple[str, str]] = []
    for axis, servo in table.outputs:
        place = (*loc, "outputs", axis)
        if servo in functions and servo not in servos:
            scope.fail(place, f"'{servo}' is a {functions[servo].kind}; a loop drives servos only")
        scope.choose(place, "servo", servo, servos)
        if file.functions[servo].positions_deg is None:  # type: ignore[union-attr]
            scope.fail(place, f"servo '{servo}' has no positions in deg; a loop drives angles")
        if any(servo == other for _, other in outputs):
            scope.fail(place, f"servo '{servo}' is driven by both axes")
        outputs.append((axis, servo))
    dt = Fraction(1, file.sequence.rate_hz)
    coefficients = tuple(table.coefficients(dt).items())
    block = Block(table.block, arguments, coefficients, None, table.attitude)
    return Loop(name, block, tuple(outputs))
