"""One flight's world as an object: four records and the compiled step that advances them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sequencer.world.jit import prepare
from sequencer.world.memory import Memory

__all__ = ["World"]


class World(Memory):
    """The physics of one flight, advanced one world tick at a time.

    params  one PARAMS record (`sequencer.world.layout`), or an array of shape (1,) of them; copied

    `state`, `commands` and `out` are records on the world's own memory: write to `commands`, call
    `step`, read `out`. Right after construction the vehicle stands on its pad at tick 0 and `out`
    holds the first answers of the sensors. Servo demands start as NaN, which means none yet.
    """

    def __init__(self, params: np.void | NDArray[np.void]) -> None:
        super().__init__(params)
        self._advance()

    def _hold(self, held: tuple[NDArray[np.void], ...]) -> None:
        prepare()
        from sequencer.world.kernel import step_bytes  # noqa: PLC0415 - compiles or loads

        self._step = step_bytes
        super()._hold(held)

    def _advance(self) -> None:
        self._step(*self._memory)

    def copy(self) -> World:
        """An independent world in the same state."""
        twin = World.__new__(World)
        twin._hold(tuple(array.copy() for array in self._held))  # noqa: SLF001 - of its own class
        return twin
