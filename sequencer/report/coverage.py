"""The table "fault by phase" on a terminal, as Markdown and as JSON."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Iterator

from rich.console import Console
from rich.text import Text

from sequencer import __version__
from sequencer.scenario.cells import ANY, PHASES, Cell, row_groups
from sequencer.scenario.coverage import Coverage, Wanted

__all__ = ["FORMAT", "as_json", "as_markdown", "print_coverage", "print_missing"]

#: changes when a reader of the older form would be misled
FORMAT = "drycount faults 1"

#: in a pipe a line is as long as it needs to be
UNBOUND = 100_000

_EMPTY, _MISSING = ".", "!!"


def print_coverage(found: Coverage, out: Console) -> None:
    """Print what is missing first, then the table in numbers, then the scenarios behind them."""
    width = _width(out)
    missing = found.missing
    if missing:
        _line(out, f"{_cells(len(missing))} of {len(found.wanted)} that matter empty", "bold red")
        print_missing(found, out)
        _line(out)
    for text, style in _table(found):
        _line(out, text, style)
    _line(out)
    # each abbreviation stays beside its word
    legend = ", ".join(
        f"{short}\xa0{phase}" for phase, (short, _) in PHASES.items() if phase != ANY
    )
    marks = "A number is how many scenarios cover a cell"
    marks += f"; {_MISSING} is one that matters and is empty." if missing else "."
    _wrapped(out, width, "", f"{legend}. {marks}", "dim")
    _line(out)
    kinds = [kind for rows in row_groups().values() for kind in rows]
    first, second = (max(map(len, words)) for words in (kinds, PHASES))
    for kind in kinds:
        shown = kind
        for phase in PHASES:
            names = found.covered.get(Cell(kind, phase))
            if names:
                lead = f"{shown:<{first}}  {phase:<{second}}  "
                _wrapped(out, width, lead, ", ".join(names))
                shown = ""
    _line(out)
    _line(out, _closing(found), "bold red" if missing else "bold green")


def print_missing(found: Coverage, out: Console) -> None:
    """Print the cells that matter and that nothing covers, each fault with its phases and why."""
    for (fault, reason), phases in _together(found.missing).items():
        text = f"{fault} in {', '.join(phases)}: {reason}"
        _wrapped(out, _width(out), "  ", text, hang="    ")


def as_markdown(found: Coverage) -> str:
    """One table for each group of rows, scenarios in the cells; columns that are empty left out."""
    parts = ["# What the scenarios cover", "", f"{_closing(found)}.", ""]
    wanted = {one.cell for one in found.missing}
    for group, kinds in row_groups().items():
        used = [
            phase
            for phase in PHASES
            if any(
                Cell(kind, phase) in found.covered or Cell(kind, phase) in wanted for kind in kinds
            )
        ]
        parts += [f"## {group.capitalize()}", ""]
        if not used:
            parts += [f"Not covered: {', '.join(f'`{kind}`' for kind in kinds)}.", ""]
            continue
        parts += [f"| | {' | '.join(used)} |", f"| --- |{' --- |' * len(used)}"]
        for kind in kinds:
            cells = [_markdown_cell(found, Cell(kind, phase), wanted) for phase in used]
            parts.append(f"| `{kind}` | {' | '.join(cells)} |")
        parts.append("")
    return "\n".join(parts)


def as_json(found: Coverage) -> str:
    """The table as one JSON document, ending in a newline."""
    wanted = {one.cell: one.reason for one in found.wanted}
    rows = [
        {
            "group": group,
            "fault": kind,
            "cells": {
                phase: list(found.covered[Cell(kind, phase)])
                for phase in PHASES
                if Cell(kind, phase) in found.covered
            },
            "matters": {
                phase: wanted[Cell(kind, phase)] for phase in PHASES if Cell(kind, phase) in wanted
            },
        }
        for group, kinds in row_groups().items()
        for kind in kinds
    ]
    document = {
        "format": FORMAT,
        "version": __version__,
        "scenarios": found.scenarios,
        "phases": list(PHASES),
        "rows": rows,
        "missing": [
            {"fault": one.cell.fault, "phase": one.cell.phase, "reason": one.reason}
            for one in found.missing
        ],
    }
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def _table(found: Coverage) -> Iterator[tuple[str, str]]:
    """Lines of the table in numbers, 80 columns wide at most, and their styles."""
    groups = row_groups()
    wide = max(len(kind) for kinds in groups.values() for kind in kinds) + 1
    missing = {one.cell for one in found.missing}
    heads = "".join(f"{short:>4}" for short, _ in PHASES.values())
    for group, kinds in groups.items():
        yield f"{group:<{wide}}{heads}", "bold"
        for kind in kinds:
            cells = ""
            for phase in PHASES:
                cell = Cell(kind, phase)
                names = found.covered.get(cell, ())
                empty = _MISSING if cell in missing else _EMPTY
                cells += f"{len(names) if names else empty:>4}"
            yield f"{kind:<{wide}}{cells}", "red" if _MISSING in cells else ""


def _markdown_cell(found: Coverage, cell: Cell, wanted: set[Cell]) -> str:
    names = found.covered.get(cell, ())
    return ", ".join(names) or ("**missing**" if cell in wanted else "")


def _closing(found: Coverage) -> str:
    kinds = [kind for rows in row_groups().values() for kind in rows]
    covered = sum(any(cell.fault == kind for cell in found.covered) for kind in kinds)
    number = f"{found.scenarios} {'scenario' if found.scenarios == 1 else 'scenarios'}"
    text = f"{number}: {covered} of {len(kinds)} rows covered"
    if not found.wanted:
        return f"{text}; no file says which cells matter"
    return f"{text}, {len(found.missing)} of {len(found.wanted)} cells that matter empty"


def _together(missing: Iterable[Wanted]) -> dict[tuple[str, str], list[str]]:
    """(fault, reason) -> phases."""
    found: dict[tuple[str, str], list[str]] = {}
    for one in missing:
        found.setdefault((one.cell.fault, one.reason), []).append(one.cell.phase)
    return found


def _width(out: Console) -> int:
    return max(out.width, 40) if out.is_terminal else UNBOUND


def _cells(number: int) -> str:
    return "1 cell" if number == 1 else f"{number} cells"


def _line(out: Console, text: str = "", style: str = "") -> None:
    out.print(Text(text.rstrip(), style=style), soft_wrap=True)


def _wrapped(
    out: Console, width: int, lead: str, text: str, style: str = "", hang: str | None = None
) -> None:
    """Text behind a lead; further lines begin with `hang`, as far in as the lead if it is None."""
    indent = " " * len(lead) if hang is None else hang
    room = max(width - max(len(lead), len(indent)), 20)
    pieces = textwrap.wrap(text, room, break_long_words=False, break_on_hyphens=False)
    for i, piece in enumerate(pieces):
        line = (lead if i == 0 else indent) + piece
        _line(out, line.replace("\xa0", " "), style)
