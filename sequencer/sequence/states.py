"""States and exits: from the file's tables to resolved data."""

from __future__ import annotations

from collections.abc import Mapping

from sequencer.documents import Loc
from sequencer.sequence.actions import Commands
from sequencer.sequence.model import Exit, Input, Loop, State
from sequencer.sequence.schema import CommonExitFile, ExitFile, SequenceFile, StateFile
from sequencer.sequence.scope import Scope
from sequencer.sequence.ticks import ticks

__all__ = ["resolve_states"]

_LONGEST_EXIT_NAME = 80


def resolve_states(
    scope: Scope,
    file: SequenceFile,
    commands: Commands,
    inputs: Mapping[str, Input],
    loops: Mapping[str, Loop],
) -> tuple[dict[str, State], tuple[Exit, ...]]:
    """[states] and [[common_exits]]"""
    exits = _Exits(scope, file, commands, inputs)
    states = {}
    for name, table in file.states.items():
        loc: Loc = ("states", name)
        _check_loops(scope, loc, table, loops)
        states[name] = State(
            name=name,
            phase=table.phase,
            on_entry=commands.resolve((*loc, "on_entry"), table.on_entry),
            on_leave=commands.resolve((*loc, "on_leave"), table.on_leave),
            exits=tuple(
                exits.own(name, index, exit_table) for index, exit_table in enumerate(table.exits)
            ),
            loops=table.loops,
            line=scope.document.line(loc) or 0,
        )
    common = tuple(exits.common(index, table) for index, table in enumerate(file.common_exits))
    return states, common


def _check_loops(scope: Scope, loc: Loc, table: StateFile, loops: Mapping[str, Loop]) -> None:
    driven: dict[str, str] = {}
    for index, name in enumerate(table.loops):
        place = (*loc, "loops", index)
        scope.choose(place, "loop", name, loops)
        for _, servo in loops[name].outputs:
            if servo in driven:
                other = driven[servo]
                what = "stands here twice" if other == name else f"and '{other}' drive '{servo}'"
                scope.fail(place, f"loop '{name}' {what}")
            driven[servo] = name


class _Exits:
    """Resolves exits; keeps their names unique over the whole file."""

    def __init__(
        self, scope: Scope, file: SequenceFile, commands: Commands, inputs: Mapping[str, Input]
    ) -> None:
        self._scope = scope
        self._commands = commands
        self._inputs = inputs
        self._rate_hz = file.sequence.rate_hz
        self._taken = self._given_names(file)

    def _given_names(self, file: SequenceFile) -> set[str]:
        """Names that the file gives. Raises InputError for one that is given twice."""
        given: list[tuple[Loc, str]] = [
            (("states", state, "exits", index, "name"), table.name)
            for state, tables in file.states.items()
            for index, table in enumerate(tables.exits)
            if table.name is not None
        ]
        given += [
            (("common_exits", index, "name"), table.name)
            for index, table in enumerate(file.common_exits)
        ]
        seen: dict[str, Loc] = {}
        for loc, name in sorted(given, key=lambda entry: self._scope.document.line(entry[0]) or 0):
            if name != " ".join(name.split()) or not name or not name.isprintable():
                self._scope.fail(loc, "the name of an exit must be one line of printable text")
            if len(name) > _LONGEST_EXIT_NAME:
                self._scope.fail(loc, f"exit name is longer than {_LONGEST_EXIT_NAME} characters")
            if name in seen:
                first = self._scope.document.line(seen[name])
                self._scope.fail(loc, f"an exit named '{name}' stands already in line {first}")
            seen[name] = loc
        return set(seen)

    def own(self, state: str, index: int, table: ExitFile) -> Exit:
        name = table.name
        if name is None:
            name = self._unique(f"{state} to {table.to}")
        loc: Loc = ("states", state, "exits", index)
        return self._exit(loc, name, (state,), table, common=False)

    def common(self, index: int, table: CommonExitFile) -> Exit:
        loc: Loc = ("common_exits", index)
        for number, state in enumerate(table.sources):
            self._scope.choose((*loc, "from", number), "state", state, self._scope.states)
        self._scope.distinct((*loc, "from"), table.sources)
        return self._exit(loc, table.name, table.sources, table, common=True)

    def _unique(self, name: str) -> str:
        chosen, number = name, 1
        while chosen in self._taken:
            number += 1
            chosen = f"{name} {number}"
        self._taken.add(chosen)
        return chosen

    def _exit(
        self,
        loc: Loc,
        name: str,
        sources: tuple[str, ...],
        table: ExitFile | CommonExitFile,
        *,
        common: bool,
    ) -> Exit:
        return Exit(
            name=name,
            sources=sources,
            to=self._scope.choose((*loc, "to"), "state", table.to, self._scope.states),
            condition=self._scope.condition((*loc, "when"), table.when),
            hold_ticks=self._hold(loc, table),
            fresh=table.fresh,
            actions=self._commands.resolve((*loc, "do"), table.do),
            common=common,
            line=self._scope.document.line(loc) or 0,
            text=" ".join(table.when.split()),
        )

    def _hold(self, loc: Loc, table: ExitFile | CommonExitFile) -> int:
        """Consecutive true ticks (or refreshes of `fresh`) that the exit takes."""
        if table.fresh is None:
            if table.hold_samples is not None:
                self._scope.fail((*loc, "hold_samples"), "'hold_samples' needs 'fresh'", "hold_s")
            return ticks(table.hold_s or 0.0, self._rate_hz)
        self._scope.choose((*loc, "fresh"), "input", table.fresh, self._inputs)
        if table.hold_s is not None:
            what = "an exit holds for 'hold_s' or for 'hold_samples' of 'fresh', not both"
            self._scope.fail((*loc, "hold_s"), what)
        if table.hold_samples is None:
            self._scope.fail((*loc, "fresh"), "'fresh' needs 'hold_samples'")
        return table.hold_samples
