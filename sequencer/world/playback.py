"""Recorded answers in place of a world: the same records, and only the faults of sensors act."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sequencer.vehicle.capacity import SENSORS
from sequencer.world.jit import prepare
from sequencer.world.layout import OUT
from sequencer.world.memory import Memory

__all__ = ["Playback"]


class Playback(Memory):
    """A flight that was recorded, played back one world tick at a time.

    params    one PARAMS record: the sensors with their ranges, the rate, the faults; copied
    values    what the sensors measured at tick 0, shape (n,), n at most SENSORS; NaN may stand
    fresh     which of them measured then, shape (n,); none if left out

    Before every `step` the caller sets `values` and `fresh`, both of shape (SENSORS,), to what was
    measured in that tick, in the units and the order of the world's sensors. `step` lets the
    active faults act on it, as they do in a world, and writes out.value and out.fresh. Every
    truth in `out` is NaN and no fact ever comes true. Right after construction it is tick 0.
    """

    def __init__(
        self,
        params: np.void | NDArray[np.void],
        values: ArrayLike = (),
        fresh: ArrayLike = (),
    ) -> None:
        super().__init__(params)
        prepare()
        from sequencer.world.kernel import play_bytes  # noqa: PLC0415 - compiles or loads

        self._play = play_bytes
        self.values: NDArray[np.float64] = np.full(SENSORS, np.nan)
        self.fresh: NDArray[np.int64] = np.zeros(SENSORS, dtype=np.int64)
        first, which = np.asarray(values, dtype=np.float64), np.asarray(fresh)
        self.values[: first.size] = first
        self.fresh[: which.size] = which
        for name in OUT.names or ():
            if OUT[name].base.kind == "f":
                self.out[name] = np.nan
        self._advance()

    def _advance(self) -> None:
        state, params, commands, out = self._memory
        self._play(state, params, commands, out, self.values, self.fresh)
