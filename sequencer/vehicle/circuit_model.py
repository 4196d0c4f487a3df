"""Batteries, channels and loads as resolved data. Numbers are SI, temperatures Celsius."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from sequencer.vehicle import copper

__all__ = ["Battery", "Channel", "HotWire", "Load"]


@dataclass(frozen=True, slots=True)
class Battery:
    """A computer's battery, which also feeds its channels and servos.

    open_circuit   (charge 0..1, V) ascending; straight lines, held at the ends
    charge         at the start, 0..1
    capacity_a_s   inf: it never runs down
    resistance_ohm internal, at 20 C
    resistance_at  (C, factor on resistance_ohm) ascending; empty: 1 everywhere
    sense_factor   what the divider in front of the computer's voltmeter makes of the voltage
    draw_a         of the computer itself
    brown_out_v    below this for brown_out_s the computer loses power; 0: never
    """

    open_circuit: tuple[tuple[float, float], ...]
    charge: float
    capacity_a_s: float
    resistance_ohm: float
    resistance_at: tuple[tuple[float, float], ...]
    sense_factor: float
    draw_a: float
    brown_out_v: float
    brown_out_s: float

    def open_circuit_v(self, charge: float) -> float:
        """Voltage without any current at a charge of 0..1, V."""
        return _between(self.open_circuit, charge)

    def resistance(self, celsius: float) -> float:
        """Internal resistance at a temperature, ohm."""
        if not self.resistance_at:
            return self.resistance_ohm
        return self.resistance_ohm * _between(self.resistance_at, celsius)


@dataclass(frozen=True, slots=True)
class Channel:
    """A pyro output.

    resistance_ohm   of its switch
    wire_ohm         of its copper wire out and back, at 20 C
    wire_m           length of that, both ways together; 0 without one
    test_current_a   of its continuity check; 0 where it has none
    closed_by        crew switches in series with its firing current, which flows only while all
                     are on; the test current goes round them
    opened_by        crew switches that take the load off while any is on, for the test current too
    """

    name: str
    computer: str
    resistance_ohm: float
    connector_ohm: float
    wire_ohm: float
    test_current_a: float
    closed_by: tuple[str, ...]
    opened_by: tuple[str, ...]
    wire_m: float = 0.0

    def resistance_at(self, celsius: float) -> float:
        """Everything between battery and load, ohm; the wire has this temperature."""
        wire = self.wire_ohm * copper.temperature_factor(celsius)
        return self.resistance_ohm + self.connector_ohm + wire


@dataclass(frozen=True, slots=True)
class HotWire:
    """A wire that is heated until the thread around it burns through.

    heat_capacity_j_k                 of the wire
    loss_w_k, loss_wind_w_s_k_m       to the air, per K above it: at rest, and more per m/s of wind
    burns_at_c, burn_s                the thread parts after so long at so much
    """

    heat_capacity_j_k: float
    loss_w_k: float
    loss_wind_w_s_k_m: float
    burns_at_c: float
    burn_s: float


@dataclass(frozen=True, slots=True)
class Load:
    """What is plugged into `channel`.

    does            "lights", "separates", "deploys", "releases", "signals"
    target          motor or parachute that it acts on, else None
    fire_energy_j   heat in its bridge with which it acts; 0: at once
    fire_energy_sd  standard deviation of that between samples, as a fraction of it
    no_fire_a       never acts at this current; of a hot wire: what keeps it just too cold, in still
                    air of 20 C. None where the file gives none
    all_fire_a      always acts at this current; None where the file gives none
    after_firing    "open" or "short"
    hot_wire        where it is one; then fire_energy_j is 0
    """

    name: str
    channel: str
    does: str
    target: str | None
    resistance_ohm: float
    fire_energy_j: float
    fire_energy_sd: float
    no_fire_a: float | None
    all_fire_a: float | None
    after_firing: str
    hot_wire: HotWire | None


def _between(points: tuple[tuple[float, float], ...], x: float) -> float:
    """Straight lines through points that ascend in x, held at the ends."""
    if x <= points[0][0]:
        return points[0][1]
    for (x0, y0), (x1, y1) in pairwise(points):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return points[-1][1]
