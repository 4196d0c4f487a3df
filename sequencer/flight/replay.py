"""A recorded log played back tick by tick: what a scenario with a [stream] flies instead."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sequencer.scenario import Recording
from sequencer.vehicle.capacity import SENSORS, SWITCHES
from sequencer.world.jit import Record
from sequencer.world.playback import Playback

__all__ = ["Replay"]


class Replay(Playback):
    """Hands a recording to the playback that lets faults of sensors act on it.

    `commands["switch"]` begins as the constants say; what the crew changes there is the answer of
    the inputs behind it from the next tick on. Nothing looks at what computers command.
    """

    def __init__(self, params: np.void, recording: Recording) -> None:
        self._recording = recording
        self._times: list[int] = recording.ticks.tolist()
        self._tick = 0
        self._next = 0
        switches = np.zeros(SWITCHES, dtype=np.int64)
        for sensor, switch in recording.switches.items():
            switches[switch] = int(recording.constants[sensor])
        values, fresh = np.full(SENSORS, math.nan), np.zeros(SENSORS, dtype=np.int64)
        self._fill(values, fresh, switches)
        super().__init__(params, values, fresh)
        self.commands["switch"] = switches

    def step(self, commands: np.void | None = None) -> Record:
        """Advance one world tick and return `out`; see `sequencer.world.World.step`."""
        given = self.commands if commands is None else commands
        self._tick += 1
        self._fill(self.values, self.fresh, given["switch"])
        return super().step(commands)

    def _fill(
        self, values: NDArray[np.float64], fresh: NDArray[np.int64], switches: NDArray[np.int64]
    ) -> None:
        """Set what every input answers at the present tick, and which do."""
        log = self._recording
        fresh[:] = 0
        if self._next < len(self._times) and self._times[self._next] == self._tick:
            count = log.values.shape[1]
            values[:count] = log.values[self._next]
            fresh[:count] = log.fresh[self._next]
            self._next += 1
        for sensor, value in log.constants.items():
            values[sensor] = value
            fresh[sensor] = 1
        for sensor, switch in log.switches.items():
            values[sensor] = float(switches[switch])
