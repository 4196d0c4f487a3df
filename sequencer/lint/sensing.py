"""Rules about limits, and the sensors whose values are compared with them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from sequencer.documents import Loc
from sequencer.expressions import Comparison, Function, Negate, Node, Variable, walk
from sequencer.lint.circuits import needs_vehicle, sensor_of
from sequencer.lint.findings import Claim, rule
from sequencer.lint.holds import sample_period
from sequencer.lint.reading import readers
from sequencer.lint.subject import Subject
from sequencer.sequence import Exit, Limit, Sequence
from sequencer.units import unit
from sequencer.vehicle.model import Sensor

__all__ = ["RULES"]

#: standard gravity, which a vehicle that stands still feels along its axis
_GRAVITY = 9.80665
#: what kinds of sensors answer while the vehicle stands on the pad; others depend on the day
_AT_REST = {"rate": 0.0, "barometer": 0.0, "gimbal": 0.0}
#: noise goes beyond this many standard deviations once in 700 samples
_BEYOND = 3.0
#: standard deviation of the median of three, as a share of that of one (normal noise)
_MEDIAN3 = 0.670

_TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<=", "==": "==", "!=": "!="}


@dataclass(frozen=True, slots=True)
class _Plain:
    """An input as it is compared: with another sign, without one, or smoothed.

    noise   of what is compared, as a share of the noise of the input
    """

    put: str
    negated: bool = False
    absolute: bool = False
    noise: float = 1.0


@dataclass(frozen=True, slots=True)
class _Compared:
    """A comparison of one input with one limit: `input operator value`."""

    at: Loc
    plain: _Plain
    operator: str
    limit: Limit
    value: float


def _plain(logic: Sequence, node: Node) -> _Plain | None:  # noqa: PLR0911 - a branch a node
    match node:
        case Negate(operand):
            found = _plain(logic, operand)
            return None if found is None else replace(found, negated=not found.negated)
        case Function("abs", (operand,)):
            found = _plain(logic, operand)
            return None if found is None else replace(found, negated=False, absolute=True)
        case Variable(name) if name in logic.inputs:
            return _Plain(name)
        case Variable(name) if name in logic.estimates:
            block = logic.estimates[name].block
            if block.kind not in ("expression", "low_pass", "median3"):
                return None
            found = _plain(logic, block.arguments[0][1])
            if found is None or block.kind == "expression":
                return found
            share = _MEDIAN3
            if block.kind == "low_pass":
                a = dict(block.coefficients)["a"]
                share = math.sqrt(a / (2.0 - a))
            return replace(found, noise=found.noise * share)
    return None


def _comparisons(logic: Sequence) -> Iterator[_Compared]:
    """Every comparison of an input, plain or smoothed, with a limit."""
    for at, expression in readers(logic):
        for node in walk(expression):
            if not isinstance(node, Comparison):
                continue
            for one, other, operator in (
                (node.left, node.right, node.operator),
                (node.right, node.left, _TURNED[node.operator]),
            ):
                plain = _plain(logic, one)
                if plain is None or not isinstance(other, Variable):
                    continue
                limit = logic.limits.get(other.name)
                if limit is None:
                    continue
                turned = _TURNED[operator] if plain.negated else operator
                value = -limit.value if plain.negated else limit.value
                yield _Compared(at, plain, turned, limit, value)


@rule(
    "limit-in-noise",
    "a limit so near to what a sensor reads at rest that its noise crosses it",
    "sooner or later noise alone takes the decision",
    needs=needs_vehicle,
)
def limit_in_noise(subject: Subject) -> Iterator[Claim]:
    """Nearer than three standard deviations and the bias; with N samples of hold 3 / sqrt(N)."""
    for logic in subject.sequences.values():
        for one in _comparisons(logic):
            sensor = sensor_of(subject, logic, one.plain.put)
            rest = None if sensor is None else _rest(sensor)
            if sensor is None or rest is None or sensor.noise == 0.0:
                continue
            samples = _samples(subject, logic, one) if one.plain.noise == 1.0 else 1
            reach = abs(sensor.bias) + _BEYOND / math.sqrt(samples) * sensor.noise * one.plain.noise
            if abs(one.value - rest) >= reach:
                continue
            name, put = one.limit.name, one.plain.put
            what = (
                f"limit '{name}' lies {_amount(abs(one.value - rest), one.limit)} from what "
                f"'{put}' reads at rest, and its noise reaches {_amount(reach, one.limit)}"
            )
            yield Claim(logic, one.at, what, (name, put))


def _rest(sensor: Sensor) -> float | None:
    if sensor.kind == "acceleration":
        return _GRAVITY if sensor.place == "x" else 0.0
    return _AT_REST.get(sensor.kind)


def _samples(subject: Subject, logic: Sequence, one: _Compared) -> int:
    """Samples that the hold of an exit takes in a row; 1 where it is no exit."""
    way = _exit_at(logic, one.at)
    if way is None:
        return 1
    if way.fresh is not None:
        return way.hold_ticks
    period = sample_period(subject, logic, one.plain.put)
    if period is None:
        return way.hold_ticks
    return max(1, math.floor(way.hold_ticks / logic.rate_hz / period + 1e-9))


def _exit_at(logic: Sequence, at: Loc) -> Exit | None:
    if at[0] == "states":
        return logic.states[str(at[1])].exits[int(at[3])]
    return logic.common_exits[int(at[1])] if at[0] == "common_exits" else None


@rule(
    "limit-outside-range",
    "a limit that its sensor never reaches",
    "the comparison always comes out the same: what it was to decide is never decided",
    needs=needs_vehicle,
)
def limit_outside_range(subject: Subject) -> Iterator[Claim]:
    """A sensor clips at both ends of its range."""
    for logic in subject.sequences.values():
        for one in _comparisons(logic):
            sensor = sensor_of(subject, logic, one.plain.put)
            if sensor is None or one.plain.absolute:
                continue
            always = _always(one.operator, one.value, sensor.low, sensor.high)
            if always is None:
                continue
            name, put = one.limit.name, one.plain.put
            ends = f"{_number(sensor.low, one.limit)} to {_amount(sensor.high, one.limit)}"
            word = "always" if always else "never"
            what = (
                f"'{put}' reads {ends}: its comparison with limit '{name}' "
                f"({_amount(one.limit.value, one.limit)}) is {word} true"
            )
            yield Claim(logic, one.at, what, (name, put))


def _always(operator: str, value: float, low: float, high: float) -> bool | None:
    """Whether `x operator value` is always (or never) true for x from low to high, or None."""
    match operator:
        case "<":
            return True if high < value else False if low >= value else None
        case "<=":
            return True if high <= value else False if low > value else None
        case ">":
            return True if low > value else False if high <= value else None
        case ">=":
            return True if low >= value else False if high < value else None
        case "==":
            return None if low <= value <= high else False
    return None if low <= value <= high else True


def _number(value: float, limit: Limit) -> str:
    return f"{unit(limit.unit).from_si(value):.3g}" if math.isfinite(value) else str(value)


def _amount(value: float, limit: Limit) -> str:
    return f"{_number(value, limit)} {limit.unit}"


RULES = (limit_in_noise, limit_outside_range)
