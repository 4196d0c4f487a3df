"""Copper wire against the printed wire table. [T] printed table, [C] formula, [M] from memory.

The table: American Wire Gauge, copper at 20 C, ohm per 1000 ft, as printed by HyperPhysics after
Floyd, "Electric Circuit Fundamentals" [T]. Other tables print about 1.9 % more (26.15 for AWG 24):
those are for 25 C.
"""

from __future__ import annotations

import pytest

from sequencer.vehicle import copper
from sequencer.vehicle.model import Channel

#: m
_THOUSAND_FEET = 304.8

#: gauge, diameter in mm and ohm per m by the formula [C], ohm per 1000 ft as printed [T]
TABLE = [
    (20, 0.811821, 0.0333083, 10.15),
    (22, 0.643803, 0.0529622, 16.14),
    (24, 0.510559, 0.0842132, 25.67),
    (26, 0.404892, 0.133904, 40.81),
    (28, 0.321094, 0.212916, 64.90),
    (30, 0.254639, 0.338550, 103.2),
]


def channel(metres: float, awg: int) -> Channel:
    return Channel(
        name="pad.P1",
        computer="pad",
        resistance_ohm=0.0,
        connector_ohm=0.0,
        wire_ohm=metres * copper.ohm_per_m(awg),
        test_current_a=0.0,
        closed_by=(),
        opened_by=(),
    )


@pytest.mark.parametrize(("awg", "millimetres", "per_metre", "printed"), TABLE)
def test_the_printed_table(awg, millimetres, per_metre, printed):
    """[T] the last printed digit; [C] diameter and resistance to the digits of the formula."""
    assert copper.diameter_m(awg) * 1e3 == pytest.approx(millimetres, rel=1e-6)
    assert copper.ohm_per_m(awg) == pytest.approx(per_metre, rel=4e-6)
    last_digit = 0.1 if printed > 100 else 0.01
    assert copper.ohm_per_m(awg) * _THOUSAND_FEET == pytest.approx(printed, abs=last_digit / 2)


def test_the_gauge_goes_in_39_steps_of_a_factor_of_92():
    """Definition of the gauge, ASTM B258 [M]: 0.005 in at AWG 36, 0.46 in at AWG 0000."""
    assert copper.diameter_m(36) == pytest.approx(0.005 * 25.4e-3, rel=1e-12)
    assert copper.diameter_m(-3) == pytest.approx(0.46 * 25.4e-3, rel=1e-12)


@pytest.mark.parametrize(("celsius", "factor"), [(50.0, 1.1179), (20.0, 1.0), (-10.0, 0.8821)])
def test_warmer_wire_resists_more(celsius, factor):
    """0.00393 per K from 20 C [M]: +30 K is 11.79 % more, -30 K as much less."""
    wire = channel(6.0, 20)
    assert wire.resistance_at(celsius) / wire.resistance_at(20.0) == pytest.approx(factor, abs=1e-9)


def test_the_tables_that_print_more_are_those_for_25_c():
    """26.15 and 16.45 ohm per 1000 ft at AWG 24 and 22 [T]: 5 K more, 1.9 % more."""
    for awg, printed in ((24, 26.15), (22, 16.45)):
        warm = copper.ohm_per_m(awg) * copper.temperature_factor(25.0) * _THOUSAND_FEET
        assert warm == pytest.approx(printed, rel=1e-3)


def test_switch_and_connector_do_not_follow_the_temperature_of_the_wire():
    """By hand: 6 m of AWG 20 are 0.19985 ohm at 20 C and 0.22341 ohm at 50 C [C]."""
    whole = Channel("pad.P1", "pad", 0.03, 0.02, 6.0 * copper.ohm_per_m(20), 0.0, (), ())
    assert whole.resistance_at(20.0) == pytest.approx(0.05 + 0.19985, abs=1e-5)
    assert whole.resistance_at(50.0) == pytest.approx(0.05 + 0.19985 * 1.1179, abs=1e-5)
