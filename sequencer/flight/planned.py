"""What a scenario plans: crew actions and faults, begun and ended at their moments."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

import numpy as np

from sequencer.flight.computer import Computer
from sequencer.flight.links import KINDS, Links
from sequencer.flight.moment import Moment
from sequencer.flight.recorder import Recorder
from sequencer.scenario import CrewAction, PlannedFault, Scenario
from sequencer.sequence.ticks import ticks
from sequencer.units import exact

__all__ = ["Plan"]

_EVERY_TICK = 1


class Plan:
    """Applies crew actions and faults to the world, the computers and their links, tick by tick."""

    def __init__(
        self,
        scenario: Scenario,
        computers: Mapping[str, Computer],
        links: Links,
        recorder: Recorder,
    ) -> None:
        def moment(planned: CrewAction | PlannedFault) -> Moment:
            return Moment(planned.trigger, scenario.rate_hz, recorder, computers)

        self._computers = computers
        self._links = links
        self._recorder = recorder
        self._crew = [(action, moment(action)) for action in scenario.crew]
        self._faults = [(fault, moment(fault)) for fault in scenario.faults]
        self._active: set[str] = set()
        self._drifts: dict[str, PlannedFault] = {}

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
        elif fault.kind not in KINDS:
            self._computer_fault(fault, tick, active=active)
        elif active:
            self._links.begin(fault, tick)
        else:
            self._links.end(fault)

    def _computer_fault(self, fault: PlannedFault, tick: int, *, active: bool) -> None:
        computer = self._computers[fault.place]
        reason = f"fault {fault.name}"
        if fault.kind == "reboot":
            if active:
                computer.power_cut(reason)
            else:
                computer.restart(reason)
        elif fault.kind in {"late_ticks", "logger_stall"}:
            if active:
                rate = computer.logic.rate_hz
                every = _EVERY_TICK if fault.kind == "late_ticks" else ticks(fault.size, rate)
                computer.stalls.begin(reason, every, computer.clock.count)
            else:
                computer.stalls.end(reason)
        elif fault.kind == "clock_drift":
            if active:
                self._drifts[fault.name] = fault
            else:
                self._drifts.pop(fault.name)
            same = (each for each in self._drifts.values() if each.place == fault.place)
            computer.clock.drift(sum((exact(each.size) for each in same), Fraction(0)), tick)
