"""Scenarios on a target that can go away and come back, as a port does that is replugged."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from sequencer.errors import TargetError, UnreachableError
from sequencer.flight.result import Result
from sequencer.scenario import SUFFIX

__all__ = ["WAIT_S", "Reopening"]

#: how long a target that is gone is waited for, and between two looks, s
WAIT_S: Final = 60.0
_LOOK_S: Final = 0.5


class Reopening:
    """Flies one scenario after the other; what was flown is never lost with the target.

    one        flies a scenario file; opens the target anew each time
    announce   called with one line before it waits
    clock, sleep   seconds that only grow, and how to let some go by

    A target that could be used before and cannot be reached is waited for. If it does not come
    back, or cannot be used for another reason, the result has the reason as its `error`, and all
    that follow have the same. Whatever is wrong before the first flight is raised.
    """

    def __init__(
        self,
        one: Callable[[Path], Result],
        announce: Callable[[str], None] | None,
        *,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._one = one
        self._announce = announce
        self._clock = clock
        self._sleep = sleep
        self._opened = False
        self._given_up: str | None = None

    def __call__(self, path: Path) -> Result:
        """Fly it, or say why not."""
        if self._given_up is None:
            try:
                return self._reached(path)
            except TargetError as error:
                if not self._opened:
                    raise
                self._given_up = str(error)
        return Result(path.name.removesuffix(SUFFIX), path, "", None, error=self._given_up)

    def _reached(self, path: Path) -> Result:
        until = None
        while True:
            try:
                result = self._one(path)
            except UnreachableError as error:
                if not self._opened:
                    raise
                if until is None:
                    until = self._clock() + WAIT_S
                    if self._announce is not None:
                        self._announce(
                            f"{error}; plug it in again, under this name: waiting {WAIT_S:.0f} s"
                        )
                elif self._clock() >= until:
                    raise TargetError(f"{error}; waited {WAIT_S:.0f} s for it") from error
                self._sleep(_LOOK_S)
            else:
                self._opened = self._opened or result.record is not None or result.lost
                return result
