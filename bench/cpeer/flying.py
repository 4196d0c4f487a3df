"""Flies the C step: a world that it moves, and the commands of a flight that ours has flown."""

from __future__ import annotations

import ctypes
import tempfile
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from cpeer.build import build
from sequencer.flight import loop
from sequencer.scenario import Scenario
from sequencer.world import World
from sequencer.world.memory import Memory

__all__ = ["CStep", "CWorld", "commands_of"]


class CStep:
    """The compiled step, built anew. Raises CompilerError (cpeer.build)."""

    def __init__(self) -> None:
        with tempfile.TemporaryDirectory() as folder:
            # once it is loaded its file may go
            library = ctypes.CDLL(str(build(Path(folder))))
        records = [ctypes.c_void_p] * 4
        self._step = library.world_step
        self._run = library.world_run
        self._step.argtypes, self._step.restype = records, None
        self._run.argtypes, self._run.restype = [*records, ctypes.c_int64], None
        self.tick = library.logic_tick
        pointer = ctypes.c_void_p
        self.tick.argtypes, self.tick.restype = [pointer, ctypes.c_int64, pointer, pointer], None
        self._whole = library.whole_flight
        self._whole.argtypes = [*records, ctypes.c_int64, pointer, ctypes.c_int64]
        self._whole.restype = None

    def step(self, memory: tuple[NDArray[np.uint8], ...]) -> None:
        """One tick on the memory of state, params, commands and out (Memory.memory)."""
        self._step(*(array.ctypes.data for array in memory))

    def run(self, memory: tuple[NDArray[np.uint8], ...], commands: NDArray[np.void]) -> None:
        """As many ticks as there are commands, shape (n,) of COMMANDS, in one call."""
        state, params, _, out = (array.ctypes.data for array in memory)
        self._run(state, params, commands.ctypes.data, out, len(commands))

    def fly(
        self,
        memory: tuple[NDArray[np.uint8], ...],
        commands: NDArray[np.void],
        boards: ctypes.Array[Any],
    ) -> None:
        """As `run`, with the logic of computers (cpeer.computers): an array of their structures."""
        state, params, _, out = (array.ctypes.data for array in memory)
        count = len(commands)
        self._whole(state, params, commands.ctypes.data, out, count, boards, len(boards))


class CWorld(Memory):
    """A world like sequencer.world.World that the C step moves."""

    def __init__(self, params: np.void | NDArray[np.void], step: CStep) -> None:
        super().__init__(params)
        self._c = step
        self._advance()

    def _advance(self) -> None:
        self._c.step(self.memory)


def commands_of(scenario: Scenario) -> NDArray[np.void]:
    """What the computers and the crew command in each tick of the scenario's flight.

    Shape (n,) of COMMANDS. The flight is flown by our own loop.
    """
    kept: list[NDArray[np.void]] = []

    class Kept(World):
        def _advance(self) -> None:
            kept.append(self._held[2].copy())
            super()._advance()

    with patch.object(loop, "World", Kept):
        loop.fly(scenario)
    # the first was the beginning, before anybody commanded anything
    return np.concatenate(kept[1:])
