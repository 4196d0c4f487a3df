"""One flight's world as an object: four records and the compiled step that advances them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import InternalError
from sequencer.world.jit import prepare
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
        self._params = empty(PARAMS)
        given = np.asarray(params)
        if given.dtype != PARAMS or given.size != 1:
            raise InternalError("a world is made from one PARAMS record")
        self._params[0] = given.reshape(1)[0]
        self._state = empty(STATE)
        self._commands = empty(COMMANDS)
        self._out = empty(OUT)
        self._commands["servo"] = np.nan
        self._open()
        self._state["tick"] = NOT_BEGUN
        self._step(*self._memory)

    def _open(self) -> None:
        prepare()
        from sequencer.world.kernel import step_bytes  # noqa: PLC0415 - compiles or loads

        self._step = step_bytes
        held = (self._state, self._params, self._commands, self._out)
        self._records: tuple[Any, ...] = tuple(array[0] for array in held)
        self._memory = tuple(array.view(np.uint8) for array in held)

    @property
    def state(self) -> Any:
        """The STATE record, live."""
        return self._records[0]

    @property
    def params(self) -> Any:
        """The PARAMS record, live."""
        return self._records[1]

    @property
    def commands(self) -> Any:
        """The COMMANDS record, live."""
        return self._records[2]

    @property
    def out(self) -> Any:
        """The OUT record, live."""
        return self._records[3]

    @property
    def out_bytes(self) -> NDArray[np.uint8]:
        """The memory of `out`, live, shape (OUT.itemsize,)."""
        return self._out.view(np.uint8)

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

    def step(self, commands: np.void | None = None) -> Any:
        """Advance one world tick and return `out`.

        commands  a COMMANDS record to copy in first; None leaves `self.commands` as it stands
        """
        if commands is not None:
            self._commands[0] = commands
        self._step(*self._memory)
        return self._records[3]

    def copy(self) -> World:
        """An independent world in the same state."""
        twin = World.__new__(World)
        twin._params = self._params.copy()
        twin._state = self._state.copy()
        twin._commands = self._commands.copy()
        twin._out = self._out.copy()
        twin._open()
        return twin
