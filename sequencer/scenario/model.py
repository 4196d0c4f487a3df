"""A scenario with everything resolved: names looked up, files read, units SI."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from sequencer.checks import Requirement
from sequencer.scenario.cells import Cell
from sequencer.scenario.expect import Expectation
from sequencer.scenario.trigger import Trigger
from sequencer.sequence import Sequence
from sequencer.vehicle import Vehicle
from sequencer.vehicle.logger import Logger
from sequencer.world.assemble import Places

__all__ = ["CrewAction", "Link", "PlannedFault", "Scenario", "Wires"]


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
class Scenario:
    """What `sequencer.scenario.load_scenario` gives; the fly loop reads nothing else.

    input_signals   (signal name, unit, sensor index) for every sensor input of every computer
    hashes          of everything the result is about
    """

    name: str
    path: Path
    title: str
    reason: str
    covers: tuple[Cell, ...]
    tags: tuple[str, ...]
    vehicle: Vehicle
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
