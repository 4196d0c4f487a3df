"""Continuous turbulence: the Dryden form of MIL-F-8785C (5 Nov 1980), low-altitude model.

Scale lengths and intensities follow the height above ground between 10 and 1000 ft; in the
specification's formulas height and length are in feet. With tau = L/V the filters are

    u:    sigma sqrt(2 tau) / (1 + tau s)
    v, w: sigma sqrt(tau) (1 + sqrt(3) tau s) / (1 + tau s)^2

on white noise. They are stepped exactly for any time step, as a Gauss-Markov process of one and of
two states; the states have variances 1 and (1, 1/2), and their stationary covariance is that of
the continuous filter, so the intensity does not depend on the step.
"""

from __future__ import annotations

import math
from typing import Final

from sequencer.world.air import wind
from sequencer.world.chance import SOURCE_START, SOURCE_TURBULENCE, normal_pair
from sequencer.world.jit import Record, compiled

__all__ = ["begin_turbulence", "dryden", "gusts_at", "stir"]

_FOOT: Final = 0.3048  # m
#: the frozen field needs some speed to pass by; m/s
_LEAST_AIRSPEED: Final = 1.0
_ROOT3: Final = math.sqrt(3.0)
_ROOT_HALF: Final = math.sqrt(0.5)


@compiled()
def dryden(height: float, w20: float) -> tuple[float, float, float, float]:
    """Lengths L_u = L_v and L_w (m), intensities sigma_u = sigma_v and sigma_w (m/s).

    height  above ground, m; held between 10 and 1000 ft
    w20     wind speed at 20 ft, m/s
    """
    feet = min(max(height / _FOOT, 10.0), 1000.0)
    base = 0.177 + 0.000823 * feet
    sigma_w = 0.1 * w20
    return feet / base**1.2 * _FOOT, feet * _FOOT, sigma_w / base**0.4, sigma_w


@compiled()
def begin_turbulence(state: Record, params: Record) -> None:
    """Draw filter states from their stationary distribution."""
    first, second = normal_pair(params.seed, params.flight, SOURCE_START, 0)
    state.turbulence[0] = first
    state.turbulence[1] = second
    first, third = normal_pair(params.seed, params.flight, SOURCE_START + 1, 0)
    fourth, _ = normal_pair(params.seed, params.flight, SOURCE_START + 2, 0)
    state.turbulence[2] = 0.5 * (second + first)
    state.turbulence[3] = third
    state.turbulence[4] = 0.5 * (third + fourth)


@compiled()
def _second_order(state: Record, place: int, ratio: float, first: float, second: float) -> None:
    """Step the two states from `place` on over `ratio` = dt/tau with two normal numbers."""
    decay = math.exp(-ratio)
    squared = decay * decay
    # covariance of what the noise adds: stationary minus what decays
    q11 = 1.0 - squared
    q12 = 0.5 - squared * (ratio + 0.5)
    q22 = 0.5 - squared * (ratio * ratio + ratio + 0.5)
    l11 = math.sqrt(q11)
    l21 = q12 / l11 if l11 > 0.0 else 0.0  # no time has passed
    l22 = math.sqrt(max(q22 - l21 * l21, 0.0))
    a = state.turbulence[place]
    b = state.turbulence[place + 1]
    state.turbulence[place] = decay * a + l11 * first
    state.turbulence[place + 1] = decay * (b + ratio * a) + l21 * first + l22 * second


@compiled()
def stir(state: Record, params: Record, dt: float) -> None:
    """Advance the filters by dt as body 0 flies through the frozen field; set state.stirred."""
    if params.turbulence_w20 <= 0.0:
        state.stirred[0] = 0.0
        state.stirred[1] = 0.0
        state.stirred[2] = 0.0
        return
    height = state.position[2]
    east, north, up = wind(params, height, state.tick / params.rate_hz)
    airspeed = math.sqrt(
        (state.velocity[0] - east) ** 2
        + (state.velocity[1] - north) ** 2
        + (state.velocity[2] - up) ** 2
    )
    travel = max(airspeed, _LEAST_AIRSPEED) * dt
    length_u, length_w, _, _ = dryden(height, params.turbulence_w20)
    tick = state.tick
    n_u, _ = normal_pair(params.seed, params.flight, SOURCE_TURBULENCE, tick)
    n_v1, n_v2 = normal_pair(params.seed, params.flight, SOURCE_TURBULENCE + 1, tick)
    n_w1, n_w2 = normal_pair(params.seed, params.flight, SOURCE_TURBULENCE + 2, tick)
    decay = math.exp(-travel / length_u)
    state.turbulence[0] = decay * state.turbulence[0] + math.sqrt(1.0 - decay * decay) * n_u
    _second_order(state, 1, travel / length_u, n_v1, n_v2)
    _second_order(state, 3, travel / length_w, n_w1, n_w2)
    east, north, up = gusts_at(state, params, height)
    state.stirred[0] = east
    state.stirred[1] = north
    state.stirred[2] = up


@compiled()
def gusts_at(state: Record, params: Record, height: float) -> tuple[float, float, float]:
    """East, north and up parts (m/s) of the turbulence, with the intensity at `height`.

    u lies along the mean wind there (east in a calm), v across it.
    """
    if params.turbulence_w20 <= 0.0:
        return 0.0, 0.0, 0.0
    _, _, sigma_u, sigma_w = dryden(height, params.turbulence_w20)
    u = sigma_u * state.turbulence[0]
    v = sigma_u * _ROOT_HALF * (_ROOT3 * state.turbulence[1] + (1.0 - _ROOT3) * state.turbulence[2])
    w = sigma_w * _ROOT_HALF * (_ROOT3 * state.turbulence[3] + (1.0 - _ROOT3) * state.turbulence[4])
    east, north, _ = wind(params, height, -1.0)
    speed = math.sqrt(east * east + north * north)
    if speed > 0.0:
        east /= speed
        north /= speed
    else:
        east = 1.0
        north = 0.0
    return u * east - v * north, u * north + v * east, w
