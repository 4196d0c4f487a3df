"""Vertical flight against the closed forms of the textbooks.

Air of one density is made by `uniform_air`, so that the forms hold exactly.
"""

import math

import numpy as np
import pytest
from world_rigs import (
    G,
    add_motor,
    add_parachute,
    history,
    in_the_air,
    light,
    rig,
    steps,
    uniform_air,
)

from sequencer.world import World


def on_pad(mass, thrust, burn, drag_k, propellant=0.0, **values):
    """A world on its pad, free to go, whose one motor of constant thrust starts now."""
    params = rig(mass=mass, **values)
    uniform_air(params, drag_k)
    add_motor(params, [(0.0, thrust), (burn, thrust)], propellant=propellant, grain=0.5)
    world = World(params)
    light(world, 0)
    return world


def climb(world, burn):
    """Speed and height at burnout, then height and time of apogee by a parabola at the top."""
    start = world.out["position"][2]
    kept = history(world, burn)
    burnout = kept[-1]["velocity"][2], kept[-1]["position"][2] - start
    kept = history(world, 8.0)
    top = int(np.argmax(kept["velocity"][:, 2] <= 0.0)) - 1
    speed = kept[top]["velocity"][2]
    apogee = kept[top]["position"][2] - start + speed**2 / (2.0 * G)
    return (*burnout, apogee, burn + top / 100.0 + speed / G)


def test_boost_and_coast_with_drag():
    """T 20 N, 0.75 kg, 2 s, k of a 75 mm body with C_d 0.6: tanh and ln cosh forms.

    Forms read in a derivation page [T], textbook Taylor, Classical Mechanics section 2.4 [M];
    values computed and confirmed by a 20-digit ODE solution [C].
    """
    v, h, apogee, time = climb(on_pad(0.75, 20.0, 2.0, 0.0016235652659), 2.0)
    assert v == pytest.approx(32.1695703751, rel=1e-8)
    assert h == pytest.approx(32.9301523216, rel=1e-8)
    assert apogee == pytest.approx(80.4523532025, rel=1e-7)
    assert time == pytest.approx(5.0600779536, rel=1e-6)


def test_boost_and_coast_without_drag():
    """The same in a vacuum; speed and height at burnout agree because it burns 2 s [C]."""
    v, h, apogee, _ = climb(on_pad(0.75, 20.0, 2.0, 0.0), 2.0)
    assert v == pytest.approx(33.7200333333, rel=1e-9)
    assert h == pytest.approx(33.7200333333, rel=1e-9)
    assert apogee == pytest.approx(91.6929725124, rel=1e-9)


def test_a_small_rocket_of_a_public_problem():
    """T 4.2 N, 0.08 kg, 1.1 s, c 0.00035 kg/m with g 9.8, a forum problem of 15 Jul 2010.

    Inputs and the answers without drag (46 m/s, 26 m, 136 m) as published [T]; with drag [C]. The
    thread has drag raise the apogee, which cannot be.
    """
    v, h, apogee, _ = climb(on_pad(0.08, 4.2, 1.1, 0.0, gravity=9.8), 1.1)
    assert (v, h) == pytest.approx((46.97, 25.83), abs=0.005)
    assert (v, h) == pytest.approx((46.0, 26.0), rel=0.03)
    vd, hd, _, _ = climb(on_pad(0.08, 4.2, 1.1, 0.00035, gravity=9.8), 1.1)
    assert (vd, hd) == pytest.approx((43.7240914929, 24.9151665319), rel=1e-8)
    world = on_pad(0.08, 4.2, 1.1, 0.00035, gravity=9.8)
    start = world.state["position"][2]
    steps(world, 6.0)
    assert world.state["highest"] - start + 0.5 == pytest.approx(95.4369023542, rel=1e-6)
    assert world.state["highest"] < apogee


def test_rocket_equation_under_gravity():
    """Specific impulse 80 s, 60 g burnt in 2 s from 0.75 kg, no drag.

    v = v_e ln R - g t and the height that goes with it (Tsiolkovsky) [C].
    """
    v, h, _, _ = climb(on_pad(0.69, 23.53596, 2.0, 0.0, propellant=0.06), 2.0)
    assert v == pytest.approx(45.8022404242, rel=1e-9)
    assert h == pytest.approx(44.8932702441, rel=1e-9)


@pytest.mark.parametrize(
    ("impulse_s", "full", "empty", "gain"),
    [(80.0, 0.75, 0.69, 65.4155404242), (200.0, 0.75, 0.65, 280.667977658)],
)
def test_rocket_equation_in_free_space(impulse_s, full, empty, gain):
    """Delta v = I_sp g0 ln(m0/mf), Tsiolkovsky [C]; flown without gravity and air."""
    thrust = impulse_s * G * (full - empty)  # over one second
    params = rig(mass=empty, gravity=0.0)
    add_motor(params, [(0.0, thrust), (1.0, thrust)], propellant=full - empty, grain=0.5)
    world = in_the_air(params, 100.0)
    light(world, 0)
    assert steps(world, 1.0)["velocity"][2] == pytest.approx(gain, rel=1e-9)
    assert world.out["mass"] == pytest.approx(empty, rel=1e-12)


def test_variable_mass_and_drag_together():
    """As the rocket equation under gravity, with drag k 0.0016: a numeric reference [C]."""
    v, h, apogee, time = climb(on_pad(0.69, 23.53596, 2.0, 0.0016, propellant=0.06), 2.0)
    assert v == pytest.approx(42.9504926314, rel=1e-8)
    assert h == pytest.approx(43.4743469808, rel=1e-8)
    assert apogee == pytest.approx(121.530884607, rel=1e-7)
    assert time == pytest.approx(2.0 + 3.87067226638, rel=1e-6)


def test_free_fall_with_quadratic_drag():
    """v = v_t tanh(g t / v_t) for 0.75 kg and v_t 67.306 m/s; Taylor 2.4 [M], values [C]."""
    table = {
        0.5: (4.89466899228, 1.22474848422),
        1.0: (9.73783918973, 4.88607381767),
        2.0: (19.0763697094, 19.3418476432),
        5.0: (41.8747840837, 113.063573543),
        10.0: (60.3786268092, 377.274058059),
    }
    params = rig(mass=0.75)
    uniform_air(params, 0.0016235652659)
    world = in_the_air(params, 1000.0)
    past = 0.0
    for time, (speed, way) in table.items():
        out = steps(world, time - past)
        past = time
        assert -out["velocity"][2] == pytest.approx(speed, rel=1e-9)
        assert 1000.0 - out["position"][2] == pytest.approx(way, rel=1e-9)


@pytest.mark.parametrize(
    ("mass", "area", "speed"),
    [
        (0.75, 0.75 * 0.282743338823, 7.52507963402),
        (0.75, 1.50 * 0.282743338823, 5.32103483818),
        (0.70, 0.75 * 0.636172512352, 4.84661173429),
    ],
)
def test_speed_under_a_parachute(mass, area, speed):
    """v = sqrt(2 m g / (rho C_d A)) at rho 1.225 [C]."""
    params = rig(mass=mass)
    density = uniform_air(params)
    add_parachute(params, area * 1.225 / density)
    world = in_the_air(params, 200.0, velocity=(0.0, 0.0, -10.0))
    world.state["parachute_clock"][0] = 0.0
    assert -steps(world, 15.0)["velocity"][2] == pytest.approx(speed, rel=1e-9)


def test_drift_under_a_parachute():
    """From 100 m at 5 m/s in a wind of 20 mph (8.9408 m/s): 178.816 m downwind [C]."""
    params = rig(mass=0.75)
    density = uniform_air(params)
    add_parachute(params, 2.0 * 0.75 * G / (density * 25.0), station=0.5)
    params["wind_levels"] = 1
    params["wind_north"][0] = 8.9408
    world = in_the_air(params, 100.5, velocity=(0.0, 8.9408, -5.0))
    world.state["parachute_clock"][0] = 0.0
    steps(world, 20.5)
    assert world.state["down"] == 1
    assert world.state["down_north"] == pytest.approx(178.816, rel=1e-6)
    assert world.state["down_east"] == pytest.approx(0.0, abs=1e-9)
    assert world.state["down_speed"] == pytest.approx(5.0, rel=1e-9)


@pytest.mark.parametrize(
    ("drag_k", "way", "time"),
    [(0.0, 9.67998284031, 1.29066437871), (0.0016, 9.47192253655, 1.27211652313)],
)
def test_landing_burn_of_constant_thrust(drag_k, way, time):
    """15 m/s downwards, 15 N, 0.7 kg: height and time until it stands in the air [C]."""
    params = rig(mass=0.7, rate_hz=1000, substeps=1)
    uniform_air(params, drag_k)
    add_motor(params, [(0.0, 15.0), (2.0, 15.0)])
    world = in_the_air(params, 100.0, velocity=(0.0, 0.0, -15.0))
    light(world, 0)
    kept = history(world, 1.4)
    after = int(np.argmax(kept["velocity"][:, 2] >= 0.0))
    # straight line through the two ticks around standstill
    slow, fast = kept[after - 1]["velocity"][2], kept[after]["velocity"][2]
    share = -slow / (fast - slow)
    assert (after - 1 + share) / 1000.0 == pytest.approx(time, rel=1e-6)
    assert 100.0 - kept["position"][:, 2].min() == pytest.approx(way, rel=1e-6)


def test_landing_burn_ends_on_the_ground_as_slow_as_planned():
    """A burn begun one metre too high or low misses the ground by what energy says [C].

    Constant deceleration a from 15 m/s: v = sqrt(v0^2 - 2 a h) at height h above standstill.
    """
    params = rig(mass=0.7)
    add_motor(params, [(0.0, 15.0), (2.0, 15.0)])
    deceleration = 15.0 / 0.7 - G
    height = 225.0 / (2.0 * deceleration)
    world = in_the_air(params, 0.5 + height - 1.0, velocity=(0.0, 0.0, -15.0))
    light(world, 0)
    steps(world, 1.4)
    assert world.state["down_speed"] == pytest.approx(math.sqrt(2.0 * deceleration), rel=1e-4)
