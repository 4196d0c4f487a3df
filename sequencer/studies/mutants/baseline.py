"""Flies a scenario as it stands and keeps what one of its computers was given."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sequencer.execute import Outputs
from sequencer.execute.recording import Given
from sequencer.flight.loop import fly_on
from sequencer.flight.target import Boot, Capability, Target, open_target
from sequencer.scenario import Scenario, compare

__all__ = ["Baseline", "fly_baseline", "read_given"]

_PARTS = ("clocks", "boots", "values", "fresh")


@dataclass(frozen=True, slots=True)
class Baseline:
    """What is known of a scenario that has been flown unchanged.

    shortfall   the first, or None where it is as expected
    states      of the computer, that it entered
    taken       exits that it took
    told        functions that it commanded, whether they were fired or blocked
    ticks       of the world, to the end of the record
    """

    shortfall: str | None
    states: frozenset[str]
    taken: frozenset[str]
    told: frozenset[str]
    ticks: int


def fly_baseline(scenario: Scenario, computer: str, folder: Path) -> Baseline:
    """Fly a scenario and write what a computer of it was given to a folder."""
    targets: dict[str, Target] = {
        name: open_target("model", logic, "compiled") for name, logic in scenario.sequences.items()
    }
    listener = _Listener(targets[computer])
    targets[computer] = listener
    try:
        record = fly_on(scenario, targets)
    finally:
        for target in targets.values():
            target.close()
    folder.mkdir(parents=True, exist_ok=True)
    given = listener.given(len(scenario.sequences[computer].inputs))
    for part in _PARTS:
        np.save(folder / f"{part}.npy", getattr(given, part))
    shortfalls = compare(scenario.expect, record)

    def named(*kinds: str) -> frozenset[str]:
        begin = f"{computer}."
        return frozenset(
            event.name.removeprefix(begin)
            for event in record.events
            if event.kind in kinds and event.name.startswith(begin)
        )

    return Baseline(
        shortfall=shortfalls[0].what if shortfalls else None,
        states=named("entered"),
        taken=named("took"),
        told=named("fired", "blocked", "ignored", "cut"),
        ticks=record.ticks,
    )


def read_given(folder: Path) -> Given:
    """What was written there; pages of files that are read stay where they are."""
    clocks, boots, values, fresh = (
        np.ascontiguousarray(np.load(folder / f"{part}.npy")) for part in _PARTS
    )
    return Given(clocks, boots, values, fresh)


class _Listener:
    """A target that keeps what another is given."""

    def __init__(self, inner: Target) -> None:
        self._inner = inner
        self.capabilities: frozenset[Capability] = inner.capabilities
        self.tolerance_s = inner.tolerance_s
        self._clocks: list[int] = []
        self._boots: list[bool] = []
        self._values: list[tuple[float, ...]] = []
        self._fresh: list[tuple[bool, ...]] = []
        self._booted = False

    @staticmethod
    def check(rest: str, executor: str) -> None:
        """Nothing to refuse."""
        del rest, executor

    def reset(self, boot: Boot) -> None:
        self._booted = boot is Boot.WARM
        self._inner.reset(boot)

    def exchange(self, tick: int, values: Sequence[float], fresh: Sequence[bool]) -> Outputs:
        self._clocks.append(tick)
        self._boots.append(self._booted)
        self._booted = False
        self._values.append(tuple(values))
        self._fresh.append(tuple(fresh))
        return self._inner.exchange(tick, values, fresh)

    def close(self) -> None:
        self._inner.close()

    def describe(self) -> Mapping[str, str]:
        return self._inner.describe()

    def given(self, inputs: int) -> Given:
        """All of it."""
        return Given(
            np.array(self._clocks, dtype=np.int64),
            np.array(self._boots, dtype=np.bool_),
            np.array(self._values, dtype=np.float64).reshape(-1, inputs),
            np.array(self._fresh, dtype=np.bool_).reshape(-1, inputs),
        )
