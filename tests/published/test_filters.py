"""Blocks against scipy's digital filters and rotations."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import dlsim, dlti, lfilter, lfiltic, medfilt
from scipy.spatial.transform import Rotation

from sequencer.execute import ReferenceExecutor
from sequencer.sequence import load_sequence

DT = 0.01
X = np.random.default_rng(7).normal(size=400).cumsum() + 20.0

FILE = """
[sequence]
name = "filters"
about = "one estimate"
rate_hz = 100
boot_s = 0.0
start = "safe"

[inputs]
{inputs}

[estimates]
e = {{ {estimate} }}

[states.safe]
phase = "ground"
"""


@pytest.fixture
def outputs(tmp_path):
    """Gives the outputs of one estimate, as a file declares it, for rows of inputs."""

    def run(estimate, rows, **inputs):
        lines = "\n".join(f'{name} = {{ unit = "{unit}" }}' for name, unit in inputs.items())
        path = tmp_path / "filters.sequence.toml"
        path.write_text(FILE.format(inputs=lines, estimate=estimate))
        executor = ReferenceExecutor(load_sequence(path))
        found = []
        for clock, row in enumerate(np.reshape(rows, (len(rows), -1))):
            executor.tick(clock, row, [True] * len(row))
            found.append(executor.registers()["estimate.e"])
        return np.array(found)

    return run


def low_pass(outputs, xs, time_constant):
    text = f'block = "low_pass", of = "x", time_constant_s = {time_constant}, unit = "m"'
    return outputs(text, xs, x="m")


def filtered_rate(outputs, xs, time_constant):
    text = f'block = "filtered_rate", of = "x", time_constant_s = {time_constant}, unit = "m/s"'
    return outputs(text, xs, x="m")


@pytest.mark.parametrize("time_constant", [0.005, 0.05, 0.7])
def test_low_pass_is_the_filter_a_over_1_minus_1_minus_a_z(outputs, time_constant):
    """Source: scipy.signal.lfilter with b = [a], a = [1, -(1 - a)], started at rest on x[0] [L]."""
    a = DT / (time_constant + DT)
    expected, _ = lfilter([a], [1.0, a - 1.0], X, zi=[(1.0 - a) * X[0]])
    found = low_pass(outputs, X, time_constant)
    np.testing.assert_allclose(found, expected, rtol=1e-12)


def test_low_pass_step_response_is_that_of_the_discrete_system(outputs):
    """Source: scipy.signal.dlsim of dlti with the same transfer function, initially at rest [L]."""
    a = 0.2  # a time constant of four ticks
    xs = np.r_[0.0, np.ones(60)]
    _, expected = dlsim(dlti([a, 0.0], [1.0, a - 1.0], dt=DT), xs)
    np.testing.assert_allclose(low_pass(outputs, xs, 4 * DT), expected[:, 0], rtol=1e-12)


def test_low_pass_reaches_63_percent_after_its_time_constant(outputs):
    """1 - exp(-1) = 0.632 after one time constant of a first-order lag [C]."""
    response = low_pass(outputs, np.r_[0.0, np.ones(500)], 5.0)
    assert response[500] == pytest.approx(1.0 - math.exp(-1.0), abs=1e-3)


@pytest.mark.parametrize("time_constant", [0.005, 0.05, 0.7])
def test_filtered_rate_is_a_difference_behind_the_same_low_pass(outputs, time_constant):
    """Source: scipy.signal.lfilter, b = a/dt [1, -1], a = [1, -(1 - a)], y[0] = 0 [L]."""
    a = DT / (time_constant + DT)
    b, poles = [a / DT, -a / DT], [1.0, a - 1.0]
    expected, _ = lfilter(b, poles, X[1:], zi=lfiltic(b, poles, y=[0.0], x=[X[0]]))
    found = filtered_rate(outputs, X, time_constant)
    assert found[0] == 0.0
    np.testing.assert_allclose(found[1:], expected, rtol=1e-12, atol=1e-12 * np.abs(expected).max())


def test_filtered_rate_of_a_ramp_is_its_slope(outputs):
    """The derivative of 3 t is 3 [C]."""
    found = filtered_rate(outputs, 3.0 * DT * np.arange(400), 4 * DT)
    assert found[-1] == pytest.approx(3.0, rel=1e-12)


def test_integral_is_the_running_sum(outputs):
    """Source: scipy.signal.lfilter with b = [dt], a = [1, -1] [L]."""
    expected = lfilter([DT], [1.0, -1.0], X)
    found = outputs('block = "integral", of = "x", unit = "m"', X, x="m/s")
    np.testing.assert_allclose(found, expected, rtol=1e-12)


def test_peak_is_the_running_maximum(outputs):
    """Source: numpy.maximum.accumulate [L]."""
    found = outputs('block = "peak", of = "x", unit = "m"', X, x="m")
    assert (found == np.maximum.accumulate(X)).all()


def test_median_is_scipys_one_tick_later(outputs):
    """Source: scipy.signal.medfilt over three samples, centred; ours may not look ahead [L]."""
    found = outputs('block = "median3", of = "x", unit = "m"', X, x="m")
    assert (found[2:] == medfilt(X, 3)[1:-1]).all()


def test_attitude_turns_as_scipys_rotations_do(outputs):
    """Source: scipy Rotation (scalar last). An Euler step with unit norm is exactly a turn by
    2 atan(|w| dt/2) about w; so the composed rotations must agree to rounding [L].
    """
    rates = np.random.default_rng(3).normal(scale=2.0, size=(300, 3))
    gyros = ", ".join(f'rate_{axis} = "g{axis}"' for axis in "xyz")
    units = dict.fromkeys(("gx", "gy", "gz"), "rad/s")
    found = outputs(f'block = "attitude", {gyros}, unit = "deg"', rates, **units)
    turned = Rotation.from_quat([0.0, -math.sqrt(0.5), 0.0, math.sqrt(0.5)])
    for w, cosine in zip(rates, found, strict=True):
        size = float(np.linalg.norm(w))
        turned *= Rotation.from_rotvec(w / size * 2.0 * math.atan(size * DT / 2.0))
        nose = turned.apply([1.0, 0.0, 0.0])
        assert cosine == pytest.approx(nose[2], abs=1e-12)
