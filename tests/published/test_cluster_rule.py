"""A rule of thumb for clusters."""

import pytest
from world_rigs import G, add_motor, curve, rig, steps

from sequencer.world import World


def climb(lit):
    """Greatest height of 0.75 kg on four long-burning class D motors, of which `lit` light."""
    params = rig(mass=0.75 - 4 * 0.012, holds_down=1)
    params["aero_axial_nose"] = 0.0027
    params["aero_axial_tail"] = 0.0027
    flat = [(0.0, 0.0), (0.02, 1.5), (0.08, 1.15), (0.2, 1.0), (0.97, 0.97), (1.0, 0.0)]
    for i in range(4):
        add_motor(params, curve(16.0, 5.3, flat), propellant=0.012, station=1.0)
        if i < lit:
            params["motor_delay"][i] = 0.0
    world = World(params)
    for i in range(lit):
        world.state["lit"][i] = 1
    steps(world, 0.3)
    world.state["release_ordered"] = 1
    steps(world, 12.0)
    return float(world.state["highest"]), lit * 16.0 / 5.3 / (0.75 * G)


def test_four_climb_steadily_and_three_barely_leave_the_pad():
    """Common practice, no source: about 0.75 kg on four class D motors of some 3 N mean thrust
    climbs steadily with four lit; with three, at a thrust to weight near 1.2, it barely leaves.
    """
    four, ratio_four = climb(4)
    three, ratio_three = climb(3)
    two, _ = climb(2)
    assert ratio_four == pytest.approx(1.64, abs=0.02)
    assert ratio_three == pytest.approx(1.23, abs=0.02)
    assert four > 60.0
    assert 0.5 < three < 0.5 * four
    assert two < 0.01
