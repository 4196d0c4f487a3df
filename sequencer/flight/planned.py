"""What a scenario plans: crew actions and faults, begun and ended at their moments."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sequencer.flight.computer import Computer
from sequencer.flight.recorder import Recorder
from sequencer.scenario import CrewAction, PlannedFault, Scenario
from sequencer.scenario.trigger import Trigger

__all__ = ["Plan"]


@dataclass(slots=True)
class _Moment:
    """Turns a trigger into the tick at which it begins, once that is known."""

    trigger: Trigger
    rate_hz: int
    been_above: bool = False
    begins: int | None = None

    def check(self, tick: int, recorder: Recorder) -> bool:
        """Whether the moment has come by this tick."""
        if self.begins is None:
            came = self._came(tick, recorder)
            if came is not None:
                self.begins = came + math.ceil(round(self.trigger.after_s * self.rate_hz, 6))
        return self.begins is not None and tick >= self.begins

    def _came(self, tick: int, recorder: Recorder) -> int | None:
        trigger = self.trigger
        if trigger.at_s is not None:
            return math.ceil(round(trigger.at_s * self.rate_hz, 6))
        if trigger.event is not None:
            return tick if trigger.event in recorder.seen else None
        height = recorder.height
        if trigger.above_m is not None:
            return tick if height > trigger.above_m else None
        assert trigger.below_m is not None  # noqa: S101 - the schema demands exactly one
        self.been_above = self.been_above or height > trigger.below_m
        return tick if self.been_above and height < trigger.below_m else None


class Plan:
    """Applies crew actions and faults to the commands and the computers, tick by tick."""

    def __init__(self, scenario: Scenario, computers: Mapping[str, Computer]) -> None:
        self._computers = computers
        rate = scenario.rate_hz
        self._crew = [(action, _Moment(action.trigger, rate)) for action in scenario.crew]
        self._faults = [(fault, _Moment(fault.trigger, rate)) for fault in scenario.faults]
        self._rate = rate
        self._active: set[str] = set()
        self._late: set[str] = set()
        self._cut: set[str] = set()

    def is_late(self, computer: str) -> bool:
        """Whether the computer misses its tick now."""
        return computer in self._late

    def is_cut(self, computer: str) -> bool:
        """Whether what the computer publishes now is lost."""
        return computer in self._cut

    def apply(self, tick: int, recorder: Recorder, commands: np.void) -> None:
        """Begin and end what is due on this tick."""
        waiting: list[tuple[CrewAction, _Moment]] = []
        for action, moment in self._crew:
            if moment.check(tick, recorder):
                commands["switch"][action.switch] = int(action.on)
                recorder.note("crew", action.label)
            else:
                waiting.append((action, moment))
        self._crew = waiting
        for fault, moment in self._faults:
            self._fault(fault, moment, tick, recorder, commands)

    def _fault(
        self,
        fault: PlannedFault,
        moment: _Moment,
        tick: int,
        recorder: Recorder,
        commands: np.void,
    ) -> None:
        begun = moment.check(tick, recorder)
        active = begun and (
            moment.begins is not None and tick < moment.begins + fault.lasts_ticks(self._rate)
        )
        if active == (fault.name in self._active):
            return
        recorder.note("fault_begun" if active else "fault_ended", fault.name, fault.kind)
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
