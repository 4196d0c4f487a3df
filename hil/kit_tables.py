"""What the C kit executes: a sequence's tables, and how much memory they take.

The tables are those of `sequencer.execute`; what the interpreter of Python keeps beside them is
appended, so that one array of whole numbers and one of floats say everything.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sequencer.execute.layout import (
    CELL_WIDTH,
    COMMAND_WIDTH,
    EXIT_WIDTH,
    FIRST_GROUP,
    STATE_WIDTH,
    CommandKind,
    ExitRow,
    Head,
    StateRow,
)
from sequencer.execute.tables import Tables, tables_of
from sequencer.sequence.model import Sequence

__all__ = ["FLAG_INITIAL", "FLAG_RETAINED", "KitTables", "kit_tables"]

# as in hil/kit/dc_sequence.h
FLAG_INITIAL = 1
FLAG_RETAINED = 2

_SIXTEEN_BITS = 2**15


@dataclass(frozen=True, slots=True, eq=False)
class KitTables:
    """The arguments of a `dc_tables`, and what memory goes with it.

    tables      as `sequencer.execute` has them
    code        whole numbers, `bits` of them each
    numbers     coefficients, demands of servos at boot, constants
    starts, constants        where the latter two begin
    flags, published, positions   where in `code` stands, per flag, how it boots; per field its
                cell; per coefficient which position of its servo it is
    fields, period           of the publication, 0 and 1 without one
    sizes       member of the instance's memory -> how many entries it has
    """

    tables: Tables
    code: tuple[int, ...]
    numbers: tuple[float, ...]
    starts: int
    constants: int
    flags: int
    published: int
    positions: int
    fields: int
    period: int
    sizes: Mapping[str, int]

    @property
    def bits(self) -> int:
        """16 where every entry fits, else 32 (a hold of 33 s at 1 kHz)."""
        fits = all(-_SIXTEEN_BITS <= entry < _SIXTEEN_BITS for entry in self.code)
        return 16 if fits else 32


def kit_tables(sequence: Sequence) -> KitTables:
    """The tables of a sequence that has been loaded."""
    tables = tables_of(sequence)
    code = [int(entry) for entry in tables.code]
    head = {entry: code[entry] for entry in Head}
    flags = len(code)
    code += [
        FLAG_INITIAL * flag.initial + FLAG_RETAINED * flag.retained
        for flag in sequence.flags.values()
    ]
    published = len(code)
    code += [place for place, _ in tables.published]
    positions = len(code)
    code += _positions(tables)
    boot = tables.boot.tolist()
    demands = boot[head[Head.M_DEMAND] : head[Head.M_DEMAND] + head[Head.SERVOS]]
    constants = boot[head[Head.M_CONSTANTS] : head[Head.M_SAVED] : CELL_WIDTH]
    numbers = tables.numbers.tolist()
    publication = sequence.publication
    return KitTables(
        tables=tables,
        code=tuple(code),
        numbers=(*numbers, *demands, *constants),
        starts=len(numbers),
        constants=len(numbers) + len(demands),
        flags=flags,
        published=published,
        positions=positions,
        fields=len(tables.published),
        period=publication.period_ticks if publication is not None else 1,
        sizes={
            "cells": (head[Head.M_HEARD] - FIRST_GROUP) // CELL_WIDTH,
            "inputs": head[Head.INPUTS],
            "registers": head[Head.M_HOLDS] - head[Head.M_BLOCKS],
            "exits": head[Head.EXITS],
            "loops": head[Head.LOOPS],
            "pulses": head[Head.PULSES],
            "servos": head[Head.SERVOS],
            "saved": head[Head.SAVED],
            "commands": tables.most_events - 3 - 2 * head[Head.PULSES],
            "events": tables.most_events,
        },
    )


def _positions(tables: Tables) -> list[int]:
    """Per coefficient, its index among its servo's positions; 0 where it is no position."""
    servos = [each for each in tables.sequence.functions.values() if each.kind == "servo"]
    found = [0] * len(tables.numbers)
    for servo, number in _moves(tables):
        names = [name for name, _ in servos[servo].positions]
        found[number] = names.index(tables.positions[number])
    return found


def _moves(tables: Tables) -> Iterator[tuple[int, int]]:
    """Servo and coefficient of every move in the tables."""
    code = tables.code.tolist()
    lists = []
    for state in range(code[Head.STATES]):
        row = code[Head.STATES_AT] + state * STATE_WIDTH
        lists += [row + StateRow.ENTRY, row + StateRow.LEAVE]
    for way in range(code[Head.EXITS]):
        lists.append(code[Head.EXITS_AT] + way * EXIT_WIDTH + ExitRow.ACTIONS)
    for entry in lists:
        for command in range(code[entry + 1]):
            kind, servo, number = code[code[entry] + command * COMMAND_WIDTH :][:COMMAND_WIDTH]
            if kind == CommandKind.MOVE:
                yield servo, number
