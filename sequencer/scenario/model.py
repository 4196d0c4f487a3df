"""A scenario with everything resolved: names looked up, files read, units SI."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sequencer.checks import Requirement
from sequencer.errors import UsageError
from sequencer.scenario.cells import Cell
from sequencer.scenario.dispersion_tables import TakenAs
from sequencer.scenario.distributions import Distribution
from sequencer.scenario.expect import Expectation
from sequencer.scenario.trigger import Trigger
from sequencer.sequence import Sequence
from sequencer.vehicle import Vehicle
from sequencer.vehicle.logger import Logger
from sequencer.world.places import Places
from sequencer.world.weather import Gust, Wind

__all__ = [
    "CrewAction",
    "Dispersion",
    "Dispersions",
    "Draft",
    "Link",
    "PlannedFault",
    "Quantity",
    "Recording",
    "Scenario",
    "Wires",
]


@dataclass(frozen=True, slots=True)
class CrewAction:
    """Somebody at the pad operates a switch. `switch` is its index in the world's commands."""

    name: str
    switch: int
    on: bool
    trigger: Trigger

    @property
    def label(self) -> str:
        """Name of the event that it makes: "launch on"."""
        return f"{self.name} {'on' if self.on else 'off'}"


@dataclass(frozen=True, slots=True)
class PlannedFault:
    """Something that goes wrong.

    row       index of the world's fault row, or None where it hits a computer or its link
    place     name of what it hits
    size      how much, in the unit of its row; of faults in the world it stands in `params`
    """

    name: str
    kind: str
    place: str
    row: int | None
    trigger: Trigger
    size: float = 0.0


@dataclass(frozen=True, slots=True)
class Wires:
    """How one computer is connected: indices into the world's sensors, channels and servos.

    sensors    per input of its sequence; -1 where the input is a message
    channels   per pulsed function, in order of declaration
    servos     per servo function, in order of declaration
    power      of its battery, None where nothing is known of it
    logger     what keeps its log, if anything does
    """

    sensors: tuple[int, ...]
    channels: tuple[tuple[int, ...], ...]
    servos: tuple[int, ...]
    power: int | None = None
    logger: Logger | None = None


@dataclass(frozen=True, slots=True)
class Link:
    """Between the computers.

    delay        s from publishing to arriving
    loses        fraction of the messages that never arrive
    repeats      fraction of the messages that arrive twice, the second time `delay` later
    parts_at_m   the umbilical comes off when the vehicle has risen this far; None: it stays
    """

    delay: Fraction
    loses: float = 0.0
    repeats: float = 0.0
    parts_at_m: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """A log that takes the place of a world: what each input answered, and at which world tick.

    ticks      ticks at which anything answered, ascending, shape (n,)
    values     answers in SI, NaN for a bad one, shape (n, inputs); inputs as in `Places.sensors`
    fresh      which inputs answered, shape (n, inputs)
    constants  index of an input -> its value, an answer on every tick
    switches   index of an input that the crew can switch -> index of its switch
    rows       number of rows of the log
    """

    path: Path
    digest: str
    ticks: NDArray[np.int64]
    values: NDArray[np.float64]
    fresh: NDArray[np.bool_]
    constants: Mapping[int, float]
    switches: Mapping[int, int]
    rows: int

    @property
    def last_tick(self) -> int:
        """Tick of the last row."""
        return int(self.ticks[-1])


@dataclass(slots=True, eq=False)
class Draft:
    """What differs from flight to flight, while one flight is drawn; nothing in it is shared."""

    params: np.void
    faults: list[PlannedFault]
    link: Link
    wind: Wind
    gusts: list[Gust]


@dataclass(frozen=True, slots=True, eq=False)
class Quantity:
    """A number of a scenario that may differ from flight to flight.

    name, symbol   "motors.A1.total_impulse_n_s", and the unit that a file gives it in
    nominal        as the files say it, in that unit
    low, high      between which it makes sense, in that unit
    above_low      whether `low` itself does not
    write          puts a value in that unit into a draft
    place          (field, index) in PARAMS and the factor to SI, where it is one number there
    """

    name: str
    symbol: str
    nominal: float
    low: float
    high: float
    above_low: bool
    write: Callable[[Draft, float], None]
    place: tuple[str, int | None, float] | None = None

    def holds(self, value: float) -> bool:
        """Whether a value makes sense."""
        return self.low <= value <= self.high and not (self.above_low and value == self.low)


@dataclass(frozen=True, slots=True, eq=False)
class Dispersion:
    """A quantity, its distribution, and whether what is drawn is its value, a factor or added."""

    quantity: Quantity
    distribution: Distribution
    taken_as: TakenAs

    @property
    def name(self) -> str:
        """That of the quantity."""
        return self.quantity.name

    def of(self, drawn: float) -> float:
        """The value of the quantity, in its unit, that a drawn number stands for."""
        if self.taken_as == "factor":
            return self.quantity.nominal * drawn
        return self.quantity.nominal + drawn if self.taken_as == "added" else drawn


@dataclass(frozen=True, slots=True, eq=False)
class Dispersions:
    """All that differs from flight to flight.

    mixing   lower triangle that makes correlated normal scores of independent ones, shape (n, n);
             None where nothing is correlated
    start    what a flight begins to be drawn from; None where nothing is dispersed
    """

    each: tuple[Dispersion, ...] = ()
    mixing: NDArray[np.float64] | None = None
    start: Callable[[], Draft] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Scenario:
    """What `sequencer.scenario.load_scenario` gives; the fly loop reads nothing else.

    source          where the inputs come from: a vehicle that is simulated, or a log
    input_signals   (signal name, unit, sensor index) for every sensor input of every computer
    hashes          of everything the result is about
    dispersions     what differs from flight to flight of it
    """

    name: str
    path: Path
    title: str
    reason: str
    covers: tuple[Cell, ...]
    tags: tuple[str, ...]
    source: Vehicle | Recording
    sequences: Mapping[str, Sequence]
    wires: Mapping[str, Wires]
    places: Places
    params: np.void
    rate_hz: int
    stop_ticks: int
    after_touchdown_s: float
    link: Link
    crew: tuple[CrewAction, ...]
    faults: tuple[PlannedFault, ...]
    requirements: tuple[Requirement, ...]
    input_signals: tuple[tuple[str, str, int], ...]
    expect: Expectation
    hashes: Mapping[str, str]
    dispersions: Dispersions = Dispersions()

    @property
    def vehicle(self) -> Vehicle:
        """The vehicle that is simulated. Raises UsageError where the inputs come from a log."""
        if isinstance(self.source, Recording):
            raise UsageError(f"{self.path}: takes its inputs from a log, so there is no vehicle")
        return self.source
