"""The Python face of drycount, for notebooks and scripts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sequencer.scenario import Scenario, Shortfall, compare, dispersed, load_scenario

if TYPE_CHECKING:
    from sequencer.record import FlightRecord

__all__ = ["LoadedScenario", "load"]


class LoadedScenario:
    """A scenario that can be flown.

    `scenario` gives what was read: vehicle, sequences, faults, requirements.
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario

    def fly(
        self,
        *,
        on: str = "model",
        executor: str = "compiled",
        flight: int = 0,
        seed: int | None = None,
    ) -> FlightRecord:
        """Fly it once and judge it.

        on         target that executes the sequences
        executor   which executor the target "model" uses
        flight     number of a flight of a campaign, drawn plainly; 0: the scenario as it stands
        seed       of all chance; default: the scenario's own

        Returns a record: `events`, `signals` (NumPy arrays by name, `record["height_m"]`),
        `time_s`, `verdicts`, `outcome`, `facts`. Raises UsageError for an unknown target.
        """
        from sequencer.flight.loop import fly  # noqa: PLC0415 - pulls in the kernel

        scenario = self.scenario
        if flight or seed is not None:
            scenario = dispersed(scenario, flight, seed)
        return fly(scenario, on=on, executor=executor)

    def shortfalls(self, record: FlightRecord) -> tuple[Shortfall, ...]:
        """Where `record` is not what the scenario says must come out; empty when all is well."""
        return compare(self.scenario.expect, record)

    def __repr__(self) -> str:
        return f"<scenario {self.scenario.name}: {self.scenario.title}>"


def load(path: str | Path) -> LoadedScenario:
    """Read a scenario file and everything that it names.

    Raises InputError (one line: file, line, what, nearest valid choice).
    """
    return LoadedScenario(load_scenario(path))
