"""One flight's world as an object: four records and the compiled step that advances them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import InternalError
from sequencer.world.jit import Record, prepare
from sequencer.world.layout import COMMANDS, NOT_BEGUN, OUT, PARAMS, STATE, empty

__all__ = ["World"]


class World:
    """The physics of one flight, advanced one world tick at a time.

    params  one PARAMS record (`sequencer.world.layout`), or an array of shape (1,) of them; copied

    `state`, `commands` and `out` are records on the world's own memory: write to `commands`, call
    `step`, read `out`. Right after construction the vehicle stands on its pad at tick 0 and `out`
    holds the first answers of the sensors. Servo demands start as NaN, which means none yet.
    """

    def __init__(self, params: np.void | NDArray[np.void]) -> None:
        given = np.asarray(params)
        if given.dtype != PARAMS or given.size != 1:
            raise InternalError("a world is made from one PARAMS record")
        state, commands, out = empty(STATE), empty(COMMANDS), empty(OUT)
        state["tick"] = NOT_BEGUN
        commands["servo"] = np.nan
        self._hold((state, given.reshape(1).copy(), commands, out))
        self._step(*self._memory)

    def _hold(self, held: tuple[NDArray[np.void], ...]) -> None:
        """Take the four records, each an array of shape (1,), as this world's memory."""
        prepare()
        from sequencer.world.kernel import step_bytes  # noqa: PLC0415 - compiles or loads

        self._step = step_bytes
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
        self._step(*self._memory)
        return self._records[3]

    def copy(self) -> World:
        """An independent world in the same state."""
        twin = World.__new__(World)
        twin._hold(tuple(array.copy() for array in self._held))  # noqa: SLF001 - of its own class
        return twin
