"""The table "fault by phase": its rows and columns, and which cells a scenario says it covers."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from sequencer.documents import Document, Loc
from sequencer.errors import nearest
from sequencer.scenario.computer_faults import COMPUTER_FAULTS
from sequencer.scenario.schema import CoversTable, FaultTable
from sequencer.world.faults import FAULTS

__all__ = ["ANY", "GROUPS", "PHASES", "WITHOUT_FAULT", "Cell", "read_covers", "row_groups"]

#: phase that stands for all of them
ANY = "any"

#: columns: word of the file -> (heading of a narrow table, what it is)
PHASES: Mapping[str, tuple[str, str]] = {
    "arming": ("arm", "before the count, tests on the ground included"),
    "countdown": ("cnt", "the count, with its holds"),
    "ignition": ("ign", "from T-0 until the vehicle is let go"),
    "abort": ("abo", "after an abort on the pad: clamped, then waiting"),
    "ascent": ("asc", "under the thrust of the cluster"),
    "coast": ("cst", "from burnout to the parting of the stages"),
    "staging": ("stg", "while the stages part"),
    "deploy": ("dep", "from there over the top, with what unfolds"),
    "descent": ("dsc", "falling, until the landing motors are fired"),
    "landing_burn": ("lbn", "from the firing of the landing motors to the ground"),
    "recovery": ("rec", "under the parachute, from the command that brings it out"),
    "touchdown": ("tch", "on the ground again, until it is safe and fetched"),
    ANY: ("any", "the whole flight"),
}

#: rows of scenarios that are about something else than a fault: word -> what it is
WITHOUT_FAULT: Mapping[str, str] = {
    "none": "everything works",
    "crew": "what people at the pad do",
    "weather": "wind, turbulence, heat and cold",
    "wiring": "the same vehicle, connected in another way",
    "replay": "a recorded log in place of the world",
}

#: what groups of rows are called, in their order
GROUPS = (
    "igniter",
    "motor",
    "channel",
    "battery",
    "computer",
    "sensor",
    "mechanism",
    "pad",
    "link",
    "without a fault",
)

_BY_PLACE = {
    "load": "igniter",
    "motor": "motor",
    "channel": "channel",
    "sensor": "sensor",
    "hold_down": "pad",
}


@dataclass(frozen=True, slots=True, order=True)
class Cell:
    """One cell of the table: a kind of fault (or a word of WITHOUT_FAULT) in a phase."""

    fault: str
    phase: str


def row_groups() -> dict[str, list[str]]:
    """Group -> its rows; every kind of fault that a scenario can name is in one of them."""
    groups: dict[str, list[str]] = {group: [] for group in GROUPS}
    for kind, row in FAULTS.items():
        if row.place == "computer":
            group = "battery" if kind.startswith("battery") else "computer"
        else:
            group = _BY_PLACE.get(row.place, "mechanism")
        groups[group].append(kind)
    for kind, entry in COMPUTER_FAULTS.items():
        link = entry.place != "computer" or kind.startswith("link")
        groups["link" if link else "computer"].append(kind)
    groups[GROUPS[-1]] += WITHOUT_FAULT
    return groups


def read_covers(
    document: Document, covers: CoversTable | list[CoversTable], faults: list[FaultTable]
) -> tuple[Cell, ...]:
    """The cells that a scenario covers, in the order of the file.

    Raises InputError for an unknown word, a cell that stands there twice, and a kind of fault that
    the scenario does not have.
    """
    place: Loc = ("scenario", "covers")
    listed = covers if isinstance(covers, list) else [covers]
    if not listed:
        raise document.error(place, "'scenario.covers' must not be empty")
    planned = {fault.kind for fault in faults}
    found: list[Cell] = []
    for number, table in enumerate(listed):
        here: Loc = (*place, number) if isinstance(covers, list) else place
        cell = Cell(table.fault, table.phase)
        check_fault(document, (*here, "fault"), cell.fault)
        check_phase(document, (*here, "phase"), cell.phase)
        if cell.fault not in WITHOUT_FAULT and cell.fault not in planned:
            raise document.error(
                (*here, "fault"),
                f"covers '{cell.fault}', but no such fault is planned in [[faults]]",
                nearest=nearest(cell.fault, planned),
            )
        if cell in found:
            raise document.error(here, f"'{cell.fault}' in '{cell.phase}' stands here twice")
        found.append(cell)
    return tuple(found)


def check_fault(document: Document, place: Loc, word: str) -> None:
    """Raise InputError unless `word` names a row."""
    known = [*FAULTS, *COMPUTER_FAULTS, *WITHOUT_FAULT]
    _check(document, place, "kind of fault", word, known, WITHOUT_FAULT)


def check_phase(document: Document, place: Loc, word: str) -> None:
    """Raise InputError unless `word` names a column."""
    _check(document, place, "phase", word, list(PHASES), PHASES)


def _check(
    document: Document,
    place: Loc,
    what: str,
    word: str,
    known: Collection[str],
    shown: Collection[str],
) -> None:
    if word not in known:
        near = nearest(word, known)
        listed = "" if near else f" (without a fault: {', '.join(shown)})"
        if what == "phase" and not near:
            listed = f" (known: {', '.join(shown)})"
        raise document.error(place, f"unknown {what} '{word}'{listed}", nearest=near)
