"""The loop: crew, computers and world, one tick of the faster computer after another."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from fractions import Fraction

from peer.senses import Sense
from peer.world import Touchdown, World
from sequencer.execute import ReferenceExecutor
from sequencer.scenario import Scenario
from sequencer.sequence import Sequence as FlightLogic
from sequencer.vehicle import Vehicle

__all__ = ["PeerFlight", "fly", "quiet"]


@dataclass(slots=True)
class PeerFlight:
    """What came out: events as (tick, label); position (east, north, up) in m on every tick."""

    events: list[tuple[int, str]] = field(default_factory=list)
    path: list[tuple[float, ...]] = field(default_factory=list)
    touchdown: Touchdown | None = None
    apogee_m: float = 0.0


class _Board:
    """One computer: its executor, what it has heard since its last tick, and its wires."""

    def __init__(self, logic: FlightLogic, vehicle: Vehicle, rate_hz: int) -> None:
        self.logic = logic
        self.step = rate_hz // logic.rate_hz
        self.values = [math.nan] * len(logic.inputs)
        self.fresh = [False] * len(logic.inputs)
        self.mail: list[tuple[Fraction, str, dict[str, float]]] = []
        self.channels: set[str] = set()
        self._executor = ReferenceExecutor(logic)
        inputs = list(enumerate(logic.inputs.values()))
        self._senses = [
            (i, Sense(vehicle.sensors[f"{logic.name}.{each.name}"], rate_hz))
            for i, each in inputs
            if each.message is None
        ]
        self._heard = [(i, *each.message) for i, each in inputs if each.message is not None]
        wires = vehicle.wiring[logic.name]
        kinds = [(wires[name], each.kind == "servo") for name, each in logic.functions.items()]
        self._pulsed = [wire.channels for wire, is_servo in kinds if not is_servo]
        servos = [vehicle.servos[wire.servo or ""] for wire, is_servo in kinds if is_servo]
        self._servos = [(servo.role, servo.gimbal) for servo in servos]

    def sense(self, tick: int, world: World, switches: dict[str, bool]) -> None:
        """Ask every sensor; the latest answer stays."""
        for i, sense in self._senses:
            answer = sense.answer(tick, world, switches)
            if answer is not None:
                self.values[i], self.fresh[i] = answer, True

    def run(self, tick: int, world: World, flight: PeerFlight) -> dict[str, float] | None:
        """One tick of its logic; returns what it publishes."""
        while self.mail and self.mail[0][0] < tick:  # visible strictly after it has arrived
            _, sender, fields = self.mail.pop(0)
            for i, wanted, name in self._heard:
                if wanted == sender:
                    self.values[i], self.fresh[i] = fields[name], True
        outputs = self._executor.tick(tick // self.step, self.values, self.fresh)
        self.fresh = [False] * len(self.fresh)
        for kind, name, _ in outputs.events:
            flight.events.append((tick, f"{kind} {self.logic.name}.{name}"))
        driven = zip(outputs.on, self._pulsed, strict=True)
        self.channels = {channel for on, channels in driven for channel in channels if on}
        for key, demand in zip(self._servos, outputs.demands, strict=True):
            world.body.moves[key] = world.body.moves[key].towards(demand, world.time)
        if outputs.message is None or self.logic.publication is None:
            return None
        return dict(zip(self.logic.publication.fields, outputs.message, strict=True))


def quiet(scenario: Scenario) -> Scenario:
    """The same scenario for the twin: sensors neither err nor round, igniters do not scatter."""
    params = scenario.params.copy()
    for name in ("sensor_noise", "sensor_bias", "sensor_quantum", "load_spread"):
        params[name] = 0.0
    return replace(scenario, params=params)


def fly(scenario: Scenario, *, steps: int = 1) -> PeerFlight:
    """Fly a scenario to its end. Raises ValueError for what the peer leaves out.

    steps   into which a tick is cut. SciPy's RK45 takes a piece in one step if that is accurate
            enough, which it nearly always is. With the twin's own number of steps per tick, both
            integrate, heat igniters and look for the ground as often
    """
    _refuse(scenario)
    rate, delay = scenario.rate_hz, scenario.link.delay * scenario.rate_hz
    step_s = 1.0 / (rate * int(scenario.params["substeps"]))
    world, flight = World(scenario.vehicle, step_s), PeerFlight()
    boards = [_Board(logic, scenario.vehicle, rate) for logic in scenario.sequences.values()]
    switches: dict[str, bool] = {}
    tick, stop = 0, scenario.stop_ticks
    for board in boards:
        board.sense(tick, world, switches)
    while tick < stop:
        flight.path.append(tuple(world.state[:3].tolist()))
        for action in scenario.crew:
            if tick == math.ceil(round((action.trigger.at_s or 0.0) * rate, 6)):
                switches[action.name] = action.on
                flight.events.append((tick, f"crew {action.label}"))
        for board in boards:
            message = board.run(tick, world, flight) if tick % board.step == 0 else None
            if message is not None:
                for other in boards:
                    other.mail.append((tick + delay, board.logic.name, message))
        tick += 1
        known = len(world.facts)
        channels = {c for board in boards for c in board.channels}
        _advance(world, channels, [(tick - 1 + n / steps) / rate for n in range(1, steps + 1)])
        flight.events += [(tick, fact) for fact in world.facts[known:]]
        for board in boards:
            board.sense(tick, world, switches)
        if world.touchdown is not None:
            stop = math.ceil((world.touchdown.time_s + scenario.after_touchdown_s) * rate)
    flight.events.append((tick, "ended flight"))
    flight.touchdown, flight.apogee_m = world.touchdown, world.highest
    return flight


def _advance(world: World, channels: set[str], moments: list[float]) -> None:
    """Fly to each of these times, ascending, in turn."""
    for moment in moments:
        world.conduct(channels, moment)
        world.advance(moment)


def _refuse(scenario: Scenario) -> None:
    """Raise ValueError for anything that the peer does not know."""
    params, vehicle = scenario.params, scenario.vehicle
    weather = ("wind_levels", "gusts", "turbulence_w20", "temperature_offset", "pressure_offset")
    if (
        scenario.faults
        or (scenario.link.loses, scenario.link.repeats) != (0.0, 0.0)
        or any(action.trigger.at_s is None for action in scenario.crew)
        or any(params[name] for name in weather)
        or vehicle.ground.obstacles
        or vehicle.ground.rail_tilt_rad != 0.0
        or any(
            motor.ejection is not None and motor.part == vehicle.carrier.name
            for motor in vehicle.motors.values()
        )
    ):
        raise ValueError(f"{scenario.name}: the peer flies calm scenarios without faults only")
