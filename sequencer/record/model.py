"""Events, signals and verdicts of one flight, as plain data.

Time is counted in world ticks; seconds are `tick / rate_hz`, rounded once, so that a decimal
window such as 0.07 s compares equal to the seventh tick at 100 Hz.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sequencer.record.divergence import Divergence

__all__ = ["Event", "FlightRecord", "Signal", "Verdict", "time_text"]


@dataclass(frozen=True, slots=True)
class Event:
    """A timed fact.

    `kind` is one word of the vocabulary in docs/events.md ("entered", "fired", "liftoff", ...),
    `name` what it is about ("flight.ascent", "flight.landing_1", "M1") or "" where the kind says
    it all, `detail` a short human remark that no check reads.
    """

    tick: int
    kind: str
    name: str = ""
    detail: str = ""

    @property
    def label(self) -> str:
        """What requirements call this event: "entered flight.ascent", or just "liftoff"."""
        return f"{self.kind} {self.name}" if self.name else self.kind


@dataclass(frozen=True, slots=True, eq=False)
class Signal:
    """One quantity over the flight: `values` has shape (ticks,), one value per world tick.

    NaN stands for "no value" (a sensor that never answered). `unit` is a symbol of
    `sequencer.units`; the name carries it as a suffix (height_m, tilt_deg).
    """

    name: str
    unit: str
    values: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What one requirement came to in one flight.

    status       "met", "broken", "not exercised" (its trigger never came) or "not decided" (the
                 record ended first)
    margin       distance from being broken, in `unit`; negative when broken; None where the
                 status leaves none; inf where nothing ever came near
    start, end   ticks between which it was broken (or where the margin was least), or None
    because      one sentence for a person
    """

    requirement: str
    status: str
    margin: float | None
    unit: str
    start: int | None
    end: int | None
    because: str
    reason: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class FlightRecord:
    """Everything that one run left behind.

    rate_hz      world ticks per second
    ticks        number of world ticks flown; every signal has this length
    outcome      one word of `sequencer.scenario.OUTCOMES` ("landed", "recovered", "on_pad", ...)
    facts        numbers worth a line in a report (touchdown speed, apogee, ...), name -> value, the
                 name carrying its unit as a suffix
    hashes       of sequences, vehicle, wiring, scenario, requirements: what this result is about
    logic        flags and states of the computers as signals, worked out from the events when
                 asked for (`sequencer.record.logic`); reports leave them out
    divergences  where computers first did something else than the model, at most one for each,
                 in order of time; empty where the model executed them all
    tolerance_s  by how much its times may differ from those of the model's flight, s: more than 0
                 where something executed it that does not promise the same bits
    """

    scenario: str
    rate_hz: int
    ticks: int
    events: tuple[Event, ...]
    signals: Mapping[str, Signal]
    outcome: str
    facts: Mapping[str, float] = field(default_factory=dict)
    hashes: Mapping[str, str] = field(default_factory=dict)
    verdicts: tuple[Verdict, ...] = ()
    logic: Mapping[str, Signal] = field(default_factory=dict, repr=False)
    divergences: tuple[Divergence, ...] = ()
    tolerance_s: float = 0.0

    @property
    def time_s(self) -> NDArray[np.float64]:
        """Times of the samples, shape (ticks,), s."""
        return np.arange(self.ticks, dtype=np.float64) / self.rate_hz

    def seconds(self, tick: int) -> float:
        """Time of a tick in s, rounded once."""
        return tick / self.rate_hz

    def find(self, label: str) -> Iterator[Event]:
        """All events with this label, in order of time."""
        return (event for event in self.events if event.label == label)

    def first(self, label: str) -> Event | None:
        """The first event with this label, or None."""
        return next(self.find(label), None)

    def __getitem__(self, name: str) -> NDArray[np.float64]:
        """Values of the named signal, shape (ticks,). Raises KeyError for an unknown name."""
        return (self.signals[name] if name in self.signals else self.logic[name]).values


def time_text(tick: int, rate_hz: int) -> str:
    """Time of a tick for a person, "12.34 s", with the digits that the rate needs."""
    digits = max(2, math.ceil(math.log10(max(rate_hz, 1))))
    return f"{tick / rate_hz:.{digits}f} s"
