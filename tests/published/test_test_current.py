"""Test currents through igniters against what is published about them.

NASA-STD-8719.24, Annex, 13.8.1.1.1 (derived from AFSPCMAN 91-710) [T, second hand]: a meter in an
ordnance circuit passes no more than a tenth of the no-fire energy, or 50 mA, whichever is less.
A tenth of the no-fire *current* is common practice and stricter.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from sequencer.errors import InputError
from sequencer.vehicle import load_vehicle
from sequencer.vehicle.circuits import LARGEST_TEST_CURRENT_A, NO_FIRE_SHARE, unsafe_test

DEMO = Path(__file__).parents[2] / "scenarios" / "sandpiper.vehicle.toml"

#: no-fire currents: electric match, 0.2 to 0.3 A [M]; one-ampere bridge wire initiator of Apollo,
#: NASA Aerospace Safety Advisory Panel, report for 1974, Table VIII [T, second hand]; same table,
#: most sensitive of the other vehicles, 50 mA [T, second hand]
NO_FIRE_A = {"match, sensitive": 0.2, "match": 0.3, "1 A 1 W": 1.0, "most sensitive": 0.05}


@pytest.fixture(scope="module")
def demo():
    return load_vehicle(DEMO)


def largest(vehicle, no_fire_a: float) -> float:
    """The largest test current that is let pass, by halving, A."""
    load = replace(vehicle.loads["igniter_L1"], no_fire_a=no_fire_a)
    channel = vehicle.channels[load.channel]
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2.0
        if unsafe_test(replace(channel, test_current_a=middle), load) is None:
            low = middle
        else:
            high = middle
    return low


@pytest.mark.parametrize(
    ("which", "most"),
    [("match, sensitive", 0.02), ("match", 0.03), ("1 A 1 W", 0.05), ("most sensitive", 0.005)],
)
def test_a_tenth_of_the_no_fire_current_or_50_ma(demo, which, most):
    assert largest(demo, NO_FIRE_A[which]) == pytest.approx(most, rel=1e-12)


@pytest.mark.parametrize("no_fire_a", NO_FIRE_A.values())
def test_that_is_stricter_than_a_tenth_of_the_energy(demo, no_fire_a):
    """At equal time and resistance the energy goes with the square of the current [C]: a tenth of
    the energy is 1/sqrt(10) = 31.6 % of the current, not 10 %.
    """
    by_energy = no_fire_a / math.sqrt(10.0)
    assert by_energy / no_fire_a == pytest.approx(0.316, abs=5e-4)
    allowed = largest(demo, no_fire_a)
    assert allowed <= min(by_energy, LARGEST_TEST_CURRENT_A)
    assert (allowed / no_fire_a) ** 2 <= NO_FIRE_SHARE**2 * (1 + 1e-12)  # of the no-fire power


def test_the_often_quoted_200_ma_are_refused(tmp_path):
    """An encyclopedia's article on electric matches calls test currents of "often 200 mA" [T]:
    as much as a sensitive match's whole no-fire current, and four times the limit of the ranges.
    """
    text = DEMO.read_text(encoding="utf-8")
    line = next(n for n, row in enumerate(text.splitlines(), 1) if row.startswith("F1 = "))
    path = tmp_path / "bad.vehicle.toml"
    path.write_text(
        "\n".join(
            row.replace("test_current_a = 0.001", "test_current_a = 0.2") if n == line else row
            for n, row in enumerate(text.splitlines(), 1)
        ),
        encoding="utf-8",
    )
    with pytest.raises(InputError) as caught:
        load_vehicle(path)
    assert str(caught.value) == (
        f"{path}:{line}: the test current of channel 'flight.F1', 0.2 A, is above a tenth of the "
        "no-fire current of 'igniter_L1' (0.25 A); at most 0.025 A"
    )


def test_the_demo_tests_with_a_250th_of_the_no_fire_current(demo):
    """Its 1 mA come close to 3.3 V through 10 kohm and 1.6 ohm, 0.32995 mA [C]; in both cases the
    power in the bridge is below 1e-4 of what never fires it.
    """
    feeble = 3.3 / (10_000.0 + 1.6)
    assert feeble == pytest.approx(0.3299472084e-3, rel=1e-9)
    for load in demo.loads.values():
        channel = demo.channels[load.channel]
        if channel.test_current_a > 0.0 and load.no_fire_a is not None:
            assert (channel.test_current_a / load.no_fire_a) ** 2 < 1e-4


def test_a_hot_wire_has_the_current_that_never_burns_its_thread_for_its_no_fire_current(demo):
    """By hand [C]: 0.0042 W/K over 230 K are 0.966 W, and sqrt(0.966 W / 3 ohm) = 0.5675 A."""
    assert demo.loads["hold_down_wire"].no_fire_a == pytest.approx(0.5675, abs=5e-5)
