"""Firing circuits against hand-worked examples, SciPy's linear algebra, and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.linalg
from world_rigs import add_battery, add_load, add_sensor, rig, steps

from sequencer.world import LoadKind, SensorKind, World

SIGNAL, CUTS = LoadKind.SIGNAL, LoadKind.SEPARATION
NEVER = 1e3  # J


def bench(volts=8.4, resistance=0.0, substeps=10, **values):
    """Loads on the bench: one battery, one step of 1 ms to a substep."""
    params = rig(holds_down=1, **values)
    params["substeps"] = substeps
    add_battery(params, 0, volts, resistance)
    return params


def add_channel(params, resistance):
    channel = int(params["channels"])
    params["channels"] += 1
    params["channel_resistance"][channel] = resistance
    return channel


def switched_on(params, seconds=0.01):
    """World after some time with all channels on."""
    world = World(params)
    world.commands["channel"][: int(params["channels"])] = 1
    steps(world, seconds)
    return world


@pytest.mark.parametrize(
    ("series", "amps"), [(1e4, 0.3299472084e-3), (0.0, 2.0625)], ids=["whole", "shorted"]
)
def test_current_of_a_continuity_check_and_of_its_single_fault(series, amps):
    """3.3 V through 10 kohm and a bridge of 1.6 ohm; the same with the 10 kohm shorted [C]."""
    params = bench(3.3)
    add_load(params, SIGNAL, channel=add_channel(params, series), resistance=1.6)
    world = switched_on(params)
    assert world.out["load_current"][0] == pytest.approx(amps, rel=1e-9)


def test_one_igniter_worked_by_hand():
    """8.0 V behind 0.2 ohm, computer 0.5 A, channel 0.2 ohm, igniter 1.6 ohm [C].

    The branch is 1.8 ohm, so V = (8.0 - 0.2 * 0.5) / (1 + 0.2 / 1.8) = 7.9 / (10/9) = 7.11 V at
    the terminals, 7.11 / 1.8 = 3.95 A through the igniter and 4.45 A out of the battery. Check:
    8.0 - 0.2 * 4.45 = 7.11.
    """
    params = bench(8.0, 0.2)
    params["battery_draw"][0] = 0.5
    add_load(params, SIGNAL, channel=add_channel(params, 0.2), resistance=1.6)
    out = switched_on(params).out
    assert out["battery"][0] == pytest.approx(7.11)
    assert out["load_current"][0] == pytest.approx(3.95)
    assert out["battery_current"][0] == pytest.approx(4.45)


def test_a_low_resistance_starves_its_neighbours_worked_by_hand():
    """Three igniters, 0.2, 1.6 and 1.6 ohm, in parallel on a channel of 0.24 ohm; 7.2 V [C].

    In parallel: 1 / (5 + 0.625 + 0.625) = 0.16 ohm, with the channel 0.4 ohm: 18 A, 2.88 V across
    all three: 14.4 A through the first, 1.8 A through the others. Alone on the channel one of
    1.6 ohm would have 7.2 / 1.84 = 3.913 A.
    """
    params = bench(7.2)
    channel = add_channel(params, 0.24)
    for ohm in (0.2, 1.6, 1.6):
        add_load(params, SIGNAL, channel=channel, resistance=ohm)
    out = switched_on(params).out
    assert out["load_current"][:3] == pytest.approx([14.4, 1.8, 1.8])


def test_when_the_greedy_one_opens_the_others_get_their_current_within_the_step():
    """As above, each of 10 mJ, all heat kept, one step of 10 ms; worked by hand [C].

    The first takes 14.4^2 * 0.2 = 41.472 W and opens after 0.24113 ms. Until then the others got
    1.8^2 * 1.6 = 5.184 W: 1.25 mJ. Then 7.2 / (0.24 + 0.8) = 6.923 A halves into 3.4615 A and
    19.172 W: the missing 8.75 mJ take 0.45640 ms, so both open after 0.69753 ms. The battery gave
    18 A * 0.24113 ms + 6.923 A * 0.45640 ms = 7.5000 mC.
    """
    params = bench(7.2, substeps=1)
    params["battery_capacity"][0] = 1.0
    channel = add_channel(params, 0.24)
    for ohm in (0.2, 1.6, 1.6):
        add_load(params, CUTS, channel=channel, resistance=ohm, energy=0.010)
    world = switched_on(params, 0.01)
    assert world.out["spent"][:3].tolist() == [1, 1, 1]
    assert world.out["load_current"][:3] == pytest.approx([14.4, 3.46153846, 3.46153846])
    first = 0.010 / 41.472
    rest = (0.010 - 5.184 * first) / (3.4615384615**2 * 1.6)
    given = 18.0 * first + 7.2 / 1.04 * rest
    assert given == pytest.approx(7.5000e-3, abs=5e-7)
    assert 1.0 - world.state["battery_charge"][0] == pytest.approx(given, rel=1e-8)


def nodal_solution(volts, inner, steady, channels):
    """Terminal voltage and currents through loads by nodal analysis; loads per channel in ohm."""
    nodes = 1 + len(channels)
    matrix, known = np.zeros((nodes, nodes)), np.zeros(nodes)
    matrix[0, 0] = 1.0 / inner
    known[0] = volts / inner - steady
    for node, (series, loads) in enumerate(channels, start=1):
        matrix[0, 0] += 1.0 / series
        matrix[0, node] = matrix[node, 0] = -1.0 / series
        matrix[node, node] = 1.0 / series + sum(1.0 / ohm for ohm in loads)
    at = scipy.linalg.solve(matrix, known)
    amps = [at[n] / ohm for n, (_, loads) in enumerate(channels, start=1) for ohm in loads]
    return at[0], amps


@pytest.mark.parametrize("seed", range(8))
def test_random_networks_against_nodal_analysis(seed):
    """scipy.linalg.solve of Kirchhoff's current law at every node [L]."""
    chance = np.random.default_rng(seed)
    volts, inner, steady = chance.uniform(6, 13), chance.uniform(0.02, 0.5), chance.uniform(0, 2)
    channels = [
        (chance.uniform(0.05, 0.6), chance.uniform(1.0, 3.0, size=chance.integers(1, 4)).tolist())
        for _ in range(chance.integers(1, 5))
    ]
    channels[0][1][0] = 0.05  # one that starves the others
    params = bench(volts, inner)
    params["battery_draw"][0] = steady
    for series, loads in channels:
        channel = add_channel(params, series)
        for ohm in loads:
            add_load(params, SIGNAL, channel=channel, resistance=ohm)
    out = switched_on(params).out
    terminal, amps = nodal_solution(volts, inner, steady, channels)
    assert out["battery"][0] == pytest.approx(terminal, rel=1e-12)
    assert out["load_current"][: len(amps)] == pytest.approx(amps, rel=1e-12)


@pytest.mark.parametrize("loss", [0.0, 3.0, 40.0])
def test_heating_follows_the_lumped_closed_form(loss):
    """E(t) = P/a (1 - exp(-a t)), a body of one temperature under Newton's law of cooling [C].

    P = (6 / 2)^2 * 1.5 = 13.5 W; then off: E falls by exp(-a t).
    """
    params = bench(6.0)
    add_load(params, CUTS, channel=add_channel(params, 0.5), resistance=1.5, energy=NEVER)
    params["load_loss"][0] = loss
    world = World(params)
    world.commands["channel"][0] = 1
    for seconds in (0.01, 0.02, 0.05, 0.1):
        while world.time_s < seconds - 1e-9:
            world.step()
        warm = -math.expm1(-loss * seconds) / loss if loss else seconds
        assert world.state["load_heat"][0] == pytest.approx(13.5 * warm, rel=1e-12)
    world.commands["channel"][0] = 0
    peak = float(world.state["load_heat"][0])
    steps(world, 0.05)
    assert world.state["load_heat"][0] == pytest.approx(peak * math.exp(-loss * 0.05), rel=1e-12)


def hot_wire(wind=0.0, colder=0.0):
    """10 mJ/K, 12 mW/K and 4 mW/K per m/s; burns at 250 C for 20 ms; 2 A through 1 ohm: 4 W."""
    params = bench(2.2, substeps=1, temperature_offset=-colder)
    params["wind_levels"] = 1
    params["wind_east"][0] = wind
    params["rate_hz"] = 1000
    load = add_load(params, CUTS, channel=add_channel(params, 0.1), resistance=1.0)
    params["load_capacity"][load] = 0.010
    params["load_loss"][load] = 0.012 / 0.010
    params["load_loss_wind"][load] = 0.004 / 0.010
    params["load_burns_at"][load] = 250.0
    params["load_hold"][load] = 0.020
    return params


@pytest.mark.parametrize(("wind", "colder"), [(0.0, 0.0), (0.5, 0.0), (0.5, 30.0)])
def test_a_hot_wire_burns_through_when_the_lumped_form_says(wind, colder):
    """t = -ln(1 - a C dT / P) / a, plus 20 ms; a = (0.012 + 0.004 v) / C, dT = 250 C - air [C].

    Channel 0.1 ohm, so that 2.2 V give 2 A through the wire. The air at the pad has 15 C, less on
    a cold day. At 0.5 m/s and -15 C: a = 1.4 /s, dT = 265 K: ln(1 / 0.0725) / 1.4 + 0.02 s, that is
    1.894 s.
    """
    rate = (0.012 + 0.004 * wind) / 0.010
    kelvin = 250.0 - (15.0 - colder)
    burns = -math.log1p(-rate * 0.010 * kelvin / 4.0) / rate + 0.020
    params = hot_wire(wind, colder)
    world = World(params)
    world.commands["channel"][0] = 1
    ticks = 0
    while world.out["spent"][0] == 0 and ticks < 3000:
        world.step()
        ticks += 1
    assert ticks == math.ceil(burns * 1000)


def test_a_gale_keeps_a_hot_wire_from_burning_through():
    """Balance at P = (0.012 + 0.004 v) dT: with 4 W and 235 K that is v = 1.255 m/s above 0 [C].

    4 / 235 = 0.01702 W/K, less 0.012, over 0.004: just above 1.255 m/s it never gets there.
    """
    assert steps(_driven(hot_wire(wind=1.0)), 8.0)["spent"][0] == 1
    assert steps(_driven(hot_wire(wind=1.3)), 8.0)["spent"][0] == 0


def _driven(params):
    world = World(params)
    world.commands["channel"][0] = 1
    return world


def igniter(amps):
    """An electric match: 10 mJ, no-fire 0.25 A, 1.6 ohm; the battery gives so many A."""
    params = bench(amps * 1.8, substeps=1)
    add_load(params, CUTS, channel=add_channel(params, 0.2), resistance=1.6, energy=0.010)
    params["load_loss"][0] = 0.25**2 * 1.6 / 0.010
    return params


def test_just_below_its_no_fire_current_an_igniter_never_fires():
    """No-fire is what it bears for minutes: five, as for a bridgewire of 1 A and 1 W [T2]."""
    world = _driven(igniter(0.2499))
    params = world.params
    params["rate_hz"] = 1  # a second to the step: heating is exact whatever the step
    assert steps(world, 300.0)["spent"][0] == 0
    assert world.state["load_heat"][0] == pytest.approx(0.010 * (0.2499 / 0.25) ** 2)


@pytest.mark.parametrize(("amps", "most_ms"), [(0.7, 14.0), (1.0, 7.0), (5.0, 0.3)])
def test_above_its_all_fire_current_it_fires_within_milliseconds(amps, most_ms):
    """Electric matches: all-fire 0.5 to 1.0 A in 5 to 20 ms [T2].

    t = -tau ln(1 - (no-fire / I)^2), tau = 10 mJ / (0.25^2 * 1.6) = 0.1 s: at 0.7 A 13.66 ms, at
    1 A 6.454 ms, at 5 A 0.2503 ms [C].
    """
    params = igniter(amps)
    params["rate_hz"] = 10_000
    world = _driven(params)
    ticks = 0
    while world.out["spent"][0] == 0:
        world.step()
        ticks += 1
    exact = -0.1 * math.log1p(-((0.25 / amps) ** 2))
    assert ticks == math.ceil(exact * 10_000)
    assert ticks / 10.0 <= most_ms


@pytest.mark.parametrize(("celsius", "factor"), [(50.0, 1.1179), (20.0, 1.0), (-10.0, 0.8821)])
def test_copper_wire_over_temperature(celsius, factor):
    """R(50 C)/R(20 C) = 1.1179, R(-10 C)/R(20 C) = 0.8821 with 0.00393 /K [M]; AWG 24 [T]."""
    params = bench(temperature_offset=celsius - 15.0)
    channel = add_channel(params, 0.0)
    params["channel_wire"][channel] = 100.0 * 0.0842132
    add_load(params, SIGNAL, channel=channel, resistance=1.0)
    add_sensor(params, SensorKind.CONTINUITY, channel, high=99.0)
    seen = float(World(params).out["value"][0])
    assert seen == pytest.approx(1.0 + 8.42132 * factor, abs=0.001)


def test_brown_out_worked_by_hand():
    """6 V behind 0.5 ohm; 0.5 A; a short of 0.5 ohm in all on a channel; below 4.5 V for 2 ms [C].

    V = (6 - 0.25) / (1 + 0.5 / 0.5) = 2.875 V: the computer loses power after 2 ms, its channel
    opens, and the voltage is 6 V again.
    """
    params = bench(6.0, 0.5)
    params["battery_draw"][0] = 0.5
    params["battery_brown_out"][0] = 4.5
    params["battery_brown_out_time"][0] = 0.002
    params["battery_capacity"][0] = 1.0
    add_load(params, SIGNAL, channel=add_channel(params, 0.3), resistance=0.2)
    world = switched_on(params, 0.01)
    out = world.out
    assert out["powerless"].tolist() == [1, 0]
    assert out["battery_least"][0] == pytest.approx(2.875)
    assert out["battery"][0] == pytest.approx(6.0)
    # for 2 ms 6.25 A flow, 0.5 A of it into the computer, and nothing after that
    assert 1.0 - world.state["battery_charge"][0] == pytest.approx(0.002 * 6.25)
    world.commands["channel"][0] = 0
    assert steps(world, 0.01)["powerless"][0] == 0
