"""Turbulence against the Dryden form of MIL-F-8785C."""

import math

import numpy as np
import pytest
from scipy.signal import welch
from world_rigs import rig

from sequencer.world import World
from sequencer.world.turbulence import dryden

FOOT = 0.3048
LIGHT = 7.71667  # m/s at 20 ft: 15 kt

# height ft: L_u m, sigma_u / sigma_w, sigma_u m/s at 15 kt
TABLE = {
    10: (23.05480061, 1.962978167, 1.514764819),
    20: (43.76586720, 1.929139025, 1.488652281),
    50: (94.72807375, 1.838645119, 1.418821150),
    100: (153.9756133, 1.715848713, 1.324063257),
    200: (221.2195599, 1.536713318, 1.185830444),
    500: (287.9315177, 1.236236076, 0.9539621721),
    1000: (304.8, 1.0, 0.7716666667),
}


@pytest.mark.parametrize("feet", TABLE)
def test_lengths_and_intensities(feet):
    """MIL-F-8785C (5 Nov 1980) low-altitude model; formulas in feet [T2], values [C]."""
    length, ratio, sigma = TABLE[feet]
    l_u, l_w, s_u, s_w = dryden(feet * FOOT, 15.0 * 1852.0 / 3600.0)
    assert l_u == pytest.approx(length, rel=1e-8)
    assert l_w == pytest.approx(feet * FOOT, rel=1e-12)
    assert s_w == pytest.approx(0.7716666667, rel=1e-9)
    assert s_u / s_w == pytest.approx(ratio, rel=1e-9)
    assert s_u == pytest.approx(sigma, rel=1e-9)


def test_height_is_not_taken_for_feet():
    """h = 50 m is 164.042 ft: L_u 202.2895886 m, not the 310.79 of a well-known slip [C]."""
    l_u, _, s_u, _ = dryden(50.0, 15.0 * 1852.0 / 3600.0)
    assert l_u == pytest.approx(202.2895886, rel=1e-9)
    assert s_u == pytest.approx(1.229601119, rel=1e-9)


@pytest.fixture(scope="module")
def record():
    """Half an hour of wind at a vehicle on its pad, 20 m/s mean from the west: shape (n, 3)."""
    params = rig(rate_hz=20, substeps=1, holds_down=1, turbulence_w20=LIGHT, seed=7)
    params["wind_levels"] = 1
    params["wind_east"][0] = 20.0
    world = World(params)
    return np.array([world.step()["wind"].copy() for _ in range(20 * 1800)]) - (20.0, 0.0, 0.0)


def test_variances(record):
    """Intensities at the least height of the model, 10 ft [C]; half an hour, so to some percent.

    The record holds about 1500 independent lengths of u and 12000 of w.
    """
    sigma_u, sigma_v, sigma_w = record.std(axis=0)
    assert sigma_u == pytest.approx(1.514764819, rel=0.06)
    assert sigma_v == pytest.approx(1.514764819, rel=0.06)
    assert sigma_w == pytest.approx(0.771667, rel=0.03)
    assert np.corrcoef(record.T)[np.triu_indices(3, 1)] == pytest.approx(0.0, abs=0.1)


def test_along_the_wind_neighbours_correlate_as_the_exact_filter_says(record):
    """rho = exp(-V dt / L_u) [C]; what is left over is white.

    The mean wind is 20 m/s, the gusts themselves change the airspeed a little.
    """
    u = record[:, 0]
    rho = math.exp(-20.0 * 0.05 / 23.05480061)
    assert u[1:] @ u[:-1] / (u @ u) == pytest.approx(rho, abs=0.01)


def test_spectra(record):
    """Phi_u = s2 (2L/pi) / (1 + (L W)^2), Phi_w = s2 (L/pi) (1 + 3 (L W)^2) / (1 + (L W)^2)^2.

    One-sided over the spatial frequency W = 2 pi f / V, MIL-F-8785C [T2]; measured by averaged
    periodograms, compared octave by octave within 20 %.
    """
    for axis, length, sigma in (
        (0, 23.0548, 1.514765),
        (1, 23.0548, 1.514765),
        (2, 3.048, 0.771667),
    ):
        f, power = welch(record[:, axis], fs=20.0, nperseg=2048)
        x = length * 2.0 * math.pi * f / 20.0
        if axis == 0:
            phi = sigma**2 * 2.0 * length / math.pi / (1.0 + x**2)
        else:
            phi = sigma**2 * length / math.pi * (1.0 + 3.0 * x**2) / (1.0 + x**2) ** 2
        expected = phi * 2.0 * math.pi / 20.0
        for low in (0.03, 0.06, 0.12, 0.24, 0.48, 0.96, 1.92):
            band = (f >= low) & (f < 2.0 * low)
            assert power[band].mean() == pytest.approx(expected[band].mean(), rel=0.2), (axis, low)
