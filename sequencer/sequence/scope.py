"""The names of one sequence file: which exist, what may be read where, errors with their place."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from typing import NoReturn

from sequencer.documents import Document, Loc
from sequencer.errors import InputError, nearest
from sequencer.expressions import Node
from sequencer.parsing import RESERVED, Names, Parsed, Symbol, parse, parse_condition
from sequencer.sequence.schema import SequenceFile
from sequencer.units import Dimension, Unit, unit

__all__ = ["Scope"]

_NAME = re.compile(r"[a-z][a-z0-9_]*", re.ASCII)
_LONGEST_NAME = 60

#: Tables of the file whose keys share one set of names, and what one of them is called. States
#: stand by themselves: the language never leaves open whether a word is a state.
_KINDS = {
    "inputs": "an input",
    "limits": "a limit",
    "flags": "a flag",
    "estimates": "an estimate",
    "inhibits": "an inhibit",
    "functions": "a function",
    "loops": "a loop",
}

_SECOND = unit("s").dimension
_ANGULAR_RATE = unit("rad/s").dimension


class Scope:
    """Resolves names and expressions of one file.

    Made from the whole file, which fixes the names; symbols are added with `declare` as their
    units become known, so that an estimate sees only those above it.
    """

    def __init__(self, document: Document, file: SequenceFile) -> None:
        self.document = document
        self.states: tuple[str, ...] = tuple(file.states)
        self._symbols: dict[str, Symbol] = {"time_in_state": Symbol(_SECOND)}
        self._barred = self._check_names(file)

    def _check_names(self, file: SequenceFile) -> dict[str, str]:
        """Checks every declared name; returns, for each, why it cannot be read (yet)."""
        self.check_name(("sequence", "name"), file.sequence.name)
        for name in file.states:
            self.check_name(("states", name), name)
        entries = [
            (self.document.line((table, name)) or 0, table, name)
            for table in _KINDS
            for name in getattr(file, table)
        ]
        seen: dict[str, tuple[int, str]] = {}
        barred = {}
        for line, table, name in sorted(entries, key=lambda entry: entry[0]):
            self.check_name((table, name), name)
            if name in seen:
                first, kind = seen[name]
                self.fail((table, name), f"'{name}' is already {_KINDS[kind]} (line {first})")
            seen[name] = line, table
            if table == "estimates":
                barred[name] = f"is an estimate declared further down (line {line})"
            elif table in ("inhibits", "functions", "loops"):
                barred[name] = f"is {_KINDS[table]} and has no value to read"
        return barred

    def check_name(self, loc: Loc, name: str) -> None:
        """Raises InputError unless `name` may be a name."""
        if name in RESERVED:
            self.fail(loc, f"'{name}' is a word of the expression language, not free for a name")
        if _NAME.fullmatch(name) is None or len(name) > _LONGEST_NAME:
            plain = re.sub(r"[^a-z0-9_]+", "_", name.lower()).strip("_")
            near = plain if _NAME.fullmatch(plain) and len(plain) <= _LONGEST_NAME else None
            shown = name if len(name) <= _LONGEST_NAME else f"{name[:_LONGEST_NAME]}..."
            self.fail(
                loc,
                f"'{shown}' is no name: lower-case letters, digits and _, a letter first, at most "
                f"{_LONGEST_NAME}",
                near,
            )

    def fail(self, loc: Iterable[str | int], what: str, near: str | None = None) -> NoReturn:
        """Raises InputError at `loc`."""
        raise self.document.error(loc, what, nearest=near)

    def choose(self, loc: Loc, what: str, name: str, choices: Collection[str]) -> str:
        """`name`, if it is among `choices`. Raises InputError with the nearest one otherwise."""
        if name not in choices:
            self._unknown(loc, what, name, choices)
        return name

    def _unknown(self, loc: Loc, what: str, name: str, choices: Collection[str]) -> NoReturn:
        near = nearest(name, choices)
        some = ", ".join(list(choices)[:8])
        listed = "" if near else f" (there is {some})" if choices else " (there is none)"
        self.fail(loc, f"unknown {what} '{name}'{listed}", near)

    def distinct(self, loc: Loc, names: Iterable[str]) -> None:
        """Raises InputError if a name stands twice in a list."""
        seen: set[str] = set()
        for index, name in enumerate(names):
            if name in seen:
                self.fail((*loc, index), f"'{name}' stands here twice")
            seen.add(name)

    def unit(self, loc: Loc, symbol: str) -> Unit:
        """The unit that a symbol stands for. Raises InputError if it means nothing."""
        try:
            return unit(symbol)
        except InputError as error:
            raise self._placed(error, loc) from None

    def convert(self, loc: Loc, value: float, symbol: Unit, *, span: bool = False) -> float:
        """A number of the file in SI; `span` for differences. Raises InputError if too large."""
        try:
            return symbol.span_to_si(value) if span else symbol.to_si(value)
        except InputError as error:
            raise self._placed(error, loc) from None

    def declare(self, name: str, symbol: Symbol) -> None:
        """From now on expressions may read `name`."""
        self._symbols[name] = symbol
        self._barred.pop(name, None)

    def expression(self, loc: Loc, text: str, *, own: str | None = None) -> Parsed:
        """Understands an expression; `own` is the estimate that it belongs to."""
        barred = self._barred
        if own is not None:
            barred = {**barred, own: "is the estimate itself and cannot be read here"}
        try:
            return parse(text, Names(self._symbols, self.states, barred))
        except InputError as error:
            raise self._placed(error, loc) from None

    def condition(self, loc: Loc, text: str) -> Node:
        """Understands an expression that must be true or false."""
        try:
            return parse_condition(text, Names(self._symbols, self.states, self._barred))
        except InputError as error:
            raise self._placed(error, loc) from None

    def argument(
        self, loc: Loc, wants: str, text: str, *, own: str | None = None
    ) -> tuple[Node, Dimension]:
        """Understands a block's argument: "truth", "number", "angular rate" or "any"."""
        parsed = self.expression(loc, text, own=own)
        key = next(str(part) for part in reversed(loc) if isinstance(part, str))
        if parsed.is_tilt:
            self.fail(loc, f"'{key}': a tilt can only be compared with an angle limit")
        if wants == "truth" and not parsed.is_truth:
            self.fail(loc, f"'{key}' must be a condition, not a quantity in {parsed.dimension}")
        if wants in ("number", "angular rate") and parsed.is_truth:
            self.fail(loc, f"'{key}' must be a number, not true or false")
        if wants == "angular rate" and parsed.dimension != _ANGULAR_RATE:
            self.fail(loc, f"'{key}' must be in rad/s or deg/s, not in {parsed.dimension}")
        return parsed.node, parsed.dimension

    def _placed(self, error: InputError, loc: Loc) -> InputError:
        return error.at(self.document.path, self.document.line(loc))
