"""The model as a target: a sequence executed in this process."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from sequencer.errors import UsageError, nearest
from sequencer.execute import CompiledExecutor, Executor, Outputs, ReferenceExecutor
from sequencer.flight.target import Boot, Capability
from sequencer.sequence import Sequence as FlightLogic

__all__ = ["EXECUTORS", "ModelTarget"]

#: both do the same, bit for bit; the compiled one is taken where nothing is asked for
EXECUTORS: Mapping[str, Callable[[FlightLogic], Executor]] = {
    "compiled": CompiledExecutor,
    "reference": ReferenceExecutor,
}


class ModelTarget:
    """A sequence executed by one of our own executors, chosen by name."""

    capabilities = frozenset({Capability.REBOOT, Capability.LOCK_STEP, Capability.REGISTERS})
    tolerance_s = 0.0  # both agree to the last bit

    @staticmethod
    def check(rest: str, executor: str) -> None:
        """Refuse anything behind the colon, and executors that are none of ours."""
        if rest:
            raise UsageError(f"target 'model' takes nothing after the colon (got '{rest}')")
        if executor not in EXECUTORS:
            guess = nearest(executor, EXECUTORS)
            hint = f"; did you mean '{guess}'?" if guess else f" (known: {', '.join(EXECUTORS)})"
            raise UsageError(f"unknown executor '{executor}'{hint}")

    def __init__(self, sequence: FlightLogic, rest: str, executor: str) -> None:
        self.check(rest, executor)
        self._sequence = sequence
        self._executor = EXECUTORS[executor](sequence)
        self._name = executor

    def reset(self, boot: Boot) -> None:
        """Boot the executor; a warm one is given the retained flags as the last tick left them."""
        retained = None
        if boot is Boot.WARM:
            flags = self._executor.flags()
            retained = {
                name: flags[name] for name, flag in self._sequence.flags.items() if flag.retained
            }
        self._executor.boot(retained)

    def exchange(self, tick: int, values: Sequence[float], fresh: Sequence[bool]) -> Outputs:
        """One tick of the executor."""
        return self._executor.tick(tick, values, fresh)

    def registers(self) -> dict[str, float]:
        """Every inner value of the executor, by name."""
        return self._executor.registers()

    def close(self) -> None:
        """Nothing to let go of."""

    def describe(self) -> Mapping[str, str]:
        """Name of the executor."""
        return {"target": "model", "executor": self._name}
