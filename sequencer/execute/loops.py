"""Control loops: what they demand of the servos, tick by tick."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from sequencer.errors import InternalError
from sequencer.execute.blocks import Attitude, BlockState
from sequencer.execute.values import (
    Memory,
    Names,
    compile_expression,
    finite,
    larger,
    smaller,
)
from sequencer.sequence.model import Loop

__all__ = ["LOOPS", "ThrustVectorPid", "make_loop"]


def _clamped(value: float, limit: float) -> float:
    return larger(smaller(value, limit), -limit)


class ThrustVectorPid:
    """Holds the nose up with a two-axis gimbal: PID on the tilt, rate damping on the gyros.

    Error: the earth's vertical seen from the body, u = (q* x up x q); e_y = -u_z, e_z = u_y, so
    that a positive demand about an axis turns the nose back. On every tick that runs it

        i += e*dt, held so that |ki*i| <= limit
        demand = kp*e + ki*i - kd*rate, held within +-limit (rad)

    A bad attitude or rate, or a demand that is not finite: no demand, state kept. Roll is left
    free.
    """

    registers: ClassVar[tuple[str, ...]] = ("i_y", "i_z")

    def __init__(
        self, loop: Loop, names: Names, estimates: Mapping[str, tuple[int, BlockState]]
    ) -> None:
        """`estimates` maps a name to its cell and its block."""
        cell, attitude = estimates[loop.block.subject or ""]
        if not isinstance(attitude, Attitude):
            raise InternalError(f"loop '{loop.name}' wants an attitude estimate")
        self.cell = cell
        self.attitude = attitude
        arguments = dict(loop.block.arguments)
        self.rate_y = compile_expression(arguments["rate_y"], names)
        self.rate_z = compile_expression(arguments["rate_z"], names)
        coefficients = dict(loop.block.coefficients)
        self.kp = coefficients["kp"]
        self.ki = coefficients["ki"]
        self.kd = coefficients["kd"]
        self.limit = coefficients["limit"]
        self.dt = coefficients["dt"]
        self.reset()

    def reset(self) -> None:
        """Integrators at zero: at boot, and whenever the loop is enabled."""
        self.i_y = 0.0
        self.i_z = 0.0

    def update(self, memory: Memory) -> Mapping[str, float] | None:
        """Demands in rad by axis, or None where there is none."""
        rate_y = self.rate_y(memory)
        rate_z = self.rate_z(memory)
        if memory[self.cell] is None or rate_y is None or rate_z is None:
            return None
        q = self.attitude
        u_y = 2.0 * (q.q2 * q.q3 + q.q0 * q.q1)
        u_z = q.q0 * q.q0 - q.q1 * q.q1 - q.q2 * q.q2 + q.q3 * q.q3
        e_y, e_z = -u_z, u_y
        i_y = self._integrated(self.i_y, e_y)
        i_z = self._integrated(self.i_z, e_z)
        demand_y = finite(self.kp * e_y + self.ki * i_y - self.kd * rate_y)
        demand_z = finite(self.kp * e_z + self.ki * i_z - self.kd * rate_z)
        if demand_y is None or demand_z is None:
            return None
        self.i_y, self.i_z = i_y, i_z
        return {"y": _clamped(demand_y, self.limit), "z": _clamped(demand_z, self.limit)}

    def _integrated(self, i: float, e: float) -> float:
        i += e * self.dt
        part = self.ki * i
        if part > self.limit:
            return self.limit / self.ki
        return -self.limit / self.ki if part < -self.limit else i


#: kind of a loop's block -> its class
LOOPS: Mapping[str, type[ThrustVectorPid]] = {"thrust_vector_pid": ThrustVectorPid}


def make_loop(
    loop: Loop, names: Names, estimates: Mapping[str, tuple[int, BlockState]]
) -> ThrustVectorPid:
    """The loop with its state at boot."""
    return LOOPS[loop.block.kind](loop, names, estimates)
