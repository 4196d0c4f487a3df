"""Firing circuits by another way: nodal analysis as a matrix, heating by SciPy's solve_ivp.

All keys are turned; servos draw nothing; a battery does not run down within a flight; no load
scatters. So currents are those of the files to a few tenths of a per cent.
"""

from __future__ import annotations

import math
from collections.abc import Collection

import numpy as np
from scipy.integrate import solve_ivp

from sequencer.vehicle import Vehicle
from sequencer.vehicle.model import Load

__all__ = ["Circuits"]

#: C on the pad of the standard atmosphere, at sea level; less by this per m
_SEA_C, _LAPSE = 15.0, 0.0065


class Circuits:
    """Batteries, channels and loads; `spent` are the loads that have acted."""

    def __init__(self, vehicle: Vehicle) -> None:
        self._vehicle = vehicle
        self._celsius = _SEA_C - _LAPSE * vehicle.ground.pad_altitude_m
        self.spent: set[str] = set()
        self._heat = {name: 0.0 for name, load in vehicle.loads.items() if load.does != "signals"}
        self._hot_for = dict.fromkeys(self._heat, 0.0)

    def solve(self, computer: str, channels: Collection[str]) -> tuple[float, dict[str, float]]:
        """Volts at the battery's terminals and amps through the loads of these channels."""
        battery = self._vehicle.computers[computer].battery
        own = [name for name in channels if self._vehicle.channels[name].computer == computer]
        nodes = len(own) + 1  # the terminals, then behind the resistance of each channel
        conductance = np.zeros((nodes, nodes))
        current = np.zeros(nodes)
        inner = battery.resistance(self._celsius)
        conductance[0, 0] += 1.0 / inner
        current[0] = battery.open_circuit_v(battery.charge) / inner - battery.draw_a
        for node, name in enumerate(own, start=1):
            series = 1.0 / self._vehicle.channels[name].resistance_at(self._celsius)
            conductance[0, 0] += series
            conductance[node, node] += series
            conductance[0, node] -= series
            conductance[node, 0] -= series
            for load in self._plugged(name):
                conductance[node, node] += 1.0 / load.resistance_ohm
        volts = np.linalg.solve(conductance, current)
        amps = {
            load.name: float(volts[node]) / load.resistance_ohm
            for node, name in enumerate(own, start=1)
            for load in self._plugged(name)
        }
        return float(volts[0]), amps

    def resistance(self, channel: str) -> float:
        """What a test current finds in a channel, ohm; inf where all is burnt through."""
        conductance = sum(1.0 / load.resistance_ohm for load in self._plugged(channel))
        own = self._vehicle.channels[channel].resistance_at(self._celsius)
        return own + 1.0 / conductance if conductance > 0.0 else math.inf

    def run(
        self, channels: Collection[str], start: float, end: float, up: float, airspeed: float
    ) -> list[tuple[float, Load]]:
        """Currents flow from `start` to `end`; (moment, load) of what acts, in order of time."""
        acted: list[tuple[float, Load]] = []
        while start < end:
            amps: dict[str, float] = {}
            for computer in self._vehicle.computers:
                amps |= self.solve(computer, channels)[1]
            moment = end
            first: Load | None = None
            for name in self._heat:
                load = self._vehicle.loads[name]
                when = self._acts(load, amps.get(name, 0.0), start, end, up, airspeed)
                if when is not None and when < moment:
                    moment, first = when, load
            for name in self._heat:
                load = self._vehicle.loads[name]
                self._warm(load, amps.get(name, 0.0), moment - start, up, airspeed)
            if first is not None:
                self.spent.add(first.name)
                acted.append((moment, first))
            start = moment
        return acted

    def _plugged(self, channel: str) -> list[Load]:
        return [
            load
            for load in self._vehicle.loads.values()
            if load.channel == channel and load.name not in self.spent
        ]

    def _needs(self, load: Load, up: float) -> float:
        """Heat above the air with which it acts, J."""
        wire = load.hot_wire
        if wire is None:
            return load.fire_energy_j
        return wire.heat_capacity_j_k * (wire.burns_at_c - self._celsius + _LAPSE * up)

    @staticmethod
    def _slope(load: Load, amps: float, heat: float, airspeed: float) -> float:
        """How fast its heat grows, W."""
        wire = load.hot_wire
        if wire is not None:
            kelvin = heat / wire.heat_capacity_j_k
            lost = (wire.loss_w_k + wire.loss_wind_w_s_k_m * airspeed) * kelvin
        elif load.no_fire_a is not None and load.fire_energy_j > 0.0:
            lost = load.no_fire_a**2 * load.resistance_ohm * heat / load.fire_energy_j
        else:
            lost = 0.0
        return amps**2 * load.resistance_ohm - lost

    def _acts(
        self, load: Load, amps: float, start: float, end: float, up: float, airspeed: float
    ) -> float | None:
        """When the load acts between these times, or None."""
        heat, needs = self._heat[load.name], self._needs(load, up)
        if load.name in self.spent or (amps == 0.0 and heat == 0.0):
            return None
        hold = 0.0 if load.hot_wire is None else load.hot_wire.burn_s
        hot = start
        if heat < needs:

            def short(_: float, y: np.ndarray) -> float:
                return float(y[0]) - needs

            short.terminal = True  # type: ignore[attr-defined]  # as SciPy wants it
            found = solve_ivp(
                lambda _, y: [self._slope(load, amps, float(y[0]), airspeed)],
                (start, end),
                [heat],
                events=short,
                rtol=1e-8,
                atol=1e-12,
            )
            if not found.t_events[0].size:
                return None
            hot = float(found.t_events[0][0])
        acts = hot + hold - self._hot_for[load.name]
        return acts if acts < end else None

    def _warm(self, load: Load, amps: float, span: float, up: float, airspeed: float) -> None:
        heat, needs = self._heat[load.name], self._needs(load, up)
        if span <= 0.0 or load.name in self.spent or (amps == 0.0 and heat == 0.0):
            return
        found = solve_ivp(
            lambda _, y: [self._slope(load, amps, float(y[0]), airspeed)],
            (0.0, span),
            [heat],
            rtol=1e-8,
            atol=1e-12,
            dense_output=True,
        )
        self._heat[load.name] = float(found.y[0, -1])
        if found.y[0, -1] < needs:
            self._hot_for[load.name] = 0.0
        elif heat >= needs:
            self._hot_for[load.name] += span
        else:  # it got hot on the way
            times = np.linspace(0.0, span, 1001)
            self._hot_for[load.name] = span - float(times[np.argmax(found.sol(times)[0] >= needs)])
