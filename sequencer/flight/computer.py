"""One computer in the loop: its own clock, its target, what it reads and what it drives."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from sequencer.flight.link import Mailbox, Message
from sequencer.flight.target import Boot, Target
from sequencer.scenario import Wires
from sequencer.sequence import Sequence as FlightLogic

__all__ = ["Computer", "Note"]

#: time of the next boot while nobody has given power back
_WITHOUT_POWER = -1

#: (kind, name, detail) -> None: how a computer reports an event of the present tick
Note = Callable[[str, str, str], None]


class Computer:
    """Runs one target on its own clock, `world_rate_hz / rate_hz` world ticks to a tick.

    sensors      per input the index of its sensor in the world's answer, or -1 for a message
    channels     per pulsed function the channels that it drives
    servos       per servo function the servo that it drives
    commands     the world's, which it writes to

    `state` is the state of its sequence, None while it is down.
    """

    def __init__(
        self,
        logic: FlightLogic,
        target: Target,
        world_rate_hz: int,
        wires: Wires,
        commands: np.void,
    ) -> None:
        self.logic = logic
        self.name = logic.name
        self.target = target
        self.state: str | None = None
        self.boot_number = 0
        self.mailboxes: dict[str, Mailbox] = {}
        self._fields: dict[str, dict[str, int]] = {}
        self._step = world_rate_hz // logic.rate_hz
        self._measured = [(i, sensor) for i, sensor in enumerate(wires.sensors) if sensor >= 0]
        self._values = [math.nan] * len(wires.sensors)
        self._fresh = [False] * len(wires.sensors)
        self._wires = wires
        self._channel_on: NDArray[np.int64] = commands["channel"]
        self._servo_to: NDArray[np.float64] = commands["servo"]
        self._driven: tuple[Sequence[bool], Sequence[float]] | None = None
        self._born = 0
        self._down_until: int | None = None
        self._numbers = 0
        self._message_inputs: dict[str, list[tuple[int, str]]] = {}
        for i, source in enumerate(logic.inputs.values()):
            if source.message is not None:
                sender, field = source.message
                self._message_inputs.setdefault(sender, []).append((i, field))
        target.reset(Boot.COLD)

    @property
    def senders(self) -> tuple[str, ...]:
        """Computers whose messages this one reads."""
        return tuple(self._message_inputs)

    def connect(self, sender: FlightLogic) -> Mailbox:
        """The mailbox for what `sender` publishes, made on the first call."""
        fields = sender.publication.fields if sender.publication is not None else ()
        self._fields[sender.name] = {field: i for i, field in enumerate(fields)}
        return self.mailboxes.setdefault(sender.name, Mailbox())

    def due(self, tick: int) -> bool:
        """Whether this world tick is one of the computer's own."""
        return tick % self._step == 0

    def sense(self, values: NDArray[np.float64], fresh: NDArray[np.int64]) -> None:
        """Collect what the sensors said since the last tick; the latest answer wins."""
        said, latest = fresh.tolist(), values.tolist()
        for i, sensor in self._measured:
            if said[sensor]:
                self._values[i] = latest[sensor]
                self._fresh[i] = True

    def power_cut(self) -> None:
        """Outputs off at once; the computer stays down until `restart` has run its time."""
        self._down_until = _WITHOUT_POWER
        self._driven = None
        self.state = None
        for channels in self._wires.channels:
            for channel in channels:
                self._channel_on[channel] = 0
        for servo in self._wires.servos:
            self._servo_to[servo] = math.nan
        self._fresh = [False] * len(self._fresh)
        for box in self.mailboxes.values():
            box.forget()

    def restart(self, tick: int) -> None:
        """Power is back: the logic boots at the first own tick after the boot time."""
        self._down_until = tick + self.logic.boot_ticks * self._step

    def wake(self, tick: int, note: Note) -> bool:
        """Boot if the boot time is over; whether the computer runs on this tick."""
        if self._down_until is None:
            return True
        if self._down_until == _WITHOUT_POWER or tick < self._down_until:
            return False
        self._down_until = None
        self._born = tick
        self.boot_number += 1
        self._numbers = 0
        self.target.reset(Boot.WARM)
        note("booted", self.name, f"boot {self.boot_number}")
        return True

    def run(self, tick: int, now: int, delay: int, note: Note) -> Message | None:
        """One tick of the logic: read mail, exchange, drive channels and servos.

        `now` and `delay` are times as `sequencer.flight.link` counts them. Returns the message
        that this tick publishes, with its arrival time, or None.
        """
        self._read_mail(now, note)
        clock = (tick - self._born) // self._step
        outputs = self.target.exchange(clock, self._values, self._fresh)
        self._fresh = [False] * len(self._fresh)
        self.state = outputs.state
        for kind, name, detail in outputs.events:
            note(kind, f"{self.name}.{name}", detail)
        self._drive(outputs.on, outputs.demands)
        if outputs.message is None:
            return None
        self._numbers += 1
        return Message(now + delay, self.boot_number, self._numbers, outputs.message)

    def _read_mail(self, now: int, note: Note) -> None:
        for sender, wanted in self._message_inputs.items():
            message, dropped = self.mailboxes[sender].take(now)
            if dropped:
                note("dropped", f"{self.name}.{sender}", f"{dropped} not newer")
            if message is None:
                continue
            for i, field in wanted:
                self._values[i] = message.values[self._fields[sender][field]]
                self._fresh[i] = True

    def _drive(self, on: Sequence[bool], demands: Sequence[float]) -> None:
        """Drive what has changed; functions that share a channel are OR-ed."""
        if self._driven == (on, demands):
            return
        self._driven = (on, demands)
        for channels in self._wires.channels:
            for channel in channels:
                self._channel_on[channel] = 0
        for active, channels in zip(on, self._wires.channels, strict=True):
            if active:
                for channel in channels:
                    self._channel_on[channel] = 1
        for servo, demand in zip(self._wires.servos, demands, strict=True):
            self._servo_to[servo] = demand
