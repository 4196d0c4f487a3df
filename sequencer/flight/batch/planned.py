"""Crew, faults and their moments as rows of the batch kernel."""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction

from sequencer.flight.batch.labels import Labels
from sequencer.flight.batch.layout import NEVER, NONE, FaultDoes, When
from sequencer.flight.links import LinkTimes
from sequencer.scenario import PlannedFault, Scenario
from sequencer.scenario.trigger import Trigger
from sequencer.sequence.ticks import ticks
from sequencer.units import exact

__all__ = ["Drifts", "Planned", "TooLargeError", "bounded"]

_MILLION = 1_000_000
#: the kernel adds up a few numbers below this
_LIMIT = 2**59
_DOES: Mapping[str, FaultDoes] = {
    "reboot": FaultDoes.REBOOT,
    "late_ticks": FaultDoes.STALL,
    "logger_stall": FaultDoes.STALL,
    "clock_drift": FaultDoes.DRIFT,
    "link_lost": FaultDoes.LINK_LOST,
    "link_repeated": FaultDoes.LINK_REPEATED,
    "link_delayed": FaultDoes.LINK_DELAYED,
    "link_corrupted": FaultDoes.LINK_CORRUPTED,
    "umbilical_pulled": FaultDoes.PULLED,
    "umbilical_bounces": FaultDoes.BOUNCES,
}


class TooLargeError(Exception):
    """A number that the kernel could not count with."""


def bounded(number: int) -> int:
    """The number. Raises TooLargeError where 64 bits would not be enough."""
    if abs(number) > _LIMIT:
        raise TooLargeError
    return number


class Drifts:
    """Speeds of clocks as whole numbers: parts of own time per world tick.

    nominal   of a clock that is right
    """

    def __init__(self, scenario: Scenario) -> None:
        drifts = [exact(each.size) for each in scenario.faults if each.kind == "clock_drift"]
        self._parts = math.lcm(*(each.denominator for each in drifts))
        self.nominal = _MILLION * self._parts
        slowest = sum((each for each in drifts if each < 0), Fraction(0))
        if _MILLION + slowest <= 0:
            raise TooLargeError

    def turn(self, step: int) -> int:
        """Parts in an own tick of so many world ticks."""
        return bounded(4 * self.nominal * step) // 4

    def gain(self, ppm: float) -> int:
        """What a drift adds to the speed."""
        return bounded(int(exact(ppm) * self._parts))


class Planned:
    """What a scenario plans.

    crew     rows of `Plan.crew`
    faults   rows of `Plan.faults`

    Labels of what it adds are made at once; ask for the moments when all labels are there.
    """

    def __init__(
        self, scenario: Scenario, labels: Labels, times: LinkTimes, drifts: Drifts
    ) -> None:
        self._scenario = scenario
        self._labels = labels
        self._times = times
        self._drifts = drifts
        self._computers = list(scenario.sequences)
        self.crew = [
            [each.switch, int(each.on), labels.add("crew", (each.label,))] for each in scenario.crew
        ]
        self.faults = [self._fault(fault) for fault in scenario.faults]

    def _fault(self, fault: PlannedFault) -> list[int]:
        def detail(_whole: int, _real: float) -> str:
            return fault.kind

        begun = self._labels.add("fault_begun", (fault.name,), detail)
        ended = self._labels.add("fault_ended", (fault.name,), detail)
        if fault.row is not None:
            return [FaultDoes.WORLD, fault.row, 0, 1, begun, ended]
        place = self._computers.index(fault.place) if fault.place in self._computers else NONE
        size, divisor = self._size(fault)
        return [_DOES[fault.kind], place, size, divisor, begun, ended]

    def _size(self, fault: PlannedFault) -> tuple[int, int]:
        """Size and divisor of a fault of computers and links."""
        scenario = self._scenario
        if fault.kind == "late_ticks":
            return 1, 1
        if fault.kind == "logger_stall":
            return bounded(ticks(fault.size, scenario.sequences[fault.place].rate_hz)), 1
        if fault.kind == "clock_drift":
            return self._drifts.gain(fault.size), 1
        if fault.kind in {"link_repeated", "link_delayed"}:
            return bounded(self._times.units(exact(fault.size))), 1
        if fault.kind == "umbilical_bounces":
            size = exact(fault.size)
            bounded(scenario.stop_ticks * size.denominator)
            return bounded(size.numerator * scenario.rate_hz), size.denominator
        return 0, 1

    def moments(self) -> tuple[list[list[int]], list[float]]:
        """Rows of `Plan.moments`, and the heights that they wait for."""
        triggers = [each.trigger for each in self._scenario.crew]
        triggers += [each.trigger for each in self._scenario.faults]
        found = [self._moment(trigger) for trigger in triggers]
        return [row for row, _ in found], [height for _, height in found]

    def _moment(self, trigger: Trigger) -> tuple[list[int], float]:
        rate = self._scenario.rate_hz
        when, label, height = When.TIME, NONE, math.nan
        computer = state = NONE
        if trigger.event is not None:
            when, label = When.EVENT, self._labels.find(trigger.event)
        elif trigger.state is not None:
            when, label = When.STATE, self._labels.find(f"entered {'.'.join(trigger.state)}")
            name, word = trigger.state
            computer = self._computers.index(name)
            state = list(self._scenario.sequences[name].states).index(word)
        elif trigger.above_m is not None:
            when, height = When.ABOVE, trigger.above_m
        elif trigger.below_m is not None:
            when, height = When.BELOW, trigger.below_m
        lasts = trigger.lasts_ticks(rate)
        row = [
            when,
            bounded(trigger.waits_ticks(rate)),
            NEVER if math.isinf(lasts) else bounded(int(lasts)),
            bounded(trigger.at_tick(rate) or 0),
            label,
            computer,
            state,
            self._labels.find(trigger.until),
            int(trigger.while_in),
        ]
        return row, height
