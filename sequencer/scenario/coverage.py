"""Which scenarios cover which cells, and which cells that matter are empty.

Cells that matter stand in `*.cells.toml` files beside the scenarios:

    [[cells]]
    faults = ["igniter_open", "igniter_beside"]
    phases = ["ignition", "landing_burn"]
    reason = "continuity cannot tell, or tells too late"

Phase "any" there asks for one scenario with the fault, whatever its phase.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import Field

from sequencer.documents import Line, Strict, read_document
from sequencer.errors import InputError, UsageError
from sequencer.scenario.cells import ANY, Cell, check_fault, check_phase, read_covers
from sequencer.scenario.extend import read_extended
from sequencer.scenario.schema import ScenarioFile

__all__ = ["CELLS_SUFFIX", "Coverage", "Wanted", "coverage", "find_cells", "load_cells"]

CELLS_SUFFIX = ".cells.toml"

Word = Annotated[Line, Field(min_length=1, max_length=200)]


class _CellsTable(Strict):
    """[[cells]]: kinds of faults, phases in which they matter, and why."""

    faults: Annotated[list[Word], Field(min_length=1)]
    phases: Annotated[list[Word], Field(min_length=1)]
    reason: Annotated[Line, Field(min_length=1, max_length=1000)]


class _CellsFile(Strict):
    """The whole file."""

    cells: Annotated[list[_CellsTable], Field(min_length=1)]


@dataclass(frozen=True, slots=True)
class Wanted:
    """A cell that must not be empty."""

    cell: Cell
    reason: str


@dataclass(frozen=True, slots=True)
class Coverage:
    """What is covered by which scenarios.

    covered    cell -> names of scenarios, in the order in which they were given
    wanted     cells that matter, in the order of their files
    scenarios  how many were looked at
    """

    covered: Mapping[Cell, tuple[str, ...]]
    wanted: tuple[Wanted, ...]
    scenarios: int

    def by(self, cell: Cell) -> tuple[str, ...]:
        """Scenarios that cover a cell; for phase "any" all with that fault."""
        if cell.phase != ANY:
            return self.covered.get(cell, ())
        names = [names for one, names in self.covered.items() if one.fault == cell.fault]
        return tuple(dict.fromkeys(name for some in names for name in some))

    @property
    def missing(self) -> tuple[Wanted, ...]:
        """Cells that matter and that nothing covers."""
        return tuple(wanted for wanted in self.wanted if not self.by(wanted.cell))


def coverage(scenarios: Iterable[Path], cells: Iterable[Path] = ()) -> Coverage:
    """The table of these scenario files and files of cells.

    Of a scenario only the words are read, not the vehicle and sequences that it names. Raises
    InputError for a file that cannot be used.
    """
    wanted: dict[Cell, Wanted] = {}
    for path in cells:
        for one in load_cells(path):
            wanted.setdefault(one.cell, one)
    covered: dict[Cell, list[str]] = {}
    number = 0
    for path in scenarios:
        number += 1
        document = read_extended(path)
        tables = document.validate(ScenarioFile)
        for cell in read_covers(document, tables.scenario.covers, tables.faults):
            covered.setdefault(cell, []).append(path.name.removesuffix(".scenario.toml"))
    return Coverage(
        {cell: tuple(names) for cell, names in covered.items()}, tuple(wanted.values()), number
    )


def find_cells(paths: Iterable[Path]) -> tuple[list[Path], list[Path]]:
    """Files of cells among `paths` and in the folders among them, sorted; and all other paths.

    Raises UsageError where no other path is left, InputError for a folder that cannot be read.
    """
    given = list(paths)
    named = [path for path in given if path.name.endswith(CELLS_SUFFIX) and not path.is_dir()]
    others = [path for path in given if path not in named]
    if not others:
        raise UsageError("no scenario, and no folder with scenarios, is given")
    found = dict.fromkeys(named)
    for folder in others:
        if folder.is_dir():
            try:
                found.update(dict.fromkeys(sorted(folder.rglob(f"*{CELLS_SUFFIX}"))))
            except OSError as error:
                what = f"cannot be read: {error.strerror or error}"
                raise InputError(what, file=folder) from None
    return list(found), others


def load_cells(path: Path) -> tuple[Wanted, ...]:
    """The cells that a file says matter.

    Raises InputError for unknown words and for a cell that stands there twice.
    """
    document = read_document(path)
    found: dict[Cell, Wanted] = {}
    for number, table in enumerate(document.validate(_CellsFile).cells):
        for i, fault in enumerate(table.faults):
            check_fault(document, ("cells", number, "faults", i), fault)
        for i, phase in enumerate(table.phases):
            check_phase(document, ("cells", number, "phases", i), phase)
        for i, fault in enumerate(table.faults):
            for phase in table.phases:
                cell = Cell(fault, phase)
                if cell in found:
                    raise document.error(
                        ("cells", number, "faults", i), f"'{fault}' in '{phase}' is here twice"
                    )
                found[cell] = Wanted(cell, table.reason)
    return tuple(found.values())
