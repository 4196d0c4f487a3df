"""The air that the vehicle flies in against the standard atmosphere."""

import ambiance
import fluids
import numpy as np
import pytest
from world_rigs import add_sensor, rig

from sequencer.world import SensorKind, World
from sequencer.world.air import pressure_height

GAS = 287.053072047  # J/(kg K)

# geopotential altitude m: temperature K, pressure Pa, density kg/m3
GEOPOTENTIAL = {
    -500: (291.40, 107477.5067, 1.284889667),
    0: (288.15, 101325.0000, 1.224999156),
    100: (287.50, 100129.4386, 1.213281940),
    500: (284.90, 95460.83934, 1.167268055),
    1000: (281.65, 89874.57050, 1.111641812),
    2000: (275.15, 79495.21551, 1.006489561),
    5000: (255.65, 54019.91210, 0.7361153552),
    11000: (216.65, 22632.06397, 0.3639177759),
}
# geometric altitude m: geopotential altitude m, temperature, pressure, density
GEOMETRIC = {
    100: (99.99842690, 287.5000102, 100129.4573, 1.213282123),
    500: (499.9606749, 284.9002556, 95461.28950, 1.167272512),
    1000: (999.8427120, 281.6510224, 89876.28519, 1.111658985),
    2000: (1999.370947, 275.1540888, 79501.42464, 1.006553217),
    5000: (4996.070274, 255.6755432, 54048.28615, 0.7364284208),
    11000: (10980.99805, 216.7735127, 22699.96074, 0.3648015642),
}
PRESSURE_ALTITUDE = {
    101325: 0.0,
    100000: 110.88450627,
    95000: 540.337479042,
    90000: 988.500766856,
    80000: 1948.98917222,
    70000: 3012.18255324,
    50000: 5574.43747451,
}


def air_at(altitude, **values):
    """Pressure and density that a vehicle meets whose centre of mass is at the pad's altitude."""
    params = rig(pad_altitude=altitude, part_station=(1.0, 0.0), **values)
    params["wind_levels"] = 1
    params["wind_east"][0] = 10.0
    add_sensor(params, SensorKind.PRESSURE)
    out = World(params).out
    return out["value"][0], 2.0 * out["dynamic_pressure"] / out["airspeed"] ** 2


@pytest.mark.parametrize("altitude", GEOPOTENTIAL)
def test_air_by_geopotential_altitude(altitude):
    """U.S. Standard Atmosphere, 1976 (NOAA-S/T 76-1562): constants [T], table computed [C]."""
    temperature, pressure, density = GEOPOTENTIAL[altitude]
    p, rho = air_at(altitude)
    assert p == pytest.approx(pressure, rel=1e-9)
    assert rho == pytest.approx(density, rel=1e-9)
    assert p / (GAS * rho) == pytest.approx(temperature, rel=1e-9)


@pytest.mark.parametrize("altitude", GEOMETRIC)
def test_air_by_geometric_altitude_and_two_libraries(altitude):
    """The same standard by geometric altitude [C], and what `fluids` [L] and `ambiance` [L] say.

    `ambiance` uses the gas constant of ICAO Doc 7488, so it agrees to some 1e-6 only.
    """
    geopotential, temperature, pressure, density = GEOMETRIC[altitude]
    p, rho = air_at(geopotential)
    assert p == pytest.approx(pressure, rel=1e-8)
    assert rho == pytest.approx(density, rel=1e-8)
    assert p / (GAS * rho) == pytest.approx(temperature, rel=1e-8)
    other = fluids.ATMOSPHERE_1976(altitude)
    assert (p, rho) == pytest.approx((other.P, other.rho), rel=1e-8)
    third = ambiance.Atmosphere(altitude)
    assert (p, rho) == pytest.approx((third.pressure[0], third.density[0]), rel=2e-6)


@pytest.mark.parametrize("pressure", PRESSURE_ALTITUDE)
def test_pressure_altitude(pressure):
    """Inverse of the same standard's lowest layer [C]."""
    assert pressure_height(float(pressure)) == pytest.approx(
        PRESSURE_ALTITUDE[pressure], rel=1e-9, abs=1e-8
    )


def test_above_the_tropopause_the_air_is_isothermal():
    """U.S. Standard Atmosphere, 1976, second layer, against `fluids` [L]."""
    p, rho = air_at(15000.0)
    geometric = 6356766.0 * 15000.0 / (6356766.0 - 15000.0)
    other = fluids.ATMOSPHERE_1976(geometric)
    assert (p, rho) == pytest.approx((other.P, other.rho), rel=1e-6)


@pytest.mark.parametrize("offset", [-30.0, -10.0, 15.0])
def test_air_of_a_warm_or_cold_day_is_hydrostatic(offset):
    """dp/dH = -rho g holds on every day, and the gas law with the shifted temperature [C]."""
    low, _ = air_at(990.0, temperature_offset=offset)
    high, _ = air_at(1010.0, temperature_offset=offset)
    p, rho = air_at(1000.0, temperature_offset=offset)
    assert (high - low) / 20.0 == pytest.approx(-9.80665 * rho, rel=1e-6)
    assert p / (GAS * rho) == pytest.approx(281.65 + offset, rel=1e-9)


def test_a_barometer_reads_high_on_a_cold_day():
    """Height by the standard formula over true height is the ratio of temperatures [C].

    Compared at 100 m above a pad at sea level, where the ratio is 288.15 / 268.15 to 0.1 %.
    """
    pad, _ = air_at(0.0, temperature_offset=-20.0)
    up, _ = air_at(100.0, temperature_offset=-20.0)
    read = pressure_height(up) - pressure_height(pad)
    assert read / 100.0 == pytest.approx(288.15 / 268.15, rel=1e-3)
    assert read > 100.0


def test_pressure_at_sea_level_can_differ():
    """On a day of low pressure the whole column is lower in proportion [C]."""
    p, _ = air_at(500.0, pressure_offset=-1325.0)
    assert p == pytest.approx(95460.83934 * 100000.0 / 101325.0, rel=1e-9)
    assert np.isfinite(p)
