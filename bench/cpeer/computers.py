"""Logic in C: one tick of a sequence, and a whole flight with the logic of all its computers."""

from __future__ import annotations

import ctypes
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from cpeer.flying import CStep, CWorld
from sequencer.execute import CompiledExecutor, Outputs
from sequencer.execute.layout import NONE
from sequencer.execute.tables import Tables, tables_of
from sequencer.flight import loop
from sequencer.flight.target import Boot, Target, open_target
from sequencer.scenario import Scenario
from sequencer.sequence import Sequence as FlightLogic
from sequencer.world import World
from sequencer.world.layout import COMMANDS, empty

__all__ = ["CExecutor", "CFlight", "Turn", "Turns", "turns_of"]

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_POINTER = ctypes.c_void_p
_INT = ctypes.c_int64


class _Logic(ctypes.Structure):
    """As in logic.h."""

    _fields_ = tuple((name, _POINTER) for name in ("code", "numbers", "memory", "queue", "events"))


class _Board(ctypes.Structure):
    """As in flight.h."""

    _fields_ = (
        ("logic", _Logic),
        ("values", _POINTER),
        ("fresh", _POINTER),
        ("inputs", _INT),
        ("sensors", _POINTER),
        ("clocks", _POINTER),
        ("mail", _POINTER),
        ("arrived", _POINTER),
        ("told", _INT),
    )


class CExecutor(CompiledExecutor):
    """The compiled executor with C's tick in the place of ours."""

    def __init__(self, sequence: FlightLogic, step: CStep) -> None:
        super().__init__(sequence)

        def run(
            code: Whole,
            numbers: Floats,
            memory: Floats,
            queue: Whole,
            events: Whole,
            clock: int,
            values: Floats,
            fresh: NDArray[np.bool_],
        ) -> None:
            logic = _logic((code, numbers, memory, queue, events))
            step.tick(ctypes.byref(logic), clock, values.ctypes.data, fresh.ctypes.data)

        self._run = run


def _logic(arrays: Sequence[NDArray[Any]]) -> _Logic:
    """Of code, numbers, memory, queue and events, which somebody else has to keep."""
    return _Logic(*(each.ctypes.data for each in arrays))


@dataclass(frozen=True, slots=True)
class Turn:
    """A tick of a computer: world tick, its own clock, and what its inputs were then."""

    tick: int
    clock: int
    values: tuple[float, ...]
    fresh: tuple[bool, ...]


@dataclass(slots=True)
class Turns:
    """What the computers of a flight did.

    commands   per tick of the world, shape (n,) of COMMANDS
    of         computer -> its ticks; `told` how many events they had in all
    """

    commands: NDArray[np.void]
    of: dict[str, list[Turn]] = field(default_factory=dict)
    told: dict[str, int] = field(default_factory=dict)


def turns_of(scenario: Scenario) -> Turns:
    """What computers and crew did in the scenario's flight, which our own loop flies.

    Raises ValueError for one whose computers boot again: they are not for C.
    """
    commands: list[NDArray[np.void]] = []
    found = Turns(empty(COMMANDS, 0))

    class Kept(World):
        def _advance(self) -> None:
            commands.append(self._held[2].copy())
            super()._advance()

    class Heard:
        """A target that writes down what it is asked."""

        def __init__(self, target: Target, name: str) -> None:
            self.capabilities, self.tolerance_s = target.capabilities, target.tolerance_s
            self._target, self._turns = target, found.of.setdefault(name, [])
            self._name = name
            found.told[name] = 0

        @staticmethod
        def check(rest: str, executor: str) -> None:
            """Whatever was opened can be used."""

        def reset(self, boot: Boot) -> None:
            if boot is not Boot.COLD:
                raise ValueError(f"{scenario.name}: a computer boots again")
            self._target.reset(boot)

        def exchange(self, clock: int, values: Sequence[float], fresh: Sequence[bool]) -> Outputs:
            # the first command was the beginning, before anybody commanded anything
            self._turns.append(Turn(len(commands) - 1, clock, tuple(values), tuple(fresh)))
            outputs = self._target.exchange(clock, values, fresh)
            found.told[self._name] += len(outputs.events)
            return outputs

        def describe(self) -> Mapping[str, str]:
            return self._target.describe()

        def close(self) -> None:
            self._target.close()

    targets: dict[str, Target] = {
        name: Heard(open_target("model", logic, "compiled"), name)
        for name, logic in scenario.sequences.items()
    }
    with patch.object(loop, "World", Kept):
        loop.fly_on(scenario, targets)
    found.commands = np.concatenate(commands[1:])
    return found


class _Computer:
    """One computer's arrays for a flight in C."""

    def __init__(self, scenario: Scenario, name: str, turns: Turns, tables: Tables) -> None:
        ticks, inputs = len(turns.commands), len(scenario.sequences[name].inputs)
        self.tables = tables
        self.sensors = np.array(scenario.wires[name].sensors, dtype=np.int64)
        self.clocks = np.full(ticks, NONE, dtype=np.int64)
        self.mail = np.zeros((ticks, inputs))
        self.arrived = np.zeros((ticks, inputs), dtype=np.uint8)
        posted = self.sensors == NONE
        for turn in turns.of[name]:
            self.clocks[turn.tick] = turn.clock
            self.mail[turn.tick] = turn.values
            self.arrived[turn.tick] = posted & np.array(turn.fresh)
        self.begin()

    def begin(self) -> None:
        """As before a flight."""
        inputs, tables = len(self.sensors), self.tables
        self.logic = (
            tables.code,
            tables.numbers,
            tables.boot.copy(),
            np.zeros(2 + tables.most_events, dtype=np.int64),
            np.zeros((1 + tables.most_events, 3), dtype=np.int64),
        )
        self.values = np.full(inputs, np.nan)
        self.fresh = np.zeros(inputs, dtype=np.uint8)

    def board(self) -> tuple[Any, ...]:
        """The fields of its structure."""
        kept = (self.sensors, self.clocks, self.mail, self.arrived)
        return (
            _logic(self.logic),
            self.values.ctypes.data,
            self.fresh.ctypes.data,
            len(self.sensors),
            *(each.ctypes.data for each in kept),
            0,
        )


class CFlight:
    """A flight that is flown in C again: its world, and the logic of its computers."""

    def __init__(self, scenario: Scenario, turns: Turns, step: CStep) -> None:
        self._scenario, self._step, self._commands = scenario, step, turns.commands
        self.computers = {
            name: _Computer(scenario, name, turns, tables_of(logic))
            for name, logic in scenario.sequences.items()
        }

    def fly(self) -> tuple[CWorld, dict[str, int]]:
        """The world at its end, and how many events each computer told of."""
        world = CWorld(self._scenario.params, self._step)
        for computer in self.computers.values():
            computer.begin()
        boards = (_Board * len(self.computers))(
            *(_Board(*computer.board()) for computer in self.computers.values())
        )
        self._step.fly(world.memory, self._commands, boards)
        told = (board.told for board in boards)
        return world, dict(zip(self.computers, told, strict=True))
