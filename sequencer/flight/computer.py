"""One computer in the loop: its own clock, its target, what it reads and what it drives."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from sequencer.flight import details
from sequencer.flight.clock import Clock
from sequencer.flight.link import Mailbox, Message
from sequencer.flight.log import Log
from sequencer.flight.stalls import Stalls
from sequencer.flight.target import Boot, Target
from sequencer.scenario import Wires
from sequencer.sequence import Sequence as FlightLogic
from sequencer.sequence.ticks import ticks

__all__ = ["Computer", "Note"]

#: why ticks of a computer whose log is nominal are late
_LOG_WRITES = "log writes"

#: (kind, name, detail) -> None: how a computer reports an event of the present tick
Note = Callable[[str, str, str], None]


class Computer:
    """Runs one target on its own clock, nominally `world_rate_hz / rate_hz` world ticks to a tick.

    wires      what its sequence reads and drives in the world
    commands   the world's, which it writes to
    note       how it reports events

    `state` is the state of its sequence, None while it is down; `clock` and `stalls` are there for
    whatever makes it run fast, slow or late; `log` is that of its logger, None without one.
    """

    def __init__(
        self,
        logic: FlightLogic,
        target: Target,
        world_rate_hz: int,
        wires: Wires,
        commands: np.void,
        note: Note,
    ) -> None:
        self.logic = logic
        self.name = logic.name
        self.target = target
        self.state: str | None = None
        self.clock = Clock(world_rate_hz // logic.rate_hz)
        self.stalls = Stalls()
        self.log = Log(wires.logger, logic.rate_hz) if wires.logger is not None else None
        self.boot_number = 0
        self.mailboxes: dict[str, Mailbox] = {}
        self._fields: dict[str, dict[str, int]] = {}
        self._note = note
        self._measured = [(i, sensor) for i, sensor in enumerate(wires.sensors) if sensor >= 0]
        self._values = [math.nan] * len(wires.sensors)
        self._fresh = [False] * len(wires.sensors)
        self._wires = wires
        self._channel_on: NDArray[np.int64] = commands["channel"]
        self._servo_to: NDArray[np.float64] = commands["servo"]
        self._driven: tuple[Sequence[bool], Sequence[float]] | None = None
        self._born = 0
        self._cuts: set[str] = set()
        self._boots_at: int | None = None
        self._numbers = 0
        self._message_inputs: dict[str, list[tuple[int, str]]] = {}
        for i, source in enumerate(logic.inputs.values()):
            if source.message is not None:
                sender, field = source.message
                self._message_inputs.setdefault(sender, []).append((i, field))
        target.reset(Boot.COLD)
        self._start_log()

    @property
    def senders(self) -> tuple[str, ...]:
        """Computers whose messages this one reads."""
        return tuple(self._message_inputs)

    def connect(self, sender: FlightLogic) -> Mailbox:
        """The mailbox for what `sender` publishes, made on the first call."""
        fields = sender.publication.fields if sender.publication is not None else ()
        self._fields[sender.name] = {field: i for i, field in enumerate(fields)}
        return self.mailboxes.setdefault(sender.name, Mailbox())

    def sense(self, values: NDArray[np.float64], fresh: NDArray[np.int64]) -> None:
        """Collect what the sensors said since the last tick; the latest answer wins.

        A computer that is down hears nothing: it boots with what is said just then.
        """
        if self._down:
            self._fresh = [False] * len(self._fresh)
        said, latest = fresh.tolist(), values.tolist()
        for i, sensor in self._measured:
            if said[sensor]:
                self._values[i] = latest[sensor]
                self._fresh[i] = True

    def power_cut(self, why: str) -> None:
        """Outputs off at once; down until `restart` has been called for every such reason."""
        if not self._cuts:
            self._go_down()
        self._cuts.add(why)

    def restart(self, why: str) -> None:
        """Power is back as far as this reason goes.

        With the last of them gone the logic boots at the first own tick after the boot time.
        """
        self._cuts.remove(why)
        if not self._cuts:
            self._boots_at = self.clock.count + self.logic.boot_ticks

    def turn(self, now: int) -> Message | None:
        """The own tick that is due: boot if it is time to, and run the logic unless it is late.

        `now` is the time as `sequencer.flight.link` counts it. Returns what the tick publishes, not
        on its way yet, or None.
        """
        count = self.clock.count
        self.clock.advance()
        if self._cuts or (self._boots_at is not None and count < self._boots_at):
            return None
        if self._boots_at is not None:
            self._boot(count, now)
        if self.stalls.late(count):
            self._note("late", self.name, details.TICK_SKIPPED)
            return None
        message = self._run(count, now)
        if self.log is not None and self.log.add():
            self._note("log_full", self.name, details.log_full(self.log.length_s))
            self.stalls.end(_LOG_WRITES)
        return message

    @property
    def _down(self) -> bool:
        """Whether it has no power, or boots."""
        return bool(self._cuts) or self._boots_at is not None

    def _go_down(self) -> None:
        self._boots_at = None
        self._driven = None
        self.state = None
        for channels in self._wires.channels:
            for channel in channels:
                self._channel_on[channel] = 0
        for servo in self._wires.servos:
            self._servo_to[servo] = math.nan
        self._fresh = [False] * len(self._fresh)
        self.stalls.end(_LOG_WRITES)
        lost = self.log.cut() if self.log is not None else 0.0
        if lost > 0.0:
            self._note("log_cut", self.name, details.log_cut(lost))

    def _boot(self, count: int, now: int) -> None:
        self._boots_at = None
        self._born = count
        self.boot_number += 1
        self._numbers = 0
        for box in self.mailboxes.values():
            box.forget(now)
        self.target.reset(Boot.WARM)
        self._start_log()
        self._note("booted", self.name, details.booted(self.boot_number))

    def _start_log(self) -> None:
        logger = self._wires.logger
        if logger is None or logger.stall_every_s is None or self.log is None or self.log.full:
            return
        every = ticks(logger.stall_every_s, self.logic.rate_hz)
        self.stalls.begin(_LOG_WRITES, every, self._born)

    def _run(self, count: int, now: int) -> Message | None:
        """Read mail, exchange, drive channels and servos."""
        self._read_mail(now)
        outputs = self.target.exchange(count - self._born, self._values, self._fresh)
        self._fresh = [False] * len(self._fresh)
        self.state = outputs.state
        for kind, name, detail in outputs.events:
            self._note(kind, f"{self.name}.{name}", detail)
        self._drive(outputs.on, outputs.demands)
        if outputs.message is None:
            return None
        self._numbers += 1
        return Message(now, self.boot_number, self._numbers, outputs.message)

    def _read_mail(self, now: int) -> None:
        for sender, wanted in self._message_inputs.items():
            message, dropped, corrupt = self.mailboxes[sender].take(now)
            if corrupt:
                self._note("corrupt", f"{self.name}.{sender}", details.corrupt(corrupt))
            if dropped:
                self._note("dropped", f"{self.name}.{sender}", details.dropped(dropped))
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
