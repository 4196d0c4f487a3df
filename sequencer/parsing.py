"""Text -> expression tree: names resolved, units checked, nothing ever executed.

The text is split into tokens of a short list first; whatever else it holds (quotes, brackets,
colons, letters of other alphabets) is refused before Python's own parser sees it. The tree that
`ast` then gives is rebuilt node by node from a list of what is allowed. The same parser serves
sequences and conditions over the signals of a flight record; they differ in the symbols that are
passed in and in whether numbers may be compared with quantities.
"""

from __future__ import annotations

import ast
import keyword
import math
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise

from sequencer.errors import InputError, nearest
from sequencer.expressions import (
    TURNED,
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
    unparse,
)
from sequencer.units import ONE, TRUTH, Dimension

__all__ = ["MAX_LENGTH", "RESERVED", "Names", "Parsed", "Symbol", "parse", "parse_condition"]

#: Longest expression, in characters, and deepest nesting that is accepted.
MAX_LENGTH = 1000
MAX_DEPTH = 50

_FUNCTIONS = ("abs", "sqrt", "min", "max")

#: Words of the expression language, which no declared name may take.
RESERVED = frozenset((*_FUNCTIONS, "in_state", "time_in_state", "true", "false", "nan", "inf")) | {
    *keyword.kwlist
}

#: signs of other languages, and what is written here
_WORDS = {"&": "and", "|": "or", "!": "not"}

_TOKEN = re.compile(
    r"(?P<space>\s+)"
    r"|(?P<number>(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?(?![\w.]))"
    r"|(?P<name>[A-Za-z_]\w*(?:\.[A-Za-z_]\w*)*)"
    r"|(?P<operator><=|>=|==|!=|[-+*/<>(),])",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class Symbol:
    """What the parser must know about a name.

    dimension    of its value; TRUTH for a truth
    scale        value of its unit in SI (1 wherever values are SI; a signal kept in degrees has
                 pi/180): quantities are added and compared only at the same scale
    is_tilt      its value is the cosine of an angle; only compared with an angle that is a limit
    is_angle     a limit between 0 and 180 deg, which a tilt may be compared with
    """

    dimension: Dimension
    scale: Fraction = Fraction(1)
    is_tilt: bool = False
    is_angle: bool = False


@dataclass(frozen=True, slots=True)
class Names:
    """The names that an expression may use.

    symbols      name -> Symbol (dots allowed inside a name)
    states       what in_state(...) may ask for; empty: in_state is not known at all
    barred       name -> why it cannot be used here ("is declared below"), for a better message
    literals     numbers may stand beside quantities (compared, added) and take their unit
    """

    symbols: Mapping[str, Symbol]
    states: Collection[str] = ()
    barred: Mapping[str, str] = field(default_factory=dict)
    literals: bool = False


@dataclass(frozen=True, slots=True)
class Parsed:
    """An expression and what its value is; `constant` if it reads no name at all."""

    node: Node
    dimension: Dimension
    scale: Fraction = Fraction(1)
    is_tilt: bool = False
    constant: bool = False

    @property
    def is_truth(self) -> bool:
        """Whether it is true or false rather than a number."""
        return self.dimension.truth


def parse(text: str, names: Names) -> Parsed:
    """Understands one expression.

    Raises InputError (without a place) for anything that is not in the language, an unknown name,
    quantities of different units mixed, truths and numbers mixed.
    """
    tree = _python_tree(_checked(text))
    return _Builder(names).build(tree, 0)


def parse_condition(text: str, names: Names) -> Node:
    """Understands an expression that must be true or false. Raises InputError like `parse`."""
    parsed = parse(text, names)
    if not parsed.is_truth:
        raise InputError(f"'{_short(text)}' is {_what(parsed)}, a condition is needed")
    return parsed.node


def _checked(text: str) -> str:
    """`text` on one line, once it is known to hold nothing but tokens of the language."""
    if len(text) > MAX_LENGTH:
        raise InputError(f"expression is longer than {MAX_LENGTH} characters")
    if not text.strip():
        raise InputError("expression is empty")
    place = depth = run = 0
    while place < len(text):
        token = _TOKEN.match(text, place)
        if token is None:
            raise InputError(_odd(text[place:]))
        word = token.group()
        depth += (word == "(") - (word == ")")
        if token.lastgroup != "space":  # a run of signs or "not" nests without brackets
            run = run + 1 if word in ("-", "+", "not") else 0
        if depth > MAX_DEPTH or run > MAX_DEPTH:
            raise InputError("expression is nested too deeply")
        place = token.end()
    return " ".join(text.split())


def _odd(rest: str) -> str:
    char = rest[0]
    if char == "=":
        return "unexpected '=' in an expression; '==' compares"
    if char.isascii() and char.isdigit():
        return f"'{_short(re.split(r'[^0-9A-Za-z_.]', rest)[0])}' is no number"
    if char in _WORDS:
        return f"'{char}' has no place in an expression; '{_WORDS[char]}' is the word for it"
    if char in "'\"":
        return "a quotation mark has no place in an expression"
    shown = f"'{char}'" if char.isprintable() else "character"
    code = "" if char.isascii() and char.isprintable() else f" (U+{ord(char):04X})"
    return f"{shown}{code} has no place in an expression"


def _python_tree(text: str) -> ast.expr:
    try:
        return ast.parse(text, mode="eval").body
    except SyntaxError as failure:
        raise InputError(f"'{_short(text)}' is no expression: {failure.msg}") from None
    except (ValueError, MemoryError, RecursionError):
        raise InputError(f"'{_short(text)}' is no expression") from None


_ARITHMETIC: Mapping[type[ast.operator], str] = {
    ast.Add: "+",
    ast.Sub: "-",
    ast.Mult: "*",
    ast.Div: "/",
}
_COMPARISONS: Mapping[type[ast.cmpop], str] = {
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "==",
    ast.NotEq: "!=",
}
_WRITTEN: Mapping[type[ast.AST], str] = {
    ast.Pow: "**",
    ast.FloorDiv: "//",
    ast.Is: "is",
    ast.IsNot: "is not",
    ast.In: "in",
    ast.NotIn: "not in",
    ast.IfExp: "if ... else",
    ast.Lambda: "lambda",
    ast.Tuple: "a list of values",
    ast.Starred: "*",
    ast.Yield: "yield",
    ast.Await: "await",
    ast.GeneratorExp: "for",
}


class _Builder:
    """Rebuilds Python's tree as ours; one per expression."""

    def __init__(self, names: Names) -> None:
        self._names = names

    def build(self, tree: ast.expr, depth: int) -> Parsed:
        if depth > MAX_DEPTH:
            raise InputError("expression is nested too deeply")
        below = depth + 1
        match tree:
            case ast.Constant():
                return _constant(tree)
            case ast.Name() | ast.Attribute():
                return self._name(_dotted(tree))
            case ast.Compare():
                return self._chain(tree, below)
            case ast.Call():
                return self._call(tree, below)
        return self._operation(tree, below)

    def _operation(self, tree: ast.expr, depth: int) -> Parsed:
        match tree:
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                return Parsed(Not(self._truth(operand, depth)), TRUTH)
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                value = self._quantity(operand, depth)
                return replace(value, node=Negate(value.node))
            case ast.UnaryOp(op=ast.UAdd(), operand=operand):
                return self._quantity(operand, depth)
            case ast.BoolOp(op=operator, values=values):
                operands = tuple(self._truth(value, depth) for value in values)
                return Parsed((And if isinstance(operator, ast.And) else Or)(operands), TRUTH)
            case ast.BinOp(op=sign, left=left, right=right) if type(sign) in _ARITHMETIC:
                sides = self._quantity(left, depth), self._quantity(right, depth)
                return self._arithmetic(_ARITHMETIC[type(sign)], *sides)
        culprit: ast.AST = tree.op if isinstance(tree, ast.BinOp) else tree
        word = _WRITTEN.get(type(culprit), type(culprit).__name__.lower())
        raise InputError(f"'{word}' has no place in an expression")

    def _truth(self, tree: ast.expr, depth: int) -> Node:
        parsed = self.build(tree, depth)
        if not parsed.is_truth:
            text = _short(unparse(parsed.node))
            raise InputError(f"'{text}' is {_what(parsed)}; and, or, not take conditions")
        return parsed.node

    def _quantity(self, tree: ast.expr, depth: int) -> Parsed:
        """A number that one may reckon with."""
        parsed = self.build(tree, depth)
        if parsed.is_truth:
            text = _short(unparse(parsed.node))
            raise InputError(f"'{text}' is true or false; a number is needed")
        if parsed.is_tilt:
            text = _short(unparse(parsed.node))
            raise InputError(f"'{text}' is a tilt; it can only be compared with an angle limit")
        return parsed

    def _name(self, name: str) -> Parsed:
        symbol = self._names.symbols.get(name)
        if symbol is not None:
            return Parsed(Variable(name), symbol.dimension, symbol.scale, symbol.is_tilt)
        if name in self._names.barred:
            raise InputError(f"'{name}' {self._names.barred[name]}")
        if name in self._names.states:
            raise InputError(f"'{name}' is a state; write in_state({name})")
        if name in (*_FUNCTIONS, "in_state"):
            raise InputError(f"'{name}' needs arguments in brackets")
        raise InputError(f"unknown name '{name}'", nearest=nearest(name, self._names.symbols))

    def _arithmetic(self, operator: str, left: Parsed, right: Parsed) -> Parsed:
        node = Arithmetic(operator, left.node, right.node)
        constant = left.constant and right.constant
        if operator == "*":
            dimension, scale = left.dimension * right.dimension, left.scale * right.scale
        elif operator == "/":
            dimension, scale = left.dimension / right.dimension, left.scale / right.scale
        else:
            dimension, scale = self._common(node, left, right)
        return Parsed(node, dimension, scale, constant=constant)

    def _common(self, node: Node, left: Parsed, right: Parsed) -> tuple[Dimension, Fraction]:
        """Dimension and scale of two quantities that must have the same ones."""
        if self._names.literals and left.constant != right.constant:
            left = right = right if left.constant else left
        if left.dimension != right.dimension:
            raise InputError(
                f"'{_short(unparse(node))}' mixes {left.dimension} and {right.dimension}"
            )
        if left.scale != right.scale:
            raise InputError(f"'{_short(unparse(node))}' mixes units of different size")
        return left.dimension, left.scale

    def _chain(self, tree: ast.Compare, depth: int) -> Parsed:
        parts = [self.build(part, depth) for part in (tree.left, *tree.comparators)]
        found: list[Node] = []
        for operator, (left, right) in zip(tree.ops, pairwise(parts), strict=True):
            if type(operator) not in _COMPARISONS:
                raise InputError(f"'{_WRITTEN[type(operator)]}' has no place in an expression")
            found.append(self._comparison(_COMPARISONS[type(operator)], left, right))
        return Parsed(found[0] if len(found) == 1 else And(tuple(found)), TRUTH)

    def _comparison(self, operator: str, left: Parsed, right: Parsed) -> Node:
        node = Comparison(operator, left.node, right.node)
        for side in (left, right):
            if side.is_truth:
                text = _short(unparse(side.node))
                raise InputError(f"'{text}' is true or false and cannot be compared")
        if left.is_tilt or right.is_tilt:
            return self._tilt_comparison(operator, left, right)
        if not self._names.literals and left.constant != right.constant:
            number = _short(unparse((left if left.constant else right).node))
            raise InputError(
                f"'{_short(unparse(node))}' compares with the bare number {number}; "
                "declare it under [limits] and use its name"
            )
        self._common(node, left, right)
        return node

    def _tilt_comparison(self, operator: str, left: Parsed, right: Parsed) -> Node:
        first, second = self._as_cosine(left), self._as_cosine(right)
        if not (left.is_tilt and right.is_tilt) and isinstance(
            first if right.is_tilt else second, LimitCosine
        ):
            return Comparison(TURNED[operator], first, second)
        text = _short(unparse((left if left.is_tilt else right).node))
        raise InputError(
            f"'{text}' is a tilt; it can only be compared with a limit from 0 to 180 deg"
        )

    def _as_cosine(self, side: Parsed) -> Node:
        """An angle limit as its cosine; any other side as it is."""
        node = side.node
        if isinstance(node, Variable) and self._names.symbols[node.name].is_angle:
            return LimitCosine(node.name)
        return node

    def _call(self, tree: ast.Call, depth: int) -> Parsed:
        name = _dotted(tree.func)
        known = (*_FUNCTIONS, "in_state") if self._names.states else _FUNCTIONS
        if name not in known:
            raise InputError(f"unknown function '{_short(name)}'", nearest=nearest(name, known))
        if tree.keywords or any(isinstance(item, ast.Starred) for item in tree.args):
            raise InputError(f"'{name}' takes plain arguments only")
        if name == "in_state":
            return self._in_state(tree.args)
        arguments = [self._quantity(item, depth) for item in tree.args]
        if name in ("abs", "sqrt"):
            if len(arguments) != 1:
                raise InputError(f"'{name}' takes one argument, not {len(arguments)}")
            return _one_argument(name, arguments[0])
        if len(arguments) < 2:
            raise InputError(f"'{name}' takes two or more arguments, not {len(arguments)}")
        result = arguments[0]
        for following in arguments[1:]:
            node = Function(name, (result.node, following.node))
            dimension, scale = self._common(node, result, following)
            constant = result.constant and following.constant
            result = Parsed(node, dimension, scale, constant=constant)
        return result

    def _in_state(self, arguments: list[ast.expr]) -> Parsed:
        states = []
        for argument in arguments:
            state = _dotted(argument)
            if state not in self._names.states:
                near = nearest(state, self._names.states)
                raise InputError(f"unknown state '{_short(state)}'", nearest=near)
            states.append(state)
        if not states:
            raise InputError("'in_state' needs the name of a state")
        return Parsed(InState(tuple(states)), TRUTH)


def _one_argument(name: str, argument: Parsed) -> Parsed:
    node = Function(name, (argument.node,))
    if name == "abs":
        return Parsed(node, argument.dimension, argument.scale, constant=argument.constant)
    if argument.scale != 1:
        raise InputError(f"'{_short(unparse(node))}' needs a quantity in SI units")
    return Parsed(node, argument.dimension ** Fraction(1, 2), constant=argument.constant)


def _constant(tree: ast.Constant) -> Parsed:
    if isinstance(tree.value, bool):
        return Parsed(Truth(tree.value), TRUTH)
    if not isinstance(tree.value, int | float):
        raise InputError(f"'{tree.value!r}' has no place in an expression")
    try:
        number = float(tree.value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise InputError("a number in the expression is too large")
    return Parsed(Number(number), ONE, constant=True)


def _dotted(tree: ast.expr) -> str:
    """``a.b.c`` of a name with dots, or something that is no name for anything else."""
    match tree:
        case ast.Name(id=name):
            return name
        case ast.Attribute(value=value, attr=name):
            return f"{_dotted(value)}.{name}"
    return "(...)"


def _what(parsed: Parsed) -> str:
    if parsed.is_tilt:
        return "a tilt"
    return "a plain number" if parsed.dimension == ONE else f"a quantity in {parsed.dimension}"


def _short(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:56]}..."
