"""The world's records as C structures, and what C needs to know of the tables of a sequence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from enum import IntEnum
from typing import Any

import numpy as np

from sequencer.execute import layout as tables
from sequencer.vehicle.capacity import LOADS, SWITCHES
from sequencer.world.layout import (
    COMMANDS,
    NOT_BEGUN,
    OUT,
    PARAMS,
    REMEMBERED,
    STATE,
    FaultKind,
    LoadKind,
    Mode,
    SensorKind,
    ServoRole,
)

__all__ = ["header", "tables_header"]

_RECORDS = {"Params": PARAMS, "State": STATE, "Commands": COMMANDS, "Out": OUT}
_ENUMS: dict[str, type[IntEnum]] = {
    "MODE": Mode,
    "LOAD": LoadKind,
    "SERVO": ServoRole,
    "SENSOR": SensorKind,
    "FAULT": FaultKind,
}
_NUMBERS = {
    "LOADS": LOADS,
    "SWITCHES": SWITCHES,
    "REMEMBERED": REMEMBERED,
    "NOT_BEGUN": NOT_BEGUN,
}
_TABLE_ENUMS: dict[str, type[IntEnum]] = {
    "HEAD": tables.Head,
    "OP": tables.Op,
    "BLOCK": tables.BlockKind,
    "ESTIMATE": tables.EstimateRow,
    "EXIT": tables.ExitRow,
    "STATE": tables.StateRow,
    "PULSE": tables.PulseRow,
    "LOOP": tables.LoopRow,
    "COMMAND": tables.CommandKind,
    "EVENT": tables.EventKind,
}
_TABLE_NUMBERS = {
    name: getattr(tables, name)
    for name in (
        *("NONE", "STATE", "ENTERED", "CLOCK", "STARTED", "CELL_WIDTH", "INPUT_WIDTH"),
        *("ESTIMATE_WIDTH", "EXIT_WIDTH", "STATE_WIDTH", "PULSE_WIDTH", "LOOP_WIDTH"),
        "COMMAND_WIDTH",
    )
}
_TYPES = {"f8": "double", "i8": "int64_t", "u8": "uint64_t"}
_TAKEN = {"switch"}  # words of C


def header() -> str:
    """The text of layout.h. A field whose name is a word of C gets an underscore behind it."""
    return "\n".join(_lines()) + "\n"


def _lines() -> Iterator[str]:
    yield "/* written from sequencer/world/layout.py; do not edit */"
    yield "#include <stddef.h>"
    yield "#include <stdint.h>"
    for name, value in _NUMBERS.items():
        yield f"#define {name} ({value})"
    yield from _enums(_ENUMS)
    for name, layout in _RECORDS.items():
        yield from _structure(name, layout)


def tables_header() -> str:
    """The text of tables.h."""
    lines = ["/* written from sequencer/execute/layout.py; do not edit */"]
    lines += [f"#define {name} ({value})" for name, value in _TABLE_NUMBERS.items()]
    return "\n".join([*lines, *_enums(_TABLE_ENUMS)]) + "\n"


def _enums(enums: Mapping[str, type[IntEnum]]) -> Iterator[str]:
    for prefix, kinds in enums.items():
        members = ", ".join(f"{prefix}_{kind.name} = {kind.value}" for kind in kinds)
        yield f"enum {{ {members} }};"


def _structure(name: str, layout: np.dtype) -> Iterator[str]:
    fields: Mapping[str, tuple[Any, ...]] = layout.fields or {}
    yield "typedef struct {"
    for field, (kind, *_) in fields.items():
        shape = "".join(f"[{size}]" for size in kind.shape)
        yield f"    {_TYPES[kind.base.str[1:]]} {_word(field)}{shape};"
    yield f"}} {name};"
    # C99 has no static assertion: an array of negative size does not compile
    yield f"typedef char {name}_size[sizeof({name}) == {layout.itemsize} ? 1 : -1];"
    for field, (_, offset, *_) in fields.items():
        place = f"offsetof({name}, {_word(field)})"
        yield f"typedef char {name}_{field}_place[{place} == {offset} ? 1 : -1];"


def _word(field: str) -> str:
    return f"{field}_" if field in _TAKEN else field
