"""What lies between the computers: delay, chance, faults, and the cable that comes off.

What becomes of a message is decided when it is published. Chance is a pure function of (seed,
flight, sender, number of the message), so the same messages are lost wherever a flight is flown.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from fractions import Fraction

from sequencer.flight.link import Mailbox, Message
from sequencer.scenario import PlannedFault, Scenario
from sequencer.scenario.computer_faults import COMPUTER_FAULTS
from sequencer.units import exact
from sequencer.world.chance import SOURCE_LINK, uniform_pair

__all__ = ["KINDS", "LinkTimes", "Links"]

#: faults of links and of the umbilical
KINDS = frozenset(kind for kind in COMPUTER_FAULTS if kind.startswith(("link_", "umbilical_")))


class LinkTimes:
    """Times in a unit that tick and all delays share: whole numbers compare exactly.

    per_tick   units to a world tick
    """

    def __init__(self, scenario: Scenario) -> None:
        late = [
            exact(f.size) for f in scenario.faults if f.kind in {"link_repeated", "link_delayed"}
        ]
        shared = (scenario.link.delay, *late)
        self._per_s = math.lcm(scenario.rate_hz, *(each.denominator for each in shared))
        self.per_tick = self._per_s // scenario.rate_hz

    def units(self, seconds: Fraction) -> int:
        """That long in units."""
        return int(seconds * self._per_s)


class Links:
    """Takes messages from their senders to the mailboxes of their readers.

    boxes    sender -> mailboxes of whoever reads what it publishes
    height   of the vehicle as it stands on its pad, m
    """

    def __init__(
        self, scenario: Scenario, boxes: Mapping[str, Iterable[Mailbox]], height: float
    ) -> None:
        self._link = scenario.link
        self._boxes = {name: tuple(found) for name, found in boxes.items()}
        self._source = {name: SOURCE_LINK + i for i, name in enumerate(boxes)}
        self._sent = dict.fromkeys(boxes, 0)
        self._seed = int(scenario.params["seed"])
        self._flight = int(scenario.params["flight"])
        self._rate = scenario.rate_hz
        self._stands_at = height
        self._parted = False
        #: active faults by name, and the tick at which each began
        self._active: dict[str, tuple[PlannedFault, int]] = {}
        self._times = LinkTimes(scenario)
        self._delay = self._times.units(scenario.link.delay)
        self._by_chance = scenario.link.loses > 0.0 or scenario.link.repeats > 0.0

    def now(self, tick: int) -> int:
        """The world tick as a time of messages."""
        return tick * self._times.per_tick

    def begin(self, fault: PlannedFault, tick: int) -> None:
        """A fault of a link or of the umbilical sets in."""
        self._active[fault.name] = (fault, tick)

    def end(self, fault: PlannedFault) -> None:
        """It is over."""
        self._active.pop(fault.name, None)

    def rise(self, height: float) -> bool:
        """The vehicle is at this height now; True when the umbilical parts just then.

        A height that is not known (NaN, as in a replayed log) parts nothing.
        """
        parts_at = self._link.parts_at_m
        if self._parted or parts_at is None:
            return False
        self._parted = height - self._stands_at >= parts_at
        return self._parted

    def send(self, sender: str, message: Message, tick: int) -> None:
        """Put on its way what `sender` publishes on this tick; its `arrival` is the time now."""
        number = self._sent[sender]
        self._sent[sender] += 1
        if self._parted:
            return
        ways: tuple[int, ...] = (self._delay,)
        whole = True
        if self._active or self._by_chance:
            ways, whole = self._fate(sender, number, tick)
        for way in ways:
            at = message.arrival + way
            sent = Message(at, message.boot, message.number, message.values, whole)
            for box in self._boxes[sender]:
                box.post(sent)

    def _fate(self, sender: str, number: int, tick: int) -> tuple[tuple[int, ...], bool]:
        """How long each copy of a message is on its way, and whether they arrive whole."""
        faults = [fault for fault, _ in self._active.values() if fault.place == sender]
        kinds = {fault.kind for fault in faults}
        if "link_lost" in kinds or not self._contact(tick):
            return (), True
        lost, twice = self._chance(sender, number)
        if lost:
            return (), True
        delay = self._delay + self._sum(faults, "link_delayed")
        ways = [delay]
        if twice:
            ways.append(delay + self._delay)
        if "link_repeated" in kinds:
            ways.append(delay + self._sum(faults, "link_repeated"))
        return tuple(ways), "link_corrupted" not in kinds

    def _chance(self, sender: str, number: int) -> tuple[bool, bool]:
        """Whether this message is lost, and whether it comes twice."""
        if not self._by_chance:
            return False, False
        link = self._link
        first, second = uniform_pair(self._seed, self._flight, self._source[sender], number)
        return first < link.loses, second < link.repeats

    def _contact(self, tick: int) -> bool:
        """Whether a fault leaves the umbilical in contact."""
        for fault, began in self._active.values():
            if fault.kind == "umbilical_pulled":
                return False
            if fault.kind == "umbilical_bounces":
                size = exact(fault.size)
                if Fraction(tick - began, self._rate) % size >= size / 2:
                    return False
        return True

    def _sum(self, faults: list[PlannedFault], kind: str) -> int:
        return sum(self._times.units(exact(each.size)) for each in faults if each.kind == kind)
