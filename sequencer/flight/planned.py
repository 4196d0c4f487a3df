"""What a scenario plans: crew actions and faults, begun and ended at their moments."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from sequencer.flight.computer import Computer
from sequencer.flight.moment import Moment
from sequencer.flight.recorder import Recorder
from sequencer.scenario import CrewAction, PlannedFault, Scenario

__all__ = ["Plan"]


class Plan:
    """Applies crew actions and faults to the commands and the computers, tick by tick."""

    def __init__(
        self, scenario: Scenario, computers: Mapping[str, Computer], recorder: Recorder
    ) -> None:
        def moment(planned: CrewAction | PlannedFault) -> Moment:
            return Moment(planned.trigger, scenario.rate_hz, recorder, computers)

        self._computers = computers
        self._recorder = recorder
        self._crew = [(action, moment(action)) for action in scenario.crew]
        self._faults = [(fault, moment(fault)) for fault in scenario.faults]
        self._active: set[str] = set()
        self._late: set[str] = set()
        self._cut: set[str] = set()

    def is_late(self, computer: str) -> bool:
        """Whether the computer misses its tick now."""
        return computer in self._late

    def is_cut(self, computer: str) -> bool:
        """Whether what the computer publishes now is lost."""
        return computer in self._cut

    def apply(self, tick: int, commands: np.void) -> None:
        """Begin and end what is due on this tick."""
        waiting: list[tuple[CrewAction, Moment]] = []
        for action, moment in self._crew:
            if moment.active(tick):
                commands["switch"][action.switch] = int(action.on)
                self._recorder.note("crew", action.label)
            else:
                waiting.append((action, moment))
        self._crew = waiting
        for fault, moment in self._faults:
            active = moment.active(tick)
            if active != (fault.name in self._active):
                self._change(fault, tick, commands, active=active)

    def _change(self, fault: PlannedFault, tick: int, commands: np.void, *, active: bool) -> None:
        kind = "fault_begun" if active else "fault_ended"
        self._recorder.note(kind, fault.name, fault.kind)
        if active:
            self._active.add(fault.name)
        else:
            self._active.discard(fault.name)
        if fault.row is not None:
            commands["fault"][fault.row] = int(active)
        else:
            self._computer_fault(fault, tick, active=active)

    def _computer_fault(self, fault: PlannedFault, tick: int, *, active: bool) -> None:
        computer = self._computers[fault.place]
        if fault.kind == "reboot":
            if active:
                computer.power_cut()
            else:
                computer.restart(tick)
        else:
            affected = self._late if fault.kind == "late_ticks" else self._cut
            (affected.add if active else affected.discard)(fault.place)
