"""Wind profiles and Beaufort forces against published figures."""

from __future__ import annotations

import math

import pytest

from sequencer.world.weather import Wind, beaufort, log_law, power_law, wind_from


@pytest.mark.parametrize(
    ("exponent", "height", "ratio"),
    [
        (1 / 7, 2, 0.7945974047),
        (1 / 7, 5, 0.9057236643),
        (1 / 7, 10, 1.0),
        (1 / 7, 30, 1.169930813),
        (1 / 7, 50, 1.258498951),
        (1 / 7, 100, 1.389495494),
        (1 / 7, 150, 1.472356700),
        (0.2, 2, 0.7247796637),
        (0.2, 50, 1.379729661),
        (0.2, 100, 1.584893192),
    ],
)
def test_power_law(exponent, height, ratio):
    """u/u10 = (z/10)^p [C]; exponents 1/7 (neutral air, open land), 0.2 (IEC 61400-1) [M]."""
    assert power_law(height, exponent) == pytest.approx(ratio, rel=1e-9)


@pytest.mark.parametrize(
    ("height", "ratio"), [(2, 0.7229474442), (10, 1.0), (50, 1.277052556), (100, 1.396372597)]
)
def test_log_law(height, ratio):
    """u/u10 = ln(z/z0)/ln(10/z0) with z0 = 0.03 m [C]."""
    assert log_law(height, 0.03) == pytest.approx(ratio, rel=1e-9)


def test_no_wind_on_the_ground():
    assert power_law(0.0, 0.2) == 0.0
    assert log_law(0.02, 0.03) == 0.0


@pytest.mark.parametrize("law", [{"exponent": 1 / 7}, {"roughness_m": 0.03}])
def test_straight_lines_between_levels_stay_close(law):
    """What the world gets is within 3 % of the law from 1 m up, and within 1.5 % from 4 m [C]."""
    name = "power" if "exponent" in law else "log"
    profile = Wind(law=name, speed_m_s=5.0, from_deg=180.0, **law).profile()
    for height in [1.0, 1.5, 3.0, 6.0, 10.0, 12.0, 24.0, 50.0, 100.0, 190.0, 300.0]:
        exact = 5.0 * (power_law(height, 1 / 7) if name == "power" else log_law(height, 0.03))
        low = max(level for level in profile if level[0] <= height)
        high = min(level for level in profile if level[0] > height)
        part = (height - low[0]) / (high[0] - low[0])
        north = low[2] + part * (high[2] - low[2])
        assert north == pytest.approx(exact, rel=0.015 if height >= 4 else 0.03)


@pytest.mark.parametrize(
    ("speed", "force"),
    [
        (0.0, 0),
        (0.2, 0),
        *(
            (limit, number)
            for number, limit in enumerate(
                [0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9, 17.2, 20.8, 24.5, 28.5, 32.7], start=1
            )
        ),
        (32.6, 11),
        (8.9408, 5),
    ],
)
def test_beaufort(speed, force):
    """WMO lower limits in m/s [M]; 20 mph = 8.9408 m/s is force 5 [C]."""
    assert beaufort(speed) == force


def test_beaufort_limits_follow_the_formula():
    """0.836 (B - 1/2)^1.5 m/s (WMO, 1946 [M]) rounded up to 0.1 gives the limits [C]."""
    for number in range(1, 13):
        limit = math.ceil(0.836 * (number - 0.5) ** 1.5 * 10) / 10
        assert (beaufort(limit), beaufort(limit - 0.05)) == (number, number - 1)


@pytest.mark.parametrize(
    ("from_deg", "east", "north"), [(0, 0, -1), (90, -1, 0), (180, 0, 1), (270, 1, 0)]
)
def test_wind_blows_from_its_direction(from_deg, east, north):
    """Meteorological convention: a west wind (270 degrees) blows eastwards."""
    assert wind_from(1.0, from_deg) == pytest.approx((east, north), abs=1e-15)
