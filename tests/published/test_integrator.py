"""The integration against an independent one of the same equations, and its order."""

import itertools

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation
from world_rigs import G, add_motor, in_the_air, light, rig

SHEAR = 0.05  # of the wind, 1/s
MASS, AXIAL, TRANSVERSE, STATION = 0.7, 0.0008, 0.03, 0.45
PROPELLANT, GRAIN, NOZZLE, OFFSET = 0.05, 0.9, 1.0, 0.01
BURN, FIRST, LAST = 1.5, 14.0, 8.0
CANT = 0.004
NOSE, SIDE, SLOPE, CENTRE_NOSE, CENTRE_SIDE = 0.004, 0.06, 0.03, 0.7, 0.55
DAMPING, ROLL = 0.002, 0.0002
START = np.array([0, 0, 60, 2, -1, 25, *(0.69, 0.10, -0.71, 0.05), 0.4, 0.3, -0.2], dtype=float)
START[6:10] /= np.linalg.norm(START[6:10])


def slope(time, y):
    """Equations of motion as the documentation states them, written once more with vectors.

    Air is taken from the standard's formula; thrust falls in a straight line; propellant leaves in
    proportion to the impulse.
    """
    thrust = FIRST + (LAST - FIRST) * time / BURN
    impulse = 0.5 * (FIRST + LAST) * BURN
    left = PROPELLANT * (1.0 - 0.5 * (FIRST + thrust) * time / impulse)
    mass = MASS + left
    centre = (MASS * STATION + left * GRAIN) / mass
    to_part, to_grain = centre - STATION, centre - GRAIN
    about_z = TRANSVERSE + MASS * to_part**2 + left * (to_grain**2 + OFFSET**2)
    about_y = TRANSVERSE + MASS * to_part**2 + left * to_grain**2
    inertia = np.array([AXIAL + left * OFFSET**2, about_y, about_z])
    turn = Rotation.from_quat(np.roll(y[6:10], -1))
    rates = y[10:]
    temperature = 288.15 - 0.0065 * y[2]
    gas = 8314.32 / 28.9644
    pressure = 101325.0 * (temperature / 288.15) ** (9.80665 / (gas * 0.0065))
    rho = pressure / (gas * temperature)
    wind = np.array([SHEAR * y[2], 0.0, 0.0])
    v = turn.inv().apply(y[3:6] - wind)
    across = np.array([0.0, v[1], v[2]])
    nozzle = np.array([centre - NOZZLE, OFFSET, 0.0])
    push = thrust * np.array([np.sqrt(1.0 - np.sin(CANT) ** 2), 0.0, np.sin(CANT)])
    potential = -0.5 * rho * SLOPE * abs(v[0]) * across
    cross = -0.5 * rho * SIDE * np.linalg.norm(across) * across
    drag = np.array([-0.5 * rho * NOSE * v[0] * abs(v[0]), 0.0, 0.0])
    force = push + drag + potential + cross
    torque = np.cross(nozzle, push)
    torque += np.cross([centre - CENTRE_NOSE, 0.0, 0.0], potential)
    torque += np.cross([centre - CENTRE_SIDE, 0.0, 0.0], cross)
    torque -= rho * np.linalg.norm(v) * np.array([ROLL, DAMPING, DAMPING]) * rates
    flow = PROPELLANT * thrust / impulse
    jet = flow * ((centre - NOZZLE) ** 2 - to_grain**2)
    torque -= np.array([0.0, jet, jet]) * rates
    spin = (torque - np.cross(rates, inertia * rates)) / inertia
    a, vector = y[6], y[7:10]
    q = 0.5 * np.concatenate([[-vector @ rates], a * rates + np.cross(vector, rates)])
    shift = turn.apply([flow * (GRAIN - centre) / mass, 0.0, 0.0])
    return np.concatenate([y[3:6] + shift, turn.apply(force) / mass - [0.0, 0.0, G], q, spin])


def flown(rate_hz):
    """Motion after one second, integrated by the kernel with one step per tick."""
    params = rig(
        mass=MASS, axial=AXIAL, transverse=TRANSVERSE, rate_hz=rate_hz, substeps=1, wind_levels=2
    )
    params["part_station"][0] = STATION
    params["wind_height"][:2] = (0.0, 1000.0)
    params["wind_east"][:2] = (0.0, 1000.0 * SHEAR)
    for name, value in {
        "axial_nose": NOSE,
        "side": SIDE,
        "slope_nose": SLOPE,
        "centre_nose": CENTRE_NOSE,
        "centre_side": CENTRE_SIDE,
        "damping_pitch": DAMPING,
        "damping_roll": ROLL,
    }.items():
        params[f"aero_{name}"] = value
    add_motor(
        params,
        [(0.0, FIRST), (BURN, LAST)],
        propellant=PROPELLANT,
        station=NOZZLE,
        grain=GRAIN,
        y=OFFSET,
        cant_y=CANT,
    )
    world = in_the_air(params, 60.0, velocity=START[3:6], attitude=START[6:10], rates=START[10:])
    light(world, 0)
    for _ in range(rate_hz):
        out = world.step()
    return np.concatenate([out["position"], out["velocity"], out["attitude"], out["rates"]])


@pytest.fixture(scope="module")
def exact():
    found = solve_ivp(slope, (0.0, 1.0), START, method="DOP853", rtol=1e-12, atol=1e-12)
    return found.y[:, -1]


def test_six_degrees_of_freedom_against_scipy(exact):
    """scipy's DOP853 at rtol 1e-12 on equations written a second time, independently [L].

    Powered flight with thrust off the axis, canted, in sheared wind: every term is at work.
    """
    assert flown(1000) == pytest.approx(exact, rel=1e-8, abs=1e-8)


def test_the_error_falls_with_the_fourth_power_of_the_step(exact):
    """Classical Runge-Kutta of fourth order: half the step, a sixteenth of the error.

    E. Hairer, S. Norsett, G. Wanner, Solving Ordinary Differential Equations I [M]; measured
    against the same DOP853 solution [L].
    """
    errors = [np.abs(flown(rate) - exact).max() for rate in (50, 100, 200)]
    for coarse, fine in itertools.pairwise(errors):
        assert 12.0 < coarse / fine < 21.0, errors
