"""What a barometer reads while a black-powder charge presses on its port."""

import math

import pytest
from world_rigs import add_motor, add_parachute, add_sensor, light, rig

from sequencer.world import LoadKind, SensorKind, World


def readings(altitude, pressure, decay=0.05, ticks=30, **values):
    """Barometer before a motor's ejection and in every tick from it on, m above its first."""
    params = rig(pad_altitude=altitude, part_station=(1.0, 0.0), holds_down=1, **values)
    add_motor(params, [(0.0, 1.0), (0.1, 1.0)], eject_delay=0.1, eject_kind=LoadKind.PARACHUTE)
    add_parachute(params, 0.1)
    add_sensor(params, SensorKind.BAROMETER, bay_pressure=pressure, bay_decay=decay)
    world = World(params)
    light(world, 0)
    quiet = float(world.out["value"][0])
    read = []
    while len(read) < ticks:
        out = world.step()
        if out["ejected"][0]:
            read.append(float(out["value"][0]) - quiet)
        else:
            assert out["value"][0] == quiet
    return read


@pytest.mark.parametrize(
    ("pascal", "metres"), [(100.0, -8.7322188), (1000.0, -86.991032), (5000.0, -427.8157)]
)
def test_the_height_of_the_spike_at_500_m(pascal, metres):
    """U.S. Standard Atmosphere, 1976, inverse formula, step response at H = 500 m [C].

    The charge goes off at the end of a step, so the tick that shows it shows all of it.
    """
    assert readings(500.0, pascal)[0] == pytest.approx(metres, rel=2e-7)


def test_the_spike_dies_away_exponentially():
    """One time constant later 1/e of the pressure is left: near the ground -12.0131 Pa/m [C]."""
    read = readings(0.0, 12.0131379721, decay=0.1)
    assert read[0] == pytest.approx(-1.0, rel=1e-4)
    assert read[10] == pytest.approx(-math.exp(-1.0), rel=1e-4)
    assert read[20] == pytest.approx(-math.exp(-2.0), rel=1e-4)


def test_a_full_charge_reads_thousands_of_metres_down():
    """Charges are sized for some 15 psi = 103421 Pa in the bay [T, a sizing note]; the pressure
    height of 101325 + 103421 Pa worked by hand from the inverse formula [C]."""
    expected = 288.15 / 0.0065 * (1.0 - (204746.0 / 101325.0) ** 0.190263236508)
    assert expected == pytest.approx(-6345.6, abs=50.0)
    assert readings(0.0, 103421.0)[0] == pytest.approx(expected, rel=1e-9)
