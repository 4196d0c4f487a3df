"""Masses, forces and equations of motion of the stack, and later of the stage alone.

Body axes have x towards the nose. A motion is one flat vector: position and velocity (east, north,
up), the quaternion body to earth (scalar first), rates about the body axes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import astuple
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import RK45

from peer.motion import GRAVITY, Burn, Move, density
from sequencer.vehicle import Vehicle

__all__ = ["Balance", "Body", "State", "Vector", "matrix"]

Vector = tuple[float, float, float]
State = NDArray[np.float64]


def matrix(a: float, b: float, c: float, d: float) -> tuple[Vector, Vector, Vector]:
    """Rows of the matrix that turns body axes into earth axes, for a unit quaternion."""
    return (
        (a * a + b * b - c * c - d * d, 2.0 * (b * c - a * d), 2.0 * (b * d + a * c)),
        (2.0 * (b * c + a * d), a * a - b * b + c * c - d * d, 2.0 * (c * d - a * b)),
        (2.0 * (b * d - a * c), 2.0 * (c * d + a * b), a * a - b * b - c * c + d * d),
    )


class Balance(NamedTuple):
    """What the body weighs, and how its motors push, at one moment.

    centre, shift   station of the centre of mass; speed at which it moves forward in the airframe
    jet             damping torque of the jets, N m per rad/s
    """

    mass: float
    centre: float
    shift: float
    inertia: Vector
    thrust: Vector
    torque: Vector
    jet: float


class Body:
    """The part with the flight computer and all that hangs on it; servos by (role, gimbal)."""

    def __init__(self, vehicle: Vehicle) -> None:
        self.vehicle = vehicle
        self.on_rail = False
        self.burns = {name: Burn(motor) for name, motor in vehicle.motors.items()}
        self.moves = {
            (each.role, each.gimbal): Move(each, 0.0, each.start, each.start)
            for each in vehicle.servos.values()
        }
        self._figures = [astuple(each) for each in vehicle.aero]
        self.let_go(joined=True)

    def let_go(self, *, joined: bool = False) -> None:
        """From now on fly without the booster (`joined`: with it)."""
        self.joined = joined
        self.parts = self.vehicle.parts if joined else self.vehicle.parts[:1]
        names = {part.name for part in self.parts}
        self.carried = [burn for burn in self.burns.values() if burn.motor.part in names]
        self.tail_station = max(part.tail_station_m for part in self.parts)

    def balance(self, time: float) -> Balance:
        """Masses and thrust at a time."""
        motors = [(burn.motor, *burn.at(time)) for burn in self.carried]
        mass = moment = ix = iy = fx = fy = fz = tx = ty = tz = jet = shift = 0.0
        for part in self.parts:
            mass += part.mass_kg
            moment += part.mass_kg * part.centre_station_m
        for motor, _, left in motors:
            mass += left
            moment += left * motor.grain_station_m
        centre = moment / mass
        for part in self.parts:
            ix += part.axial_kg_m2
            iy += part.transverse_kg_m2 + part.mass_kg * (part.centre_station_m - centre) ** 2
        iz = iy
        for motor, thrust, left in motors:
            y, z = motor.offset_y_m, motor.offset_z_m
            grain, nozzle = centre - motor.grain_station_m, centre - motor.nozzle_station_m
            ix += left * (y * y + z * z)
            iy += left * (grain * grain + z * z)
            iz += left * (grain * grain + y * y)
            if thrust == 0.0:
                continue
            about_y, about_z = motor.cant_y_rad, motor.cant_z_rad
            if motor.gimbal is not None:
                about_y += self.moves["gimbal_y", motor.gimbal].at(time)
                about_z += self.moves["gimbal_z", motor.gimbal].at(time)
            py, pz = -thrust * math.sin(about_z), thrust * math.sin(about_y)
            px = math.sqrt(thrust * thrust - py * py - pz * pz)
            fx, fy, fz = fx + px, fy + py, fz + pz
            tx += y * pz - z * py
            ty += z * px - nozzle * pz
            tz += nozzle * py - y * px
            flow = motor.propellant_kg * thrust / motor.total_impulse_n_s
            jet += flow * (nozzle * nozzle - grain * grain)
            shift -= flow * grain / mass
        return Balance(mass, centre, shift, (ix, iy, iz), (fx, fy, fz), (tx, ty, tz), jet)

    def _shape(self, time: float) -> Sequence[float]:
        """Aerodynamic figures of now, in the order of `Aero`; what fins and legs change adds up."""
        stack, stage, finned, legged = self._figures
        if self.joined:
            return stack
        fins, legs = self.moves["fins", None].at(time), self.moves["legs", None].at(time)
        return [
            bare + fins * (with_fins - bare) + legs * (with_legs - bare)
            for bare, with_fins, with_legs in zip(stage, finned, legged, strict=True)
        ]

    def push(self, time: float, motion: Sequence[float]) -> tuple[Vector, Vector, Balance]:
        """Force (N) and torque (N m) of motors and air in body axes, and the balance of then."""
        _, _, up, ve, vn, vu, a, b, c, d, wx, wy, wz = motion
        vx, vy, vz = (e * ve + n * vn + u * vu for e, n, u in zip(*matrix(a, b, c, d), strict=True))
        balance = self.balance(time)
        (fx, fy, fz), (tx, ty, tz) = balance.thrust, balance.torque
        nose, tail, side, slope_n, slope_t, at_n, at_t, at_side, pitch, roll = self._shape(time)
        area, slope, leading = (nose, slope_n, at_n) if vx > 0.0 else (tail, slope_t, at_t)
        rho = density(self.vehicle.ground.pad_altitude_m + up)
        # per lateral speed: slope * sin |cos| where the air meets it, side * sin^2 at the flank
        potential = 0.5 * rho * slope * abs(vx)
        cross = 0.5 * rho * side * math.sqrt(vy * vy + vz * vz)
        lever = potential * (balance.centre - leading) + cross * (balance.centre - at_side)
        damping = rho * math.sqrt(vx * vx + vy * vy + vz * vz)
        slow = balance.jet + damping * pitch
        fx -= 0.5 * rho * area * vx * abs(vx)
        fy -= (potential + cross) * vy
        fz -= (potential + cross) * vz
        torque = (
            tx - damping * roll * wx,
            ty + lever * vz - slow * wy,
            tz - lever * vy - slow * wz,
        )
        return (fx, fy, fz), torque, balance

    def slope(self, time: float, state: State) -> list[float]:
        """Time derivative of the motion: Newton, Euler, and q' = q (0, w) / 2."""
        motion = state.tolist()
        _, _, _, ve, vn, vu, a, b, c, d, wx, wy, wz = motion
        (fx, fy, fz), (tx, ty, tz), at = self.push(time, motion)
        east, north, up = matrix(a, b, c, d)
        # velocity is that of the airframe at its centre of mass, which itself moves in it
        moves = [ve + at.shift * east[0], vn + at.shift * north[0], vu + at.shift * up[0]]
        if self.on_rail:  # only the axis is left
            along = fx / at.mass - GRAVITY * up[0]
            return [*moves, along * east[0], along * north[0], along * up[0], *[0.0] * 7]
        ix, iy, iz = at.inertia
        return [
            *moves,
            (east[0] * fx + east[1] * fy + east[2] * fz) / at.mass,
            (north[0] * fx + north[1] * fy + north[2] * fz) / at.mass,
            (up[0] * fx + up[1] * fy + up[2] * fz) / at.mass - GRAVITY,
            -0.5 * (b * wx + c * wy + d * wz),
            0.5 * (a * wx + c * wz - d * wy),
            0.5 * (a * wy + d * wx - b * wz),
            0.5 * (a * wz + b * wy - c * wx),
            (tx - (iz - iy) * wy * wz) / ix,
            (ty - (ix - iz) * wz * wx) / iy,
            (tz - (iy - ix) * wx * wy) / iz,
        ]

    def after(self, start: float, state: State, end: float) -> State:
        """The motion at `end` from that at `start`, by SciPy's RK45 (Dormand and Prince)."""
        if end <= start:
            return state
        solver = RK45(self.slope, start, state, end, rtol=1e-6, atol=1e-8, first_step=end - start)
        while solver.status == "running":
            solver.step()
        if solver.status != "finished":
            raise ArithmeticError(f"the integration got stuck at {solver.t} s")
        moved: State = solver.y
        moved[6:10] /= np.linalg.norm(moved[6:10])
        return moved

    def lowest(self, time: float, state: State, legs: float) -> float:
        """Height of the lower of nose and feet above the ground, m; feet `legs` below the tail."""
        centre = self.balance(time).centre
        rise = matrix(*state[6:10].tolist())[2][0]
        return float(state[2]) + min(centre * rise, (centre - self.tail_station - legs) * rise)
