"""The vehicle from the pad to the ground: what holds it, what happens to it, and when."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Literal, NamedTuple

import numpy as np
from scipy.optimize import brentq

from peer.body import Body, State, matrix
from peer.circuits import Circuits
from peer.motion import GRAVITY, SOON
from sequencer.vehicle import Vehicle
from sequencer.vehicle.model import Load

__all__ = ["Touchdown", "World"]


class Touchdown(NamedTuple):
    """The moment at which the feet meet the ground; speeds in m/s, `speed` positive downwards."""

    time_s: float
    speed: float
    sideways: float
    east_m: float
    north_m: float


class World:
    """The physics. `facts` grows by the labels of what has happened, in order.

    step_s   the twin's integration step: at the end of one, and not in between, it lets go and
             parts, and so does this
    """

    def __init__(self, vehicle: Vehicle, step_s: float) -> None:
        self._step = step_s
        self.vehicle = vehicle
        self.body = Body(vehicle)
        self.held: Literal["clamped", "rail", "free", "down"] = "clamped"
        self.released = False
        self.time = 0.0
        self.circuits = Circuits(vehicle)
        self.channels: set[str] = set()
        self.facts: list[str] = []
        self.touchdown: Touchdown | None = None
        self.highest = 0.0
        self._agenda: list[tuple[float, Callable[[], None]]] = []
        s = math.sqrt(0.5)  # nose up: body x is up, y north, z west
        self.state: State = np.array([*[0.0] * 6, s, 0.0, -s, *[0.0] * 4])
        self.state[2] = self.body.tail_station - self.body.balance(0.0).centre

    def conduct(self, channels: set[str], until: float) -> None:
        """These channels conduct from now until then; what gets hot enough acts in time."""
        self.channels = channels
        up, airspeed = float(self.state[2]), float(np.linalg.norm(self.state[3:6]))  # it is calm
        for exact, load in self.circuits.run(channels, self.time, until, up, airspeed):
            moment = exact
            if load.does in {"releases", "separates"}:
                moment = math.ceil(moment / self._step - SOON) * self._step
            self._agenda.append((moment, partial(self._act, load)))

    def advance(self, until: float) -> None:
        """Fly to this time, from one moment at which something happens to the next."""
        while due := [each for each in self._agenda if each[0] <= until + SOON]:
            moment = min(due, key=lambda each: each[0])
            self._agenda.remove(moment)
            self.fly(min(moment[0], until))
            moment[1]()
        self.fly(until)

    def pull(self) -> float:
        """Force on the hold-down, N: thrust along the axis less weight."""
        (along, _, _), _, balance = self.body.push(self.time, self.state.tolist())
        return along - balance.mass * GRAVITY if self.held == "clamped" else 0.0

    def _act(self, load: Load) -> None:
        """The load burns through and does what it is there for."""
        self.facts.append(f"acted {load.name}")
        if load.does == "lights":
            burn = self.body.burns[str(load.target)]
            burn.onset_s = self.time + burn.motor.ignition_delay_s
            self._agenda.append((burn.onset_s, partial(self.facts.append, f"lit {load.target}")))
            self._agenda.append((burn.end_s, partial(self.facts.append, f"burnout {load.target}")))
        elif load.does == "releases":
            self.released = True
            self.facts.append("released")
        elif load.does == "separates":
            self._part()
        else:
            raise ValueError(f"the peer does not know what happens when '{load.name}' acts")

    def _part(self) -> None:
        """The booster leaves; momentum is kept, along the axis and across it."""
        whole = self.body.balance(self.time)
        self.body.let_go()
        stage = self.body.balance(self.time)
        rows = np.array(matrix(*self.state[6:10].tolist()))
        _, wy, wz = self.state[10:]
        ahead = whole.centre - stage.centre  # of the common centre, along the axis
        share = (whole.mass - stage.mass) / whole.mass
        push = share * self.vehicle.separation_push_m_s
        aside = share * self.vehicle.separation_sideways_m_s
        self.state[:3] += rows @ (ahead, 0.0, 0.0)
        self.state[3:6] += rows @ (push, ahead * wz + aside, -ahead * wy)
        self.facts.append("separated")

    def fly(self, until: float) -> None:
        """Move on to this time; nothing is switched on the way."""
        if until <= self.time:
            return
        body = self.body
        if self.released and self.held == "clamped" and self.pull() > 0.0:
            self.held, body.on_rail = "rail", True
        if self.held == "clamped":
            self.state[2] = body.tail_station - body.balance(until).centre
        elif self.held != "down":
            self._move(until)
        self.time = until

    def _move(self, until: float) -> None:
        """Move on: along the rail and past its end, in free flight, or into the ground."""
        body, start, before = self.body, self.time, self.state
        legs = 0.0
        if not body.joined:
            legs = self.vehicle.ground.leg_length_m * body.moves["legs", None].at(until)
        rail = self.vehicle.ground.rail_length_m if self.held == "rail" else 0.0

        def left(time: float) -> float:
            """Way that is left to the rail's end, or to the ground, m."""
            height = body.lowest(time, body.after(start, before, time), legs)
            return rail - height if self.held == "rail" else height

        self.state = body.after(start, before, until)
        if left(until) <= 0.0:
            self.time = brentq(left, start, until)
            self.state = body.after(start, before, self.time)
            if self.held == "rail":
                self.held, body.on_rail = "free", False
                self._move(until)
            else:
                self._touch_down()
        height = body.lowest(until, self.state, 0.0)
        self.highest = max(self.highest, height)
        if height > 0.05 and "liftoff" not in self.facts:  # by the book, m
            self.facts.append("liftoff")
        if self.highest > 2.0 and self.state[5] <= 0.0 and "apogee" not in self.facts:
            self.facts.append("apogee")

    def _touch_down(self) -> None:
        east, north, _, ve, vn, vu = self.state[:6].tolist()
        self.touchdown = Touchdown(self.time, -vu, math.hypot(ve, vn), east, north)
        self.state[3:6] = self.state[10:] = 0.0
        self.held = "down"
        self.facts.append("touchdown")
