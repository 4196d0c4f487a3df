"""What commands act on: pulses and servos, and the inhibits that stand in their way."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from sequencer.execute.values import Compiled, Memory
from sequencer.sequence.model import Command, Function, Inhibit

__all__ = ["Actuators", "Report"]

#: Called with kind, name and detail of an event.
Report = Callable[[str, str, str], None]


class _Pulse:
    """A function that is on for a while; `until` is the clock tick on which it is over."""

    __slots__ = ("function", "until")

    def __init__(self, function: Function) -> None:
        self.function = function
        self.until = 0.0


class _Servo:
    """A function that holds the position that it was last given."""

    __slots__ = ("demand", "function", "positions")

    def __init__(self, function: Function) -> None:
        self.function = function
        self.positions = dict(function.positions)
        self.demand = 0.0


class Actuators:
    """Pulses, servos and inhibits of one computer: step 5 of a tick.

    Use, in this order, once per tick: `end_pulses`, `judge_inhibits`, `follow` for each control
    loop's demand, `carry_out`.
    """

    def __init__(
        self,
        functions: Iterable[Function],
        inhibits: Iterable[Inhibit],
        compiled: Callable[[Inhibit], Compiled],
        report: Report,
    ) -> None:
        functions = tuple(functions)
        self.pulses = {f.name: _Pulse(f) for f in functions if f.kind != "servo"}
        self.servos = {f.name: _Servo(f) for f in functions if f.kind == "servo"}
        self._functions = {function.name: function for function in functions}
        self._inhibits = tuple((inhibit.name, compiled(inhibit)) for inhibit in inhibits)
        self._in_place: dict[str, bool | None] = {}
        self._report = report
        self._pulse_list = tuple(self.pulses.values())
        self._servo_list = tuple(self.servos.values())
        self.reset()

    def reset(self) -> None:
        """At boot: everything off, servos in their starting positions."""
        for pulse in self._pulse_list:
            pulse.until = 0.0
        for servo in self._servo_list:
            servo.demand = servo.positions.get(servo.function.start or "", 0.0)

    def end_pulses(self, clock: int) -> None:
        """A pulse is over on the tick `length` clock ticks after the one that began it."""
        for pulse in self._pulse_list:
            if 0.0 < pulse.until <= clock:
                pulse.until = 0.0
                self._report("ended", pulse.function.name, "")

    def judge_inhibits(self, memory: Memory) -> None:
        """Evaluate every inhibit once; one that is put back cuts the pulses that it blocks."""
        for name, condition in self._inhibits:
            self._in_place[name] = condition(memory)
        for pulse in self._pulse_list:
            if pulse.until and pulse.function.inhibits:
                inhibit = self._blocking(pulse.function)
                if inhibit is not None:
                    pulse.until = 0.0
                    self._report("cut", pulse.function.name, inhibit)

    def follow(self, servo: str, demand: float) -> None:
        """A control loop's demand; a servo whose inhibit is in place stays where it is."""
        actuator = self.servos[servo]
        if self._blocking(actuator.function) is None:
            actuator.demand = demand

    def carry_out(self, queue: Sequence[Command], clock: int) -> None:
        """Execute the commands of this tick in their order.

        A function that was already commanded on this tick, and not cut since, is not commanded
        again; of several moves of one servo only the last is carried out.
        """
        last_move = {
            command.name: index for index, command in enumerate(queue) if command.verb == "move"
        }
        commanded: set[str] = set()
        for index, command in enumerate(queue):
            if command.verb == "move":
                if last_move[command.name] == index:
                    self._move(command)
            elif command.verb == "cut":
                commanded.discard(command.name)
                self._cut(command)
            elif command.name not in commanded:
                commanded.add(command.name)
                self._fire(command, clock)

    def on(self) -> tuple[bool, ...]:
        """Which pulses are on, in order of declaration."""
        return tuple([pulse.until > 0.0 for pulse in self._pulse_list])

    def demands(self) -> tuple[float, ...]:
        """Servo demands, in order of declaration."""
        return tuple([servo.demand for servo in self._servo_list])

    def registers(self) -> Mapping[str, float]:
        """`function.NAME.until` (clock tick, 0 when off) and `function.NAME.demand`."""
        found = {f"function.{name}.until": pulse.until for name, pulse in self.pulses.items()}
        found.update({f"function.{name}.demand": s.demand for name, s in self.servos.items()})
        return found

    def _blocking(self, function: Function) -> str | None:
        """The first inhibit of a function that is in place.

        One that cannot be told counts as in place; for a parachute as removed, because no failed
        sensor may keep a parachute in.
        """
        for name in function.inhibits:
            judged = self._in_place[name]
            if judged is True or (judged is None and function.kind != "parachute"):
                return name
        return None

    def _fire(self, command: Command, clock: int) -> None:
        pulse = self.pulses[command.name]
        if pulse.until:
            self._report("ignored", command.name, "already on")
            return
        inhibit = self._blocking(pulse.function)
        if inhibit is not None:
            self._report("blocked", command.name, inhibit)
            return
        pulse.until = float(clock + pulse.function.pulse_ticks)
        self._report("fired", command.name, "")

    def _cut(self, command: Command) -> None:
        pulse = self.pulses[command.name]
        if pulse.until:
            pulse.until = 0.0
            self._report("cut", command.name, "")

    def _move(self, command: Command) -> None:
        servo = self.servos[command.name]
        inhibit = self._blocking(servo.function)
        if inhibit is not None:
            self._report("blocked", command.name, inhibit)
            return
        position = command.position or ""
        servo.demand = servo.positions[position]
        self._report("moved", command.name, position)
