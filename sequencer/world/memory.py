"""The four records of one flight, and what every world that stands on them offers."""

from __future__ import annotations

from abc import ABC, abstractmethod

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import InternalError
from sequencer.world.jit import Record
from sequencer.world.layout import COMMANDS, NOT_BEGUN, OUT, PARAMS, STATE, empty

__all__ = ["Memory", "copied"]


def copied(record: np.void | NDArray[np.void]) -> NDArray[np.void]:
    """The same record on memory of its own, shape (1,)."""
    given = np.asarray(record).reshape(1)
    # as bytes: numpy copies a record field by field, which takes ten times as long
    found: NDArray[np.void] = given.view(np.uint8).copy().view(given.dtype)
    return found


class Memory(ABC):
    """Records of one flight on memory of its own, not begun yet.

    params  one PARAMS record (`sequencer.world.layout`), or an array of shape (1,) of them; copied

    Servo demands start as NaN, which means none yet.
    """

    def __init__(self, params: np.void | NDArray[np.void]) -> None:
        given = np.asarray(params)
        if given.dtype != PARAMS or given.size != 1:
            raise InternalError("a world is made from one PARAMS record")
        state, commands, out = empty(STATE), empty(COMMANDS), empty(OUT)
        state["tick"] = NOT_BEGUN
        commands["servo"] = np.nan
        self._hold((state, copied(given), commands, out))

    def _hold(self, held: tuple[NDArray[np.void], ...]) -> None:
        """Take the four records, each an array of shape (1,), as this world's memory."""
        self._held = held
        self._records: tuple[Record, ...] = tuple(array[0] for array in held)
        self._memory = tuple(array.view(np.uint8) for array in held)

    @property
    def state(self) -> Record:
        """The STATE record, live."""
        return self._records[0]

    @property
    def params(self) -> Record:
        """The PARAMS record, live."""
        return self._records[1]

    @property
    def commands(self) -> Record:
        """The COMMANDS record, live."""
        return self._records[2]

    @property
    def out(self) -> Record:
        """The OUT record, live."""
        return self._records[3]

    @property
    def out_bytes(self) -> NDArray[np.uint8]:
        """The memory of `out`, live, shape (OUT.itemsize,)."""
        return self._memory[3]

    @property
    def memory(self) -> tuple[NDArray[np.uint8], ...]:
        """The memory of state, params, commands and out, live, one array of bytes each."""
        return self._memory

    @property
    def body0_parachutes(self) -> NDArray[np.int64]:
        """Indices of the parachutes of the body that carries the flight computer."""
        count = int(self.params["parachutes"])
        found: NDArray[np.int64] = np.flatnonzero(self.params["parachute_body"][:count] == 0)
        return found

    @property
    def time_s(self) -> float:
        """Time since the start of the flight, s."""
        return float(self.state["tick"]) / float(self.params["rate_hz"])

    def step(self, commands: np.void | None = None) -> Record:
        """Advance one world tick and return `out`.

        commands  a COMMANDS record to copy in first; None leaves `self.commands` as it stands
        """
        if commands is not None:
            self._held[2][0] = commands
        self._advance()
        return self._records[3]

    @abstractmethod
    def _advance(self) -> None:
        """Move the records on by one tick."""
