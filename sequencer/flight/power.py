"""Brown-out: the world says which computers have no power, and they go down and come back."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from sequencer.flight import details
from sequencer.flight.computer import Computer, Note
from sequencer.scenario import Scenario
from sequencer.world.jit import Record

__all__ = ["Power"]

_REASON = "brown-out"


class Power:
    """Follows the world's `powerless`: shape (computers of the vehicle,), 1 while without power."""

    def __init__(self, scenario: Scenario, computers: Mapping[str, Computer], note: Note) -> None:
        self._note = note
        self._fed = [
            (scenario.wires[name].power, computer)
            for name, computer in computers.items()
            if scenario.wires[name].power is not None
        ]
        self._down: set[str] = set()
        self._was = b""

    def follow(self, out: Record) -> None:
        """Cut and give back power as it stands at the end of this tick.

        out   the world's OUT record
        """
        powerless: NDArray[np.int64] = out["powerless"]
        now = powerless.tobytes()
        if now == self._was:
            return
        self._was = now
        for index, computer in self._fed:
            down = bool(powerless[index])
            if down == (computer.name in self._down):
                continue
            if down:
                self._down.add(computer.name)
                least = float(out["battery_least"][index])
                self._note("brown_out", computer.name, details.brown_out(least))
                computer.power_cut(_REASON)
            else:
                self._down.discard(computer.name)
                computer.restart(_REASON)
