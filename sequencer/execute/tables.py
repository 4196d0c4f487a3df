"""Turns a sequence into the flat arrays of `sequencer.execute.layout`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.execute.blocks import BlockState, make_block
from sequencer.execute.layout import (
    CELL_WIDTH,
    FIRST_GROUP,
    HEAD_SIZE,
    NONE,
    STATE,
    BlockKind,
    CommandKind,
    Head,
)
from sequencer.execute.loops import ThrustVectorPid
from sequencer.execute.postfix import Pool, Reader
from sequencer.execute.values import names_of
from sequencer.expressions import Node
from sequencer.sequence.model import Block, Command, Exit, Function, Sequence

__all__ = ["Tables", "tables_of"]

#: arguments in the order in which the interpreter wants them; expressions and votes take theirs
#: as they come
_ARGUMENTS: Mapping[str, tuple[str, ...]] = {
    "low_pass": ("of",),
    "filtered_rate": ("of",),
    "integral": ("of", "while", "reset_when"),
    "peak": ("of", "reset_when"),
    "median3": ("of",),
    "age": (),
    "timer": ("start_when", "reset_when"),
    "latch": ("set_when", "reset_when"),
    "attitude": ("rate_x", "rate_y", "rate_z", "reset_when"),
}
_COEFFICIENTS: Mapping[str, tuple[str, ...]] = {
    "low_pass": ("a",),
    "filtered_rate": ("a", "dt"),
    "integral": ("dt", "initial"),
    "vote": ("needed", "quorum"),
    "attitude": ("dt",),
}
_LOOP_COEFFICIENTS = ("kp", "ki", "kd", "limit", "dt")
#: tables that were made last, by the id of their sequence, which they keep alive: many flights
#: share a sequence, and one that is changed many times flies with others that are not
_made: dict[int, Tables] = {}
_KEPT = 8


@dataclass(frozen=True, slots=True, eq=False)
class Tables:
    """A sequence as arrays.

    code       int64, header and rows
    numbers    float64
    boot       float64, the memory at boot with every flag at its initial value
    exits      names by index
    positions  index of a number that is a servo's position -> its name
    registers  name, as `Executor.registers` gives it -> place in memory
    flags      name -> place in memory; the retained ones in `retained`
    published  (place of the value, of its bad bit) per published field
    most_events  that one tick can come to
    watched    offsets of the code of expressions that no tick evaluates
    """

    sequence: Sequence
    code: NDArray[np.int64]
    numbers: NDArray[np.float64]
    boot: NDArray[np.float64]
    exits: tuple[str, ...]
    positions: Mapping[int, str]
    registers: Mapping[str, int]
    flags: Mapping[str, int]
    retained: tuple[str, ...]
    published: tuple[tuple[int, int], ...]
    most_events: int
    watched: tuple[int, ...] = ()


def tables_of(sequence: Sequence, watched: Iterable[Node] = ()) -> Tables:
    """The tables of a sequence that has been loaded.

    watched   expressions of it that somebody evaluates beside the ticks
    """
    beside = tuple(watched)
    if beside:
        return _Builder(sequence).build(beside)
    found = _made.get(id(sequence))
    if found is None:
        found = _made[id(sequence)] = _Builder(sequence).build(())
        for oldest in list(_made)[:-_KEPT]:
            _made.pop(oldest, None)  # another thread may have been quicker
    return found


class _Builder:
    """Everything that is laid out once, step by step."""

    def __init__(self, sequence: Sequence) -> None:
        self.sequence = sequence
        self.head: dict[Head, int] = {Head.RATE_HZ: sequence.rate_hz}
        self.body: list[int] = []
        self.pool = Pool()
        names = ("time_in_state", *sequence.inputs, *sequence.estimates, *sequence.flags)
        self.cells = {name: cell for cell, name in enumerate(names)}
        self.inputs = {name: index for index, name in enumerate(sequence.inputs)}
        self.states = {name: index for index, name in enumerate(sequence.states)}
        self.flags = {name: index for index, name in enumerate(sequence.flags)}
        pulses = [f for f in sequence.functions.values() if f.kind != "servo"]
        servos = [f for f in sequence.functions.values() if f.kind == "servo"]
        self.pulses = {function.name: function for function in pulses}
        self.servos = {function.name: function for function in servos}
        self.pulse_index = {name: index for index, name in enumerate(self.pulses)}
        self.servo_index = {name: index for index, name in enumerate(self.servos)}
        self.inhibit_index = {name: index for index, name in enumerate(sequence.inhibits)}
        self.loop_index = {name: index for index, name in enumerate(sequence.loops)}
        own = [way for state in sequence.states.values() for way in state.exits]
        self.ways = (*sequence.common_exits, *own)
        self.way_index = {way.name: index for index, way in enumerate(self.ways)}
        # the reference knows how a block starts: asked once, so that it is written once
        reference = names_of(sequence)
        self.blocks: dict[str, BlockState] = {
            name: make_block(estimate.block, reference, sequence.rate_hz)
            for name, estimate in sequence.estimates.items()
        }
        self.size = FIRST_GROUP
        self._memory()
        self.reader = Reader(
            {name: self._cell(name) for name in self.cells},
            tuple(self.states),
            sequence.limits,
            self.head[Head.M_CONSTANTS],
        )

    def build(self, watched: Iterable[Node]) -> Tables:
        """All rows, which refer to the memory, then the rest of the memory."""
        self._rows()
        beside = tuple(self._expression(node) for node in watched)
        head = self.head
        self._take(CELL_WIDTH * len(self.reader.constants))
        head[Head.SAVED] = max(self.reader.deepest, 1)
        head[Head.M_SAVED] = self._take(CELL_WIDTH * head[Head.SAVED])
        head[Head.SIZE] = self.size
        code = [head[entry] for entry in Head] + self.body
        return Tables(
            sequence=self.sequence,
            code=np.array(code, dtype=np.int64),
            numbers=np.array(self.pool.numbers or [0.0], dtype=np.float64),
            boot=self._boot(),
            exits=tuple(way.name for way in self.ways),
            positions=self.pool.positions,
            registers=self._registers(),
            flags={name: self._cell(name) for name in self.sequence.flags},
            retained=tuple(f.name for f in self.sequence.flags.values() if f.retained),
            published=self._published(),
            most_events=self._most_events(),
            watched=beside,
        )

    # memory

    def _take(self, count: int) -> int:
        """Room for `count` floats."""
        at = self.size
        self.size += count
        return at

    def _memory(self) -> None:
        head, sequence = self.head, self.sequence
        head[Head.M_CELLS] = self._take(CELL_WIDTH * len(self.cells))
        head[Head.M_FLAGS] = self.size - CELL_WIDTH * len(sequence.flags)
        head[Head.M_HEARD] = self._take(len(sequence.inputs))
        head[Head.M_BLOCKS] = self.size
        self.block_at = {
            name: self._take(len(block.registers)) for name, block in self.blocks.items()
        }
        head[Head.M_HOLDS] = self._take(len(self.ways))
        head[Head.M_LOOPS] = self.size
        width = len(ThrustVectorPid.registers)
        self.loop_at = {name: self._take(width) for name in sequence.loops}
        head[Head.M_UNTIL] = self._take(len(self.pulses))
        head[Head.M_DEMAND] = self._take(len(self.servos))
        head[Head.M_ASKED] = self._take(3 * len(sequence.loops))
        head[Head.M_COMMANDED] = self._take(len(self.pulses))
        head[Head.M_CONSTANTS] = self.size

    def _cell(self, name: str) -> int:
        return self.head[Head.M_CELLS] + CELL_WIDTH * self.cells[name]

    def _bad(self, name: str) -> int:
        return self._cell(name) + 1

    def _boot(self) -> NDArray[np.float64]:
        boot = np.zeros(self.size, dtype=np.float64)
        sequence = self.sequence
        boot[STATE] = self.states[sequence.start]
        for name in sequence.inputs:
            boot[self._bad(name)] = 1.0
        for name, block in self.blocks.items():
            boot[self._bad(name)] = float(block.first is None)
            boot[self._cell(name)] = float(block.first or 0.0)
            for place, register in enumerate(block.registers):
                boot[self.block_at[name] + place] = getattr(block, register)
        for name, flag in sequence.flags.items():
            boot[self._cell(name)] = float(flag.initial)
        for place, servo in enumerate(self.servos.values()):
            demand = dict(servo.positions).get(servo.start or "", 0.0)
            boot[self.head[Head.M_DEMAND] + place] = demand
        for place, number in enumerate(self.reader.constants):
            boot[self.head[Head.M_CONSTANTS] + CELL_WIDTH * place] = number
        return boot

    def _registers(self) -> dict[str, int]:
        """Places of everything that `Executor.registers` tells but state and flags' truth."""
        head, sequence = self.head, self.sequence
        found: dict[str, int] = {}
        for group, declared in (("input", sequence.inputs), ("estimate", sequence.estimates)):
            for name in declared:
                found[f"{group}.{name}"] = self._cell(name)
                found[f"{group}.{name}.bad"] = self._bad(name)
        for index, name in enumerate(sequence.inputs):
            found[f"input.{name}.heard"] = head[Head.M_HEARD] + index
        for name, block in self.blocks.items():
            for place, register in enumerate(block.registers):
                found[f"estimate.{name}.{register}"] = self.block_at[name] + place
        for name in sequence.flags:
            found[f"flag.{name}"] = self._cell(name)
        for index, way in enumerate(self.ways):
            found[f"hold.{way.name}"] = head[Head.M_HOLDS] + index
        for name, at in self.loop_at.items():
            for place, register in enumerate(ThrustVectorPid.registers):
                found[f"loop.{name}.{register}"] = at + place
        for index, name in enumerate(self.pulses):
            found[f"function.{name}.until"] = head[Head.M_UNTIL] + index
        for index, name in enumerate(self.servos):
            found[f"function.{name}.demand"] = head[Head.M_DEMAND] + index
        return found

    def _published(self) -> tuple[tuple[int, int], ...]:
        publication = self.sequence.publication
        fields = publication.fields if publication is not None else ()
        return tuple((self._cell(name), self._bad(name)) for name in fields)

    def _most_events(self) -> int:
        """Entry at boot and one change of state, every pulse over and cut, every command once."""
        longest = max(
            len(state.on_entry) + len(state.on_leave) for state in self.sequence.states.values()
        )
        commands = 2 * longest + max((len(way.actions) for way in self.ways), default=0)
        return 3 + 2 * len(self.pulses) + commands

    # rows

    def _append(self, values: Iterable[int]) -> int:
        """Offset of what is appended."""
        at = HEAD_SIZE + len(self.body)
        self.body.extend(values)
        return at

    def _rows(self) -> None:
        head, sequence = self.head, self.sequence
        head[Head.START] = self.states[sequence.start]
        self._group(
            Head.INPUTS,
            [[self._cell(n), int(put.unit == "bool")] for n, put in sequence.inputs.items()],
        )
        self._group(Head.ESTIMATES, [self._estimate(name) for name in sequence.estimates])
        self._group(Head.EXITS, [self._exit(way) for way in self.ways])
        self._group(Head.STATES, [self._state(name) for name in sequence.states])
        self._group(Head.PULSES, [self._function(each) for each in self.pulses.values()])
        self._group(Head.SERVOS, [self._function(each) for each in self.servos.values()])
        conditions = [self._expression(each.condition) for each in sequence.inhibits.values()]
        self._group(Head.INHIBITS, [[at] for at in conditions])
        self._group(Head.LOOPS, [self._loop(name) for name in sequence.loops])
        head[Head.FLAGS] = len(sequence.flags)

    def _group(self, count: Head, rows: list[list[int]]) -> None:
        """Rows of one kind; the entry after that of their count takes their offset."""
        self.head[count] = len(rows)
        self.head[Head(count + 1)] = self._append(value for row in rows for value in row)

    def _expression(self, node: Node | None) -> int:
        return NONE if node is None else self._append(self.reader.code(node))

    def _estimate(self, name: str) -> list[int]:
        block = self.sequence.estimates[name].block
        arguments = self._arguments(block)
        coefficients = dict(block.coefficients)
        numbers = [coefficients[key] for key in _COEFFICIENTS.get(block.kind, ())]
        return [
            self._cell(name),
            BlockKind[block.kind.upper()],
            NONE if block.gate is None else self.inputs[block.gate],
            self.block_at[name],
            self.pool.place(numbers),
            self.inputs.get(block.subject or "", NONE),
            self._append(arguments),
            len(arguments),
        ]

    def _arguments(self, block: Block) -> list[int]:
        given = dict(block.arguments)
        wanted = _ARGUMENTS.get(block.kind, tuple(given))
        return [self._expression(given.get(name)) for name in wanted]

    def _exit(self, way: Exit) -> list[int]:
        lists = [int(state in way.sources) for state in self.sequence.states]
        return [
            self.states[way.to],
            self._expression(way.condition),
            way.hold_ticks,
            NONE if way.fresh is None else self.inputs[way.fresh],
            NONE if way.fresh is None else self._cell(way.fresh),
            int(way.common),
            self._append(lists),
            *self._commands(way.actions),
        ]

    def _state(self, name: str) -> list[int]:
        state = self.sequence.states[name]
        ways = [self.way_index[way.name] for way in self.sequence.eligible_exits(name)]
        loops = [self.loop_index[loop] for loop in state.loops]
        return [
            self._append(ways),
            len(ways),
            *self._commands(state.on_entry),
            *self._commands(state.on_leave),
            self._append(loops),
            len(loops),
        ]

    def _commands(self, commands: tuple[Command, ...]) -> tuple[int, int]:
        """Offset and count."""
        return self._append(v for each in commands for v in self._command(each)), len(commands)

    def _command(self, command: Command) -> tuple[int, int, int]:
        if command.verb in ("set", "clear"):
            kind = CommandKind.SET if command.verb == "set" else CommandKind.CLEAR
            return kind, self.flags[command.name], NONE
        if command.verb == "cut":
            return CommandKind.CUT, self.pulse_index[command.name], NONE
        if command.verb == "move":
            positions = self.servos[command.name].positions
            place = [name for name, _ in positions].index(command.position or "")
            at = self.pool.place([positions[place][1]])
            self.pool.positions[at] = command.position or ""
            return CommandKind.MOVE, self.servo_index[command.name], at
        return CommandKind.FIRE, self.pulse_index[command.name], NONE

    def _function(self, function: Function) -> list[int]:
        inhibits = [self.inhibit_index[name] for name in function.inhibits]
        return [
            self._append(inhibits),
            len(inhibits),
            int(function.kind == "parachute"),
            function.pulse_ticks,
        ]

    def _loop(self, name: str) -> list[int]:
        loop = self.sequence.loops[name]
        arguments, coefficients = dict(loop.block.arguments), dict(loop.block.coefficients)
        attitude = loop.block.subject or ""
        (axis, first), (_, second) = loop.outputs
        return [
            self._cell(attitude),
            self.block_at[attitude],
            self._expression(arguments["rate_y"]),
            self._expression(arguments["rate_z"]),
            self.pool.place([coefficients[key] for key in _LOOP_COEFFICIENTS]),
            self.loop_at[name],
            self.servo_index[first],
            self.servo_index[second],
            int(axis == "z"),
        ]
