"""The [[crew]] and [[faults]] of a scenario, with their names looked up."""

from __future__ import annotations

import math
from collections.abc import Mapping

from sequencer.documents import Document, Loc
from sequencer.errors import InputError, nearest
from sequencer.scenario.computer_faults import COMPUTER_FAULTS, resolve_computer_fault
from sequencer.scenario.model import CrewAction, PlannedFault
from sequencer.scenario.names import Names
from sequencer.scenario.schema import CrewTable, FaultTable, Timed
from sequencer.scenario.site import Site
from sequencer.scenario.trigger import Trigger
from sequencer.world.faults import FAULTS, resolve_fault
from sequencer.world.places import Places

__all__ = ["crew_actions", "planned_faults", "world_faults"]


def world_faults(
    document: Document, tables: list[FaultTable], site: Site, world_hz: int
) -> tuple[list[tuple[int, int, float]], dict[int, int]]:
    """Faults that act in the world, as its rows, and which row a table has: {table: row}."""
    resolved: list[tuple[int, int, float]] = []
    rows: dict[int, int] = {}
    for number, table in enumerate(tables):
        if table.kind in COMPUTER_FAULTS:
            continue
        try:
            place = site.full_name(table.place)
            other = None if table.other is None else site.full_name(table.other)
            row = resolve_fault(table.kind, place, table.size, site.reach, other, world_hz=world_hz)
        except InputError as error:
            raise _in_fault(document, number, error, table.kind) from None
        rows[number] = len(resolved)
        resolved.append(row)
    return resolved, rows


def planned_faults(
    names: Names, tables: list[FaultTable], rows: Mapping[int, int], site: Site
) -> tuple[PlannedFault, ...]:
    """All faults, with their moments; `rows` is what `world_faults` gave."""
    document = names.document
    faults: list[PlannedFault] = []
    for number, table in enumerate(tables):
        place: Loc = ("faults", number)
        if any(fault.name == table.name for fault in faults):
            raise document.error((*place, "name"), f"two faults are named '{table.name}'")
        size = 0.0
        if table.kind in COMPUTER_FAULTS:
            try:
                size = resolve_computer_fault(
                    table.kind, table.place, table.size, names.sequences, table.other
                )
            except InputError as error:
                raise _in_fault(document, number, error, table.kind) from None
        trigger = _trigger(names, place, table)
        row = rows.get(number)
        hit = table.place if row is None else site.full_name(table.place)
        faults.append(PlannedFault(table.name, table.kind, hit, row, trigger, size))
    return tuple(faults)


def crew_actions(names: Names, tables: list[CrewTable], places: Places) -> tuple[CrewAction, ...]:
    """What the crew does, in the order of the file."""
    actions = []
    for number, table in enumerate(tables):
        place: Loc = ("crew", number)
        if table.switch not in places.switches:
            where = "in the vehicle" if names.flies else "among the constants"
            raise names.document.error(
                (*place, "switch"),
                f"no switch '{table.switch}' {where}",
                nearest=nearest(table.switch, places.switches),
            )
        index = places.switches[table.switch]
        actions.append(CrewAction(table.switch, index, table.on, _trigger(names, place, table)))
    return tuple(actions)


def _trigger(names: Names, place: Loc, table: Timed) -> Trigger:
    if table.event is not None:
        names.label((*place, "event"), table.event)
    for key in ("above_m", "below_m"):
        if getattr(table, key) is not None and not names.flies:
            what = "nothing flies where the inputs come from a log, so there is no height"
            raise names.document.error((*place, key), what)
    state = None if table.state is None else names.state((*place, "state"), table.state)
    lasts, until, while_in = math.inf, None, False
    if isinstance(table, FaultTable):
        lasts = math.inf if table.for_s is None else table.for_s
        until, while_in = table.until, table.while_in
        if until is not None:
            names.label((*place, "until"), until)
    return Trigger(
        at_s=table.at_s,
        event=table.event,
        state=state,
        above_m=table.above_m,
        below_m=table.below_m,
        after_s=table.after_s,
        for_s=lasts,
        until=until,
        while_in=while_in,
    )


def _in_fault(document: Document, number: int, error: InputError, kind: str) -> InputError:
    """An error of the functions that resolve a fault, put at the key that it is about."""
    near = error.nearest
    key = "place"
    if kind not in FAULTS and kind not in COMPUTER_FAULTS:
        key = "kind"
        near = nearest(kind, [*FAULTS, *COMPUTER_FAULTS])
    elif "size" in error.what:
        key = "size"
    elif "other" in error.what:
        key = "other"
    return document.error(("faults", number, key), error.what, nearest=near)
