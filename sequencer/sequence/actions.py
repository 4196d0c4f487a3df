"""Functions, their inhibits, and the commands that states and exits give."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from sequencer.documents import Loc
from sequencer.errors import nearest
from sequencer.sequence.model import FUNCTION_VERBS, Command, Flag, Function, Inhibit
from sequencer.sequence.schema import PulsedFile, SequenceFile, ServoFile
from sequencer.sequence.scope import Scope
from sequencer.sequence.ticks import ticks
from sequencer.units import unit

__all__ = ["Commands", "resolve_functions", "resolve_inhibits"]

_VERBS = tuple(dict.fromkeys((*FUNCTION_VERBS.values(), "cut", "set", "clear")))


def resolve_inhibits(scope: Scope, file: SequenceFile) -> dict[str, Inhibit]:
    """[inhibits]"""
    found = {}
    for name, table in file.inhibits.items():
        loc: Loc = ("inhibits", name)
        if not table.reason.strip():
            scope.fail((*loc, "reason"), f"inhibit '{name}' needs a reason")
        condition = scope.condition((*loc, "in_place_when"), table.in_place_when)
        found[name] = Inhibit(name, condition, table.reason)
    return found


def resolve_functions(
    scope: Scope, file: SequenceFile, inhibits: Mapping[str, Inhibit]
) -> dict[str, Function]:
    """[functions]"""
    found = {}
    for name, table in file.functions.items():
        loc: Loc = ("functions", name)
        if isinstance(table, ServoFile):
            found[name] = _servo(scope, loc, name, table)
        else:
            found[name] = _pulsed(scope, loc, name, table, inhibits, file.sequence.rate_hz)
    return found


def _pulsed(
    scope: Scope,
    loc: Loc,
    name: str,
    table: PulsedFile,
    inhibits: Mapping[str, Inhibit],
    rate_hz: int,
) -> Function:
    place = (*loc, "inhibits")
    for index, inhibit in enumerate(table.inhibits):
        scope.choose((*place, index), "inhibit", inhibit, inhibits)
    scope.distinct(place, table.inhibits)
    independent = {inhibits[inhibit].condition for inhibit in table.inhibits}
    if table.kind == "igniter" and len(independent) < 2:
        has = "one independent inhibit" if independent else "no inhibit"
        what = f"igniter '{name}' has {has}; whatever lights a motor needs at least two"
        scope.fail(place, what)
    return Function(name, table.kind, ticks(table.pulse_s, rate_hz), table.inhibits)


def _servo(scope: Scope, loc: Loc, name: str, table: ServoFile) -> Function:
    if (table.positions is None) == (table.positions_deg is None):
        scope.fail(loc, f"servo '{name}' needs either positions_deg or positions (0 to 1)")
    key = "positions" if table.positions_deg is None else "positions_deg"
    written = table.positions if table.positions_deg is None else table.positions_deg
    assert written is not None  # noqa: S101 - one of the two is, as checked above
    for position in written:
        scope.check_name((*loc, key, position), position)
    scope.choose((*loc, "start"), "position", table.start, written)
    size = unit("1") if table.positions_deg is None else unit("deg")
    positions = tuple((position, size.to_si(value)) for position, value in written.items())
    return Function(name, "servo", positions=positions, start=table.start)


@dataclass(frozen=True, slots=True)
class Commands:
    """Understands the commands of one file: "fire main_chute", "move legs out", "set lifted"."""

    scope: Scope
    functions: Mapping[str, Function]
    flags: Mapping[str, Flag]

    def resolve(self, loc: Loc, texts: tuple[str, ...]) -> tuple[Command, ...]:
        """The list of commands at `loc`. Raises InputError for one that means nothing."""
        return tuple(self._command((*loc, index), text) for index, text in enumerate(texts))

    def _command(self, loc: Loc, text: str) -> Command:
        words = text.split()
        if not words:
            self.scope.fail(loc, "empty command")
        verb = self.scope.choose(loc, "command", words[0], _VERBS)
        wanted = 3 if verb == "move" else 2
        if len(words) != wanted:
            form = "move SERVO POSITION" if verb == "move" else f"{verb} NAME"
            self.scope.fail(loc, f"'{_short(text)}' is not of the form '{form}'")
        name = words[1]
        if verb in ("set", "clear"):
            return Command(verb, self.scope.choose(loc, "flag", name, self.flags))
        self.scope.choose(loc, "function", name, self._known(verb, name))
        function = self.functions[name]
        own = FUNCTION_VERBS[function.kind]
        if verb != own and (verb != "cut" or function.kind == "servo"):
            self._wrong_verb(loc, verb, function, own)
        if verb != "move":
            return Command(verb, name)
        positions = [position for position, _ in function.positions]
        return Command(verb, name, self.scope.choose(loc, "position", words[2], positions))

    def _known(self, verb: str, name: str) -> Collection[str]:
        """All functions, or, for a better suggestion, those that the verb fits."""
        if name in self.functions:
            return self.functions
        fitting = [
            function.name
            for function in self.functions.values()
            if verb == FUNCTION_VERBS[function.kind] or (verb == "cut" and function.pulse_ticks)
        ]
        return fitting if nearest(name, fitting) else self.functions

    def _wrong_verb(self, loc: Loc, verb: str, function: Function, own: str) -> None:
        article = "an" if function.kind[0] in "aeiou" else "a"
        near = f"{own} {function.name}" if function.kind != "servo" else None
        self.scope.fail(
            loc, f"'{function.name}' is {article} {function.kind}, which knows no '{verb}'", near
        )


def _short(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:56]}..."
