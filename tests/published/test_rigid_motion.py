"""Rotation against rigid-body mechanics."""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from world_rigs import add_motor, add_servo, history, in_the_air, light, rig, steps

from sequencer.world import ServoRole

IDENTITY = (1.0, 0.0, 0.0, 0.0)


def rotation(out):
    """scipy keeps the scalar last."""
    return Rotation.from_quat(np.roll(out["attitude"], -1))


def test_symmetric_top_free_of_torque():
    """I_t 0.02, I_a 0.001 kg m2, 10 rad/s about the axis, 0.5 across.

    Body-frame rate (I_t - I_a) / I_t * w3 = 9.5 rad/s, nutation 45 deg, precession H / I_t;
    Goldstein, Classical Mechanics section 5.6 [M]; values computed and ODE-confirmed [C]. Our
    axis of symmetry is x, theirs the third.
    """
    params = rig(axial=0.001, transverse=0.02, gravity=0.0)
    world = in_the_air(params, 100.0, attitude=IDENTITY, rates=(10.0, 0.5, 0.0))
    kept = history(world, 1.0)
    for tick, across in {
        10: (0.290841544732, -0.406707752395),
        25: (-0.360139235728, -0.346842515977),
        50: (0.018801076444, 0.499646394488),
        100: (-0.498586078098, 0.0375755602309),
    }.items():
        assert kept[tick]["rates"] == pytest.approx((10.0, *across), abs=1e-7)
    inertia = np.array([0.001, 0.02, 0.02])
    for out in kept[::10]:
        momentum = inertia * out["rates"]
        assert np.linalg.norm(momentum) == pytest.approx(0.0141421356237, rel=1e-8)
        assert 0.5 * momentum @ out["rates"] == pytest.approx(0.0525, rel=1e-8)
        turned = rotation(out).apply(momentum)
        assert turned == pytest.approx((0.01, 0.01, 0.0), abs=1e-9)
        axis = rotation(out).apply((1.0, 0.0, 0.0))
        cosine = axis @ turned / np.linalg.norm(turned)
        assert math.degrees(math.acos(cosine)) == pytest.approx(45.0, abs=1e-5)
    # the axis goes round H at H / I_t = 0.7071 rad/s
    mid = turned / np.linalg.norm(turned)
    start, end = (rotation(out).apply((1.0, 0.0, 0.0)) for out in (kept[0], kept[-1]))
    start, end = start - start @ mid * mid, end - end @ mid * mid
    angle = math.acos(start @ end / np.linalg.norm(start) / np.linalg.norm(end))
    assert angle == pytest.approx(0.707106781187, rel=1e-6)


def test_quaternion_of_a_constant_rate():
    """w = (0.1, -0.2, 0.3) rad/s from the identity; q' = q (0, w) / 2 [C]."""
    params = rig(axial=0.02, transverse=0.02, gravity=0.0)
    world = in_the_air(params, 100.0, attitude=IDENTITY, rates=(0.1, -0.2, 0.3))
    past = 0.0
    for time, q in {
        1.0: (0.982550982155, 0.0497088433249, -0.0994176866497, 0.149126529975),
        5.0: (0.593484992442, 0.215103889144, -0.430207778287, 0.645311667431),
        10.0: (-0.295551127493, 0.255321860045, -0.510643720091, 0.765965580136),
    }.items():
        out = steps(world, time - past)
        past = time
        assert out["attitude"] == pytest.approx(q, abs=1e-10)


def test_quaternion_convention_against_scipy():
    """3-2-1 angles 30, 20, 10 deg [C]; a quarter turn about z takes x to y; scipy agrees [L].

    The world's `rates` and thrust direction show which way the quaternion turns.
    """
    q = (0.951548524644, 0.0381345764749, 0.189307857412, 0.239298337745)
    params = rig(mass=1.0, gravity=0.0)
    add_motor(params, [(0.0, 1.0), (5.0, 1.0)])
    world = in_the_air(params, 100.0, attitude=q)
    light(world, 0)
    out = steps(world, 1.0)
    turn = Rotation.from_euler("ZYX", (30.0, 20.0, 10.0), degrees=True)
    assert out["velocity"] == pytest.approx(turn.apply((1.0, 0.0, 0.0)), abs=1e-10)

    world = in_the_air(params, 100.0, attitude=(math.sqrt(0.5), 0.0, 0.0, math.sqrt(0.5)))
    light(world, 0)
    assert steps(world, 1.0)["velocity"] == pytest.approx((0.0, 1.0, 0.0), abs=1e-12)


@pytest.mark.parametrize("role", [ServoRole.GIMBAL_Y, ServoRole.GIMBAL_Z])
def test_angular_acceleration_by_thrust_vectoring(role):
    """20 N, 5 deg, arm 0.35 m, 0.05 kg m2: 12.2018039847 rad/s2; 3.49555935384 deg in 0.1 s [C].

    A positive gimbal angle gives a positive torque about its own axis.
    """
    params = rig(mass=1.0, transverse=0.05, gravity=0.0, part_station=(0.65, 0.0))
    add_motor(params, [(0.0, 20.0), (5.0, 20.0)], gimbal=0)
    add_servo(params, role, start=math.radians(5.0))
    world = in_the_air(params, 100.0)
    before = rotation(world.out)
    light(world, 0)
    out = steps(world, 0.1)
    axis = 1 if role == ServoRole.GIMBAL_Y else 2
    expected = np.zeros(3)
    expected[axis] = 12.2018039847 * 0.1
    assert out["rates"] == pytest.approx(expected, abs=1e-9)
    angle = (before.inv() * rotation(out)).magnitude()
    assert math.degrees(angle) == pytest.approx(3.49555935384, rel=1e-8)
