"""The C step in processes of their own: what a second core gives to code that shares nothing."""

from __future__ import annotations

import multiprocessing
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import Self

import numpy as np
from numpy.typing import NDArray

from cpeer.flying import CStep, CWorld
from sequencer.world.layout import COMMANDS, PARAMS

__all__ = ["CProcesses"]

_held: list[tuple[CStep, np.void, NDArray[np.void]]] = []


class CProcesses:
    """So many processes, each with a compiled step and the commands of one flight.

    params, commands   of that flight, as for `CStep.run`

    A context manager; the processes end with it.
    """

    def __init__(self, count: int, params: np.void, commands: NDArray[np.void]) -> None:
        context = multiprocessing.get_context("spawn")
        given = (params.tobytes(), commands.tobytes())
        self._pools = [ProcessPoolExecutor(1, context, _begin, given) for _ in range(count)]
        self.fly([1] * count)  # waits until all are there

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for pool in self._pools:
            pool.shutdown()

    def fly(self, flights: Sequence[int]) -> None:
        """The first process flies that many, the second that many, all at the same time."""
        futures = [
            pool.submit(_fly, count) for pool, count in zip(self._pools, flights, strict=False)
        ]
        for future in futures:
            future.result()


def _begin(params: bytes, commands: bytes) -> None:
    record = np.frombuffer(params, PARAMS).copy()[0]
    _held.append((CStep(), record, np.frombuffer(commands, COMMANDS).copy()))


def _fly(flights: int) -> None:
    step, params, commands = _held[0]
    for _ in range(flights):
        step.run(CWorld(params, step).memory, commands)
