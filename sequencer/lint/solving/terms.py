"""Expressions of a sequence as formulas of z3, with the three truth values of an executor.

A truth becomes two formulas, *is true* and *is false*; unknown is neither. A number becomes a real
and a formula *is bad*; `sequencer.lint.solving.arithmetic` says what a real can tell about doubles.
So comparisons, `and`, `or`, `not` and votes mean what they mean in `sequencer.execute.values`.

`expression` and `vote` are unfolded wherever they are read. The other blocks have a memory: what
they come to is free, but for what their definition says of every tick.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from sequencer.errors import InternalError
from sequencer.execute.values import compile_expression, names_of
from sequencer.expressions import (
    And,
    Arithmetic,
    Comparison,
    Function,
    InState,
    LimitCosine,
    Negate,
    Node,
    Not,
    Number,
    Or,
    Truth,
    Variable,
    walk,
)
from sequencer.lint.solving.answers import Moment
from sequencer.lint.solving.arithmetic import Numbers
from sequencer.lint.solving.reading import is_seen_through
from sequencer.lint.solving.symbols import Formula, Kleene, Quantity, Symbols
from sequencer.sequence.model import Estimate, Sequence

__all__ = ["AFTER", "Terms"]

#: What a name has behind it where it is read after a change of state, as inhibits do.
AFTER = "@after"

#: Blocks whose output is a number of clock ticks divided by the rate.
_TICKED = ("age", "timer")
#: Blocks whose output is bad on every tick on which their argument is.
_PASS_BAD = ("low_pass", "filtered_rate", "median3", "peak")
#: cosines come from a quaternion divided by its norm: a few roundings off one
_COSINE = 1 + Fraction(1, 2**40)


class Terms:
    """Turns the expressions of one sequence into formulas over shared symbols.

    moment    what is known of the moment at which they are read
    after     they are read after a change of state, as inhibits are: state, flags and time in
              state are those after it, estimates were worked out before it
    rounded   arithmetic is that of doubles
    apart     estimate -> its symbol, where it is not the estimate of that name in the other
              sequence
    """

    def __init__(
        self,
        sequence: Sequence,
        symbols: Symbols,
        moment: Moment,
        *,
        after: bool = False,
        rounded: bool = True,
        apart: Mapping[str, str] | None = None,
    ) -> None:
        self._sequence = sequence
        self._symbols = symbols
        self._z3 = symbols.z3
        self._names = names_of(sequence)
        self._numbers = Numbers(symbols, sequence.rate_hz, rounded=rounded)
        self._state = moment.after_state if after else moment.state
        self._flags = moment.after_flags if after else moment.flags
        self._suffix = AFTER if after else ""
        self._apart = apart or {}
        self._before: Terms | None = None
        if after:
            self._before = Terms(sequence, symbols, moment, rounded=rounded, apart=apart)
        self._estimates: dict[str, Kleene | Quantity] = {}

    @property
    def never(self) -> Formula:
        """What is never true."""
        return self._symbols.constant(False)

    # truths

    def truth(self, node: Node) -> Kleene:  # noqa: PLR0911 - one return per node type
        """A condition. Raises InternalError for what is none."""
        z3 = self._z3
        match node:
            case Truth(value):
                return self._fixed(value)
            case And(operands) | Or(operands):
                parts = [self.truth(operand) for operand in operands]
                true, false = [part.true for part in parts], [part.false for part in parts]
                if isinstance(node, And):
                    return Kleene(z3.And(*true), z3.Or(*false))
                return Kleene(z3.Or(*true), z3.And(*false))
            case Not(operand):
                part = self.truth(operand)
                return Kleene(part.false, part.true)
            case InState(states):
                return self._in_state(states)
            case Comparison(operator, left, right):
                return self._numbers.compare(operator, self.number(left), self.number(right))
            case Variable(name):
                return self._named_truth(name)
        raise InternalError(f"expression node {type(node).__name__} is no condition")

    def _fixed(self, value: bool) -> Kleene:  # noqa: FBT001 - the value itself
        return Kleene(self._symbols.constant(value), self._symbols.constant(not value))

    def _in_state(self, states: tuple[str, ...]) -> Kleene:
        if self._state is not None:
            return self._fixed(self._state in states)
        number = self._symbols.state("state" + self._suffix, len(self._names.states))
        inside = self._z3.Or(*[number == self._names.states[name] for name in states])
        return Kleene(inside, self._z3.Not(inside))

    def _named_truth(self, name: str) -> Kleene:
        if name in self._sequence.flags:
            if name in self._flags:
                return self._fixed(self._flags[name])
            value = self._symbols.truth(name + self._suffix)
            return Kleene(value, self._z3.Not(value))
        if name in self._sequence.inputs:
            return self._free_truth(name)
        found = self.estimate(name)
        if not isinstance(found, Kleene):
            raise InternalError(f"'{name}' is no truth")
        return found

    def _free_truth(self, name: str) -> Kleene:
        z3, value, bad = self._z3, self._symbols.truth(name), self._symbols.bad(name)
        return Kleene(z3.And(value, z3.Not(bad)), z3.And(z3.Not(value), z3.Not(bad)))

    # numbers

    def number(self, node: Node) -> Quantity:
        """A quantity. Raises InternalError for what is none."""
        if not any(
            isinstance(part, Variable) and part.name not in self._names.constants
            for part in walk(node)
        ):
            return self._constant(node)
        match node:
            case Variable(name):
                return self._named_number(name)
            case Negate(operand):
                value = self.number(operand)
                return Quantity(-value.value, value.bad)
            case Arithmetic(operator, left, right):
                return self._numbers.arithmetic(operator, self.number(left), self.number(right))
            case Function(name, arguments):
                given = [self.number(argument) for argument in arguments]
                return self._numbers.function(name, given)
        raise InternalError(f"expression node {type(node).__name__} is no quantity")

    def _constant(self, node: Node) -> Quantity:
        if not isinstance(node, Number | LimitCosine | Variable | Negate | Arithmetic | Function):
            raise InternalError(f"expression node {type(node).__name__} is no quantity")
        value = compile_expression(node, self._names)([None] * self._names.size)
        return self._numbers.constant(value)

    def _named_number(self, name: str) -> Quantity:
        if name == "time_in_state":
            return self._numbers.ticked(name + self._suffix)
        if name in self._sequence.inputs:
            return Quantity(self._symbols.real(name), self._symbols.bad(name))
        found = self.estimate(name)
        if not isinstance(found, Quantity):
            raise InternalError(f"'{name}' is no quantity")
        return found

    # estimates

    def estimate(self, name: str) -> Kleene | Quantity:
        """What an estimate comes to on this tick."""
        if self._before is not None:
            return self._before.estimate(name)
        if name not in self._estimates:
            self._estimates[name] = self._estimated(self._sequence.estimates[name])
        return self._estimates[name]

    def _estimated(self, estimate: Estimate) -> Kleene | Quantity:
        block = estimate.block
        if not is_seen_through(estimate):
            return self._remembering(estimate)
        if block.kind == "vote":
            return self._vote(estimate)
        node = block.arguments[0][1]
        return self.truth(node) if estimate.unit == "bool" else self.number(node)

    def _vote(self, estimate: Estimate) -> Kleene:
        z3 = self._z3
        members = [self.truth(node) for _, node in estimate.block.arguments]
        numbers = dict(estimate.block.coefficients)
        known = self._count([z3.Or(member.true, member.false) for member in members])
        enough = known >= int(numbers["quorum"])
        agreed = self._count([member.true for member in members]) >= int(numbers["needed"])
        return Kleene(z3.And(enough, agreed), z3.And(enough, z3.Not(agreed)))

    def _count(self, formulas: list[Formula]) -> Formula:
        z3, context = self._z3, self._symbols.context
        one, none = z3.IntVal(1, context), z3.IntVal(0, context)
        return z3.Sum([z3.If(formula, one, none) for formula in formulas])

    def _remembering(self, estimate: Estimate) -> Kleene | Quantity:
        """An estimate with a memory: an unknown, and what its block says of every tick."""
        block, symbols, z3 = estimate.block, self._symbols, self._z3
        name = self._apart.get(estimate.name, estimate.name)
        arguments = dict(block.arguments)
        if block.kind == "latch":
            return self._latch(name, arguments)
        if estimate.unit == "bool":
            return self._free_truth(name)
        if block.kind in _TICKED:
            found = self._numbers.ticked(name)
            if "reset_when" in arguments:
                reset = self.truth(arguments["reset_when"]).true
                symbols.facts.append(z3.Implies(reset, symbols.tick(name) == 0))
            return found
        value, bad = symbols.real(name), symbols.bad(name)
        if estimate.is_cosine:
            limit = symbols.fraction(_COSINE)
            symbols.facts += [value <= limit, value >= -limit]
        if block.gate is None and block.kind in _PASS_BAD:
            symbols.facts.append(z3.Implies(self.number(arguments["of"]).bad, bad))
        return Quantity(value, bad)

    def _latch(self, name: str, arguments: Mapping[str, Node]) -> Kleene:
        symbols, z3 = self._symbols, self._z3
        value = symbols.truth(name)
        set_now = self.truth(arguments["set_when"]).true
        symbols.facts.append(z3.Implies(set_now, value))
        if "reset_when" in arguments:
            reset = self.truth(arguments["reset_when"]).true
            symbols.facts.append(z3.Implies(z3.And(reset, z3.Not(set_now)), z3.Not(value)))
        return Kleene(value, z3.Not(value))
