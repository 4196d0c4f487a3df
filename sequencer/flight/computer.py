"""One computer in the loop: its own clock, its target, what it reads and what it drives."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.flight.link import Mailbox, Message
from sequencer.flight.target import Boot, Target
from sequencer.sequence import Sequence as FlightLogic

__all__ = ["Computer", "Note"]

#: (kind, name, detail) -> None: how a computer reports an event of the present tick
Note = Callable[[str, str, str], None]


class Computer:
    """Runs one target on its own clock, `world_rate_hz / rate_hz` world ticks to a tick.

    sensors      per input the index of its sensor in the world's answer, or -1 for a message
    channels     per pulsed function the channels that it drives
    servos       per servo function the servo that it drives
    """

    def __init__(  # noqa: PLR0913 - wires one computer to the world once, at the start
        self,
        logic: FlightLogic,
        target: Target,
        world_rate_hz: int,
        sensors: Sequence[int],
        channels: Sequence[Sequence[int]],
        servos: Sequence[int],
    ) -> None:
        self.logic = logic
        self.name = logic.name
        self.target = target
        self.boot_number = 0
        self.mailboxes: dict[str, Mailbox] = {}
        self._fields: dict[str, dict[str, int]] = {}
        self._step = world_rate_hz // logic.rate_hz
        self._sensors = [(i, sensor) for i, sensor in enumerate(sensors) if sensor >= 0]
        self._indices = np.array([sensor for _, sensor in self._sensors], dtype=np.intp)
        self._values = [math.nan] * len(sensors)
        self._fresh = [False] * len(sensors)
        self._channels = channels
        self._servos = servos
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
        said = fresh[self._indices].tolist()
        if any(said):
            latest = values[self._indices].tolist()
            for (i, _), refreshed, value in zip(self._sensors, said, latest, strict=True):
                if refreshed:
                    self._values[i] = value
                    self._fresh[i] = True

    def power_cut(self, commands: np.void) -> None:
        """Outputs off at once; the computer stays down until `restart` has run its time."""
        for channels in self._channels:
            for channel in channels:
                commands["channel"][channel] = 0
        for servo in self._servos:
            commands["servo"][servo] = math.nan
        self._fresh = [False] * len(self._fresh)
        for box in self.mailboxes.values():
            box.forget()

    def restart(self, tick: int) -> None:
        """Power is back: the logic boots at the first own tick after the boot time."""
        self._down_until = tick + self.logic.boot_ticks * self._step

    @property
    def is_down(self) -> bool:
        """Whether the computer is without power or still booting."""
        return self._down_until is not None

    def hold_down(self) -> None:
        """Stay without power until `restart`."""
        self._down_until = -1

    def wake(self, tick: int, note: Note) -> bool:
        """Boot if the boot time is over; whether the computer runs on this tick."""
        if self._down_until is None:
            return True
        if self._down_until < 0 or tick < self._down_until:
            return False
        self._down_until = None
        self._born = tick
        self.boot_number += 1
        self._numbers = 0
        self.target.reset(Boot.WARM)
        note("booted", self.name, f"boot {self.boot_number}")
        return True

    def run(
        self, tick: int, now: Fraction, commands: np.void, note: Note, delay: Fraction
    ) -> Message | None:
        """One tick of the logic: read mail, exchange, drive channels and servos.

        Returns the message that this tick publishes, with its arrival time, or None.
        """
        self._read_mail(now, note)
        clock = (tick - self._born) // self._step
        outputs = self.target.exchange(clock, self._values, self._fresh)
        self._fresh = [False] * len(self._fresh)
        for kind, name, detail in outputs.events:
            note(kind, f"{self.name}.{name}", detail)
        self._drive(outputs.on, outputs.demands, commands)
        if outputs.message is None:
            return None
        self._numbers += 1
        return Message(now + delay, self.boot_number, self._numbers, outputs.message)

    def _read_mail(self, now: Fraction, note: Note) -> None:
        for sender, wanted in self._message_inputs.items():
            message, dropped = self.mailboxes[sender].take(now)
            if dropped:
                note("dropped", f"{self.name}.{sender}", f"{dropped} not newer")
            if message is None:
                continue
            for i, field in wanted:
                self._values[i] = message.values[self._fields[sender][field]]
                self._fresh[i] = True

    def _drive(
        self, on: Sequence[bool], demands: Sequence[float], commands: np.void
    ) -> None:
        channel_on = commands["channel"]
        for channels in self._channels:
            for channel in channels:
                channel_on[channel] = 0
        for active, channels in zip(on, self._channels, strict=True):
            if active:
                for channel in channels:
                    channel_on[channel] = 1
        servo_to = commands["servo"]
        for servo, demand in zip(self._servos, demands, strict=True):
            servo_to[servo] = demand
