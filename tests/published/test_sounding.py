"""Air as a balloon found it, and how far a perfect barometer is off in it."""

import math

import pytest
from world_rigs import add_sensor, in_the_air, rig

from sequencer.vehicle import load_vehicle
from sequencer.world import SensorKind
from sequencer.world.air import pressure_height
from sequencer.world.assemble import assemble
from sequencer.world.weather import Temperature, Weather

#: MetPy, staticdata/may4_sounding.txt (Unidata, BSD-3): pressure hPa, height m, temperature and
#: dew point C, of its lowest levels
SOUNDING = (
    (959.0, 345, 22.2, 19.0),
    (931.3, 610, 20.2, 17.5),
    (925.0, 671, 19.8, 17.1),
    (899.3, 914, 18.4, 16.9),
    (892.0, 984, 18.0, 16.8),
    (867.9, 1219, 17.4, 14.3),
    (850.0, 1397, 17.0, 12.5),
)
#: from here up heights, pressures and temperatures agree with each other
ABOVE = SOUNDING[2:]
#: the lowest two heights as the hydrostatic equation has them, in place of 345 and 610 m
LOWEST_M, NEXT_M = 357.6, 612.3
MENDED = ((959.0, LOWEST_M, 22.2, 19.0), (931.3, NEXT_M, 20.2, 17.5), *ABOVE)
#: pressure hPa -> true height above the lowest level m, what a barometer reads there m, error %
BAROMETER = {
    931.3: (265, 243.96, -7.94),
    899.3: (569, 533.21, -6.29),
    867.9: (874, 825.26, -5.58),
    850.0: (1052, 995.59, -5.36),
}
#: the difference of two heights that are printed to a metre
DIGITS_M = 1.0


def virtual(celsius, dew_point, hectopascal):
    """Temperature (C) of dry air as light as this moist air.

    Vapour pressure by Bolton (1980), 6.112 exp(17.67 T/(T + 243.5)) hPa [M].
    """
    vapour = 6.112 * math.exp(17.67 * dew_point / (dew_point + 243.5))
    return (celsius + 273.15) / (1.0 - 0.378 * vapour / hectopascal) - 273.15


def weather(levels):
    """Levels as a [weather] table, the pad at the lowest; the pressure there set at sea level."""
    pressure, pad, _, _ = levels[0]
    standard = 101325.0 * (1.0 - 0.0065 * pad / 288.15) ** 5.25587611327
    return Weather(
        pressure_offset_pa=101325.0 * (100.0 * pressure / standard - 1.0),
        temperatures=tuple(
            Temperature(height_m=height - pad, celsius=virtual(warm, dew, hectopascal))
            for hectopascal, height, warm, dew in levels
        ),
    )


def measured(vehicle, air, height, pad=0.0):
    """Pressure (Pa) and barometer (m) of a vehicle whose centre of mass is `height` m up."""
    params = rig(part_station=(1.0, 0.0), gravity=0.0, pad_altitude=pad)
    filled, _ = assemble(vehicle, air, rate_hz=100)
    for name in filled.dtype.names:
        if name.startswith(("temperature", "pressure")):
            params[name] = filled[name]
    add_sensor(params, SensorKind.PRESSURE)
    add_sensor(params, SensorKind.BAROMETER)
    return in_the_air(params, height).step()["value"][:2].tolist()


@pytest.fixture(scope="module")
def vehicle(request):
    return load_vehicle(request.config.rootpath / "tests" / "vehicle" / "minimal.vehicle.toml")


@pytest.mark.parametrize("level", ABOVE[1:], ids=lambda level: f"{level[0]}_hPa")
def test_the_air_has_the_pressures_of_the_sounding(level, vehicle):
    """From 925 hPa up the sounding's heights and temperatures [T] give its pressures."""
    pressure, _ = measured(vehicle, weather(ABOVE), level[1] - ABOVE[0][1], ABOVE[0][1])
    assert pressure / 100.0 == pytest.approx(level[0], abs=0.11 * DIGITS_M)


def test_the_lowest_heights_of_the_sounding_are_not_hydrostatic():
    """By hand, thickness = 29.271 m/K * mean virtual temperature * ln(p1/p2) [C]: 254.7 m where
    265 m are printed, 58.7 m where 61 m are. So the lowest level lies 12.6 m higher than stated."""
    first = 29.271 * 296.9 * math.log(959.0 / 931.3)
    second = 29.271 * 295.6 * math.log(931.3 / 925.0)
    assert (first, second) == pytest.approx((254.7, 58.7), abs=0.2)
    assert 671.0 - second == pytest.approx(NEXT_M, abs=0.2)
    assert 671.0 - second - first == pytest.approx(LOWEST_M, abs=0.3)


@pytest.mark.parametrize("pressure", BAROMETER)
def test_a_perfect_barometer_in_this_sounding(pressure, vehicle):
    """All four rows [T + C]: what the barometer reads follows from the printed pressures alone, and
    the world's air gives it at the heights of the sounding, the lowest two mended."""
    height, reads, error = BAROMETER[pressure]
    read = pressure_height(100.0 * pressure) - pressure_height(95900.0)
    assert read == pytest.approx(reads, abs=0.005)
    assert (read / height - 1.0) * 100.0 == pytest.approx(error, abs=0.005)
    (true,) = [level[1] - LOWEST_M for level in MENDED if level[0] == pressure]
    _, barometer = measured(vehicle, weather(MENDED), true, LOWEST_M)
    assert barometer == pytest.approx(reads, abs=DIGITS_M)
    assert barometer / true - 1.0 == pytest.approx(-0.042, abs=0.003)  # of true heights


@pytest.mark.parametrize("pressure", [899.3, 867.9, 850.0])
def test_a_perfect_barometer_reads_low_on_a_warm_day(pressure, vehicle):
    """The upper rows of the table from the level of 925 hPa up, nothing mended [T + C]."""
    (true,) = [level[1] - ABOVE[0][1] for level in ABOVE if level[0] == pressure]
    reads = BAROMETER[pressure][1] - (pressure_height(92500.0) - pressure_height(95900.0))
    _, barometer = measured(vehicle, weather(ABOVE), true, ABOVE[0][1])
    assert barometer == pytest.approx(reads, abs=DIGITS_M)


def test_the_barometer_at_20_m_on_a_cold_morning(vehicle):
    """-5 C at the pad, worked by hand [C].

    20 m of air at 268.15 K weigh what 20 * 288.15/268.15 = 21.4917 m weigh at 288.15 K: it reads
    1.49 m high. That both cool upwards, by 0.065 K half-way, changes 0.4 mm.
    """
    cold = Weather(
        temperatures=(
            Temperature(height_m=0, celsius=-5.0),
            Temperature(height_m=100, celsius=-5.65),
        )
    )
    for air in (cold, Weather(temperature_offset_k=-20.0)):
        _, barometer = measured(vehicle, air, 20.0)
        assert barometer == pytest.approx(21.4917, abs=1e-3)


@pytest.mark.parametrize("height", [5.0, 40.0, 265.0, 700.0, 2000.0])
def test_the_air_between_measured_levels_is_hydrostatic(height, vehicle):
    """dp/dH = -g p/(R T) with the straight line of the two levels around it [C]."""
    air = weather(MENDED)
    low, _ = measured(vehicle, air, height - 1.0)
    here, _ = measured(vehicle, air, height)
    high, _ = measured(vehicle, air, height + 1.0)
    levels = [(each.height_m, each.celsius + 273.15) for each in air.temperatures]
    below = max((each for each in levels if each[0] < height), default=levels[0])
    above = min((each for each in levels if each[0] > below[0]), default=levels[-1])
    kelvin = below[1]
    if above[0] > below[0]:
        kelvin += (above[1] - below[1]) * (height - below[0]) / (above[0] - below[0])
    assert (high - low) / 2.0 == pytest.approx(-9.80665 * here / (287.053072 * kelvin), rel=2e-5)
