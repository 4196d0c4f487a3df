"""Tables of a file -> requirements, with everything in them understood and checked."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping
from pathlib import Path
from typing import Protocol

from sequencer.checks.conditions import Condition, read_condition
from sequencer.checks.demands import (
    Answer,
    Count,
    Demand,
    ExactlyOne,
    Holds,
    Presence,
    Requirement,
    Window,
)
from sequencer.checks.happenings import Happening, read_happening
from sequencer.checks.scopes import Scope
from sequencer.checks.tables import KEYS, RequirementsFile, RequirementTable, ScopeTable
from sequencer.documents import Document, Loc, read_document
from sequencer.errors import InputError
from sequencer.record import SIGNALS

__all__ = ["Complain", "build_requirement", "build_requirements", "load_requirements"]


class Complain(Protocol):
    """Makes the error that points at a place inside the table (or list of tables)."""

    def __call__(self, loc: Loc, what: str, *, nearest: str | None = None) -> InputError:
        """The error; the caller raises it."""


def load_requirements(
    file: str | Path | Document,
    signals: Mapping[str, str] | None = None,
    known_events: Collection[str] | None = None,
) -> tuple[Requirement, ...]:
    """The requirements in a file.

    file          where it is, or what `read_document` made of it
    signals       name -> unit of what conditions may read; by default the world's
    known_events  labels that can come at all; by default any of the vocabulary's kinds
    Raises InputError for the first fault.
    """
    document = file if isinstance(file, Document) else read_document(file)
    tables = document.validate(RequirementsFile).requirements

    def error(loc: Loc, what: str, *, nearest: str | None = None) -> InputError:
        return document.error(("requirements", *loc), what, nearest=nearest)

    return build_requirements(tables, error, signals, known_events=known_events)


def build_requirements(
    tables: Iterable[RequirementTable],
    error: Complain,
    signals: Mapping[str, str] | None = None,
    *,
    known_events: Collection[str] | None = None,
    taken: Collection[str] = (),
) -> tuple[Requirement, ...]:
    """A list of tables as requirements; `error` gets places that begin with the index.

    `taken` holds names that are in use already (by a shared file). Raises InputError.
    """
    if signals is None:
        signals = {name: signal.unit for name, signal in SIGNALS.items()}
    names = set(taken)
    found = []
    for index, table in enumerate(tables):

        def within(
            loc: Loc, what: str, *, nearest: str | None = None, index: int = index
        ) -> InputError:
            return error((index, *loc), what, nearest=nearest)

        if table.name in names:
            raise within(("name",), f"there are two requirements named '{table.name}'")
        names.add(table.name)
        found.append(build_requirement(table, within, signals, known_events=known_events))
    return tuple(found)


def build_requirement(
    table: RequirementTable,
    error: Complain,
    signals: Mapping[str, str],
    *,
    known_events: Collection[str] | None = None,
) -> Requirement:
    """One table as a requirement. Raises what `error` makes of the first fault."""
    return _Builder(table, error, signals, known_events).build()


class _Builder:
    def __init__(
        self,
        table: RequirementTable,
        error: Complain,
        signals: Mapping[str, str],
        known_events: Collection[str] | None,
    ) -> None:
        self._table = table
        self._error = error
        self._signals = signals
        self._known_events = known_events

    def build(self) -> Requirement:
        self._check_keys()
        table = self._table
        scope = Scope() if table.scope is None else self._scope(table.scope)
        return Requirement(
            table.name, table.reason, table.pattern, self._demand(), scope, table.may_rest
        )

    def _check_keys(self) -> None:
        """Every key belongs to the pattern, and of each group exactly one is given."""
        pattern = self._table.pattern
        groups, beside = KEYS[pattern]
        common = ("name", "reason", "pattern", "scope", "may_rest")
        allowed = {*common, *beside, *(key for group in groups for key in group)}
        given = [key for key in type(self._table).model_fields if self._has(key)]
        for key in given:
            if key not in allowed:
                listed = ", ".join(key for group in groups for key in group)
                raise self._error(
                    (key,), f"'{key}' does not belong to '{pattern}', which takes {listed}"
                )
        for group in groups:
            chosen = [key for key in group if self._has(key)]
            if not chosen:
                raise self._error(("pattern",), f"'{pattern}' needs {' or '.join(group)}")
            if len(chosen) > 1:
                raise self._error((chosen[1],), f"give either {' or '.join(chosen)}, not both")

    def _has(self, key: str) -> bool:
        return getattr(self._table, key) is not None

    def _demand(self) -> Demand:
        table, window = self._table, self._window()
        match table.pattern:
            case "absence" | "existence":
                absent = table.pattern == "absence"
                if table.condition is not None:
                    condition = self._condition(("condition",), table.condition)
                    return Holds(condition, absent=absent, once=not absent, window=window)
                return Presence(self._event(), absent=absent, window=window)
            case "bounded_existence":
                return self._count(window)
            case "universality":
                return Holds(self._condition(("condition",), table.condition), window=window)
            case "exactly_one":
                return self._exactly_one(window)
        return self._answer(window)

    def _answer(self, window: Window) -> Answer:
        backwards = self._table.pattern == "precedence"
        asks = ("event", "condition") if backwards else ("when", "when_condition")
        gives = (
            ("only_after", "only_after_condition")
            if backwards
            else ("then", "then_condition", "then_throughout")
        )
        ask = next(key for key in asks if self._has(key))
        give = next(key for key in gives if self._has(key))
        if ask == asks[1] and give == gives[0]:
            text = getattr(self._table, ask)
            raise self._error(
                (ask,), f"'{give}' is about events: write {asks[0]} = \"becomes {text}\" instead"
            )
        trigger: Happening | Condition
        answer: Happening | Condition
        if ask == asks[0]:
            trigger = self._happening((ask,), getattr(self._table, ask))
        else:
            trigger = self._condition((ask,), getattr(self._table, ask), measured=False)
        if give == gives[0]:
            answer = self._happening((give,), getattr(self._table, give))
        else:
            answer = self._condition((give,), getattr(self._table, give))
        return Answer(trigger, answer, backwards, give == "then_throughout", window)

    def _exactly_one(self, window: Window) -> ExactlyOne:
        conditions: list[Condition] = []
        for number, text in enumerate(self._table.of or ()):
            condition = self._condition(("of", number), text, measured=False)
            if any(condition.node == other.node for other in conditions):
                raise self._error(("of", number), f"'{condition.text}' stands here twice")
            conditions.append(condition)
        return ExactlyOne(tuple(conditions), self._table.gap_s or 0.0, window)

    def _count(self, window: Window) -> Count:
        table = self._table
        if table.at_least is None and table.at_most is None:
            raise self._error(
                ("pattern",), "'bounded_existence' needs at_least or at_most, or both"
            )
        least = table.at_least or 0
        most = math.inf if table.at_most is None else table.at_most
        if least > most:
            raise self._error(("at_least",), f"at_least is {least}, more than at_most ({most})")
        return Count(self._event(), least, most, window)

    def _window(self) -> Window:
        given = self._table.within_s
        if given is None:
            return Window()
        low, high = given
        if not math.isfinite(low) or math.isnan(high):
            raise self._error(("within_s",), "within_s begins at a number of seconds")
        if low > high:
            raise self._error(("within_s",), f"within_s runs backwards ({low:g} > {high:g})")
        return Window(low, high)

    def _scope(self, table: ScopeTable) -> Scope:
        given = tuple(
            key for key in ("before", "after", "until", "between") if self._in(table, key)
        )
        if given not in (("before",), ("after",), ("between",), ("after", "until")):
            listed = ", ".join(given) or "nothing"
            raise self._error(
                ("scope",),
                "a scope is before, after, between, or after with until "
                f"(given: {listed}); without one a requirement holds in the whole flight",
            )
        if table.between is not None:
            opens, closes = (
                self._happening(("scope", "between", i), texts)
                for i, texts in enumerate(table.between)
            )
            return Scope(opens, closes)
        return Scope(
            None if table.after is None else self._happening(("scope", "after"), table.after),
            self._closing(table),
            weak=table.until is not None,
        )

    def _closing(self, table: ScopeTable) -> Happening | None:
        for key in ("before", "until"):
            if self._in(table, key):
                return self._happening(("scope", key), getattr(table, key))
        return None

    @staticmethod
    def _in(table: ScopeTable, key: str) -> bool:
        return getattr(table, key) is not None

    def _event(self) -> Happening:
        return self._happening(("event",), self._table.event or [])

    def _happening(self, loc: Loc, texts: str | list[str]) -> Happening:
        read: Callable[[], Happening] = lambda: read_happening(  # noqa: E731
            texts, self._signals, self._known_events
        )
        try:
            return read()
        except InputError as failure:
            raise self._error(loc, failure.what, nearest=failure.nearest) from None

    def _condition(self, loc: Loc, text: str | None, *, measured: bool = True) -> Condition:
        try:
            condition = read_condition(text or "", self._signals)
        except InputError as failure:
            raise self._error(loc, failure.what, nearest=failure.nearest) from None
        if measured and len(condition.units) > 1:
            listed = " and ".join(condition.units)
            raise self._error(
                loc,
                f"'{condition.text}' compares {listed}, so its margin has no unit; split it",
            )
        return condition
