"""Reads a sequence file: every name resolved, every unit checked, everything in SI."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar

from sequencer.documents import Document, read_document
from sequencer.sequence.actions import Commands, resolve_functions, resolve_inhibits
from sequencer.sequence.model import Acceptance, Estimate, Flag, Publication, Sequence
from sequencer.sequence.quantities import (
    resolve_estimates,
    resolve_flags,
    resolve_inputs,
    resolve_limits,
    resolve_loops,
)
from sequencer.sequence.schema import SequenceFile
from sequencer.sequence.scope import Scope
from sequencer.sequence.states import resolve_states
from sequencer.sequence.ticks import ticks, whole_ticks

__all__ = ["load_sequence", "resolve_sequence"]

_T = TypeVar("_T")


def load_sequence(path: str | Path) -> Sequence:
    """The sequence in the file at `path`.

    Raises InputError (file, line, what, nearest valid choice) for the first thing that is wrong.
    """
    return resolve_sequence(read_document(path))


def resolve_sequence(document: Document) -> Sequence:
    """The sequence in a document that has been read already. Raises InputError."""
    file = document.validate(SequenceFile)
    scope = Scope(document, file)
    head = file.sequence
    # in the order in which they may refer to each other
    inputs = resolve_inputs(scope, file)
    limits = resolve_limits(scope, file)
    flags = resolve_flags(scope, file)
    estimates = resolve_estimates(scope, file, inputs)
    inhibits = resolve_inhibits(scope, file)
    functions = resolve_functions(scope, file, inhibits)
    loops = resolve_loops(scope, file, estimates, functions)
    commands = Commands(scope, functions, flags)
    states, common_exits = resolve_states(scope, file, commands, inputs, loops)
    return Sequence(
        name=head.name,
        about=head.about,
        path=document.path,
        rate_hz=head.rate_hz,
        boot_ticks=ticks(head.boot_s, head.rate_hz, least=0),
        start=scope.choose(("sequence", "start"), "state", head.start, states),
        inputs=_fixed(inputs),
        limits=_fixed(limits),
        flags=_fixed(flags),
        estimates=_fixed(estimates),
        inhibits=_fixed(inhibits),
        functions=_fixed(functions),
        loops=_fixed(loops),
        states=_fixed(states),
        common_exits=common_exits,
        publication=_publication(scope, file, flags, estimates),
        digest=document.digest,
        accepted=_accepted(scope, file),
    )


def _accepted(scope: Scope, file: SequenceFile) -> tuple[Acceptance, ...]:
    """[[accepted]]; which rules there are is known to `sequencer.lint` alone."""
    found = []
    for index, table in enumerate(file.accepted):
        loc = ("accepted", index)
        if not table.reason.strip():
            scope.fail((*loc, "reason"), "what is accepted needs a reason")
        about = (table.about,) if isinstance(table.about, str) else table.about
        if not about:
            scope.fail((*loc, "about"), "what is accepted must be named")
        line = scope.document.line(loc) or 0
        found.append(Acceptance(table.rule, about, " ".join(table.reason.split()), line))
    return tuple(found)


def _publication(
    scope: Scope, file: SequenceFile, flags: Mapping[str, Flag], estimates: Mapping[str, Estimate]
) -> Publication | None:
    table = file.publish
    if table is None:
        return None
    choices = [*flags, *estimates]
    for index, name in enumerate(table.fields):
        place = ("publish", "fields", index)
        scope.choose(place, "flag or estimate", name, choices)
        if name in estimates and estimates[name].is_cosine:
            scope.fail(place, f"'{name}' is a tilt, kept as its cosine, and cannot be published")
    scope.distinct(("publish", "fields"), table.fields)
    period = whole_ticks(table.period_s, file.sequence.rate_hz)
    if period is None:
        scope.fail(
            ("publish", "period_s"),
            f"{table.period_s} s is no whole number of ticks at {file.sequence.rate_hz} Hz",
        )
    return Publication(period, table.fields)


def _fixed(table: dict[str, _T]) -> Mapping[str, _T]:
    return MappingProxyType(table)
