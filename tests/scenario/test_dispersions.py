"""[[dispersions]] and [[correlations]]: names, places in the world's record, errors."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest

from sequencer.errors import InputError, UsageError
from sequencer.flight.batch import fly_compiled
from sequencer.flight.batch.plan import batch_of
from sequencer.scenario import Scenario, dispersed, load_scenario
from sequencer.scenario.air_quantities import weather_quantities
from sequencer.scenario.dispersed import drawn_values, plain_shares, plain_shares_of
from sequencer.scenario.quantities import vehicle_quantities
from sequencer.world.chance import uniform_pair
from sequencer.world.weather import Weather

HEAD = """\
[scenario]
extends = "{base}"
title = "made for a test"
reason = "something differs from flight to flight"
covers = {{ fault = "{fault}", phase = "any" }}
{more}
[expect]
outcome = "landed"
"""
WIND = """
[weather.wind]
law = "power"
exponent = 0.14
speed_m_s = 2.0
from_deg = 250.0
[[weather.gusts]]
start_s = 20.0
length_s = 2.0
speed_m_s = 3.0
from_deg = 90.0
"""
MEASURED = """
[weather.wind]
law = "levels"
[[weather.wind.levels]]
height_m = 2.0
speed_m_s = 3.0
from_deg = 90.0
[[weather.wind.levels]]
height_m = 50.0
speed_m_s = 4.0
from_deg = 120.0
[[weather.temperatures]]
height_m = 0.0
celsius = 5.0
[[weather.temperatures]]
height_m = 300.0
celsius = 2.0
"""
LATE = """
[[faults]]
name = "a.late [1]"
kind = "igniter_late"
place = "igniter_A1"
size = 0.2
at_s = 1.0
for_s = 5.0
"""


def load(folder: Path, more: str, base: str = "calm_landing.scenario.toml") -> Scenario:
    path = folder / "dispersed.scenario.toml"
    fault = "igniter_late" if "igniter_late" in more else "weather"
    path.write_text(HEAD.format(more=more, base=base, fault=fault), encoding="utf-8")
    return load_scenario(path)


def one(quantity: str, *values: float, how: str = "value") -> str:
    return f"""
[[dispersions]]
quantity = "{quantity}"
distribution = "discrete"
values = {list(values)}
as = "{how}"
"""


def same_numbers(first: np.void, second: np.void) -> None:
    for name in first.dtype.names:
        if name not in ("seed", "flight"):
            np.testing.assert_allclose(first[name], second[name], rtol=4e-15, err_msg=name)


@pytest.mark.parametrize(
    ("quantity", "value", "old", "new"),
    [
        ("motors.L1.total_impulse_n_s", 13.3, "impulse_n_s = 14.0", "impulse_n_s = 13.3"),
        ("motors.L1.burn_time_s", 3.1, "burn_time_s = 2.8", "burn_time_s = 3.1"),
        ("motors.L1.offset_y_m", 0.016, "offset_y_m = 0.015\n", "offset_y_m = 0.016\n"),
        ("parts.stage.mass_kg", 0.7, "mass_kg = 0.665", "mass_kg = 0.7"),
        ("parachutes.main.drag_area_m2", 0.4, "drag_area_m2 = 0.44", "drag_area_m2 = 0.4"),
        ("aero.stack.side_area_m2", 0.09, "side_area_m2 = 0.100", "side_area_m2 = 0.09"),
        ("motors.A1.eject_delay_s", 4.0, "eject_delay_s = 5.0", "eject_delay_s = 4.0"),
        ("ground.leg_length_m", 0.19, "leg_length_m = 0.20", "leg_length_m = 0.19"),
        ("ground.leg_radius_m", 0.27, "leg_radius_m = 0.30", "leg_radius_m = 0.27"),
        ("parts.stage.tail_station_m", 0.66, "tail_station_m = 0.65", "tail_station_m = 0.66"),
        ("channels.pad.P1.wire_m", 9.0, "wire_m = 6.0", "wire_m = 9.0"),
    ],
)  # fmt: skip
def test_a_drawn_value_is_what_the_vehicle_file_would_have_said(
    folder: Path, quantity: str, value: float, old: str, new: str
) -> None:
    scenario = load(folder, one(quantity, value))
    file = folder / "sandpiper.vehicle.toml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    same_numbers(dispersed(scenario, 1).params, load(folder, "").params)


@pytest.mark.parametrize(
    ("quantity", "value", "old", "new"),
    [
        ("weather.wind.speed_m_s", 3.0, "speed_m_s = 2.0", "speed_m_s = 3.0"),
        ("weather.wind.from_deg", 10.0, "from_deg = 250.0", "from_deg = 10.0"),
        ("weather.gusts.1.speed_m_s", 5.0, "speed_m_s = 3.0", "speed_m_s = 5.0"),
        ("weather.gusts.1.start_s", 21.0, "start_s = 20.0", "start_s = 21.0"),
        ("faults.a.late [1].size", 0.3, "size = 0.2", "size = 0.3"),
        ("faults.a.late [1].at_s", 1.5, "at_s = 1.0", "at_s = 1.5"),
        ("faults.a.late [1].for_s", 6.0, "for_s = 5.0", "for_s = 6.0"),
        ("link.loses", 0.25, "loses = 0.1", "loses = 0.25"),
        ("link.delay_s", 0.02, "delay_s = 0.01", "delay_s = 0.02"),
    ],
)
def test_a_drawn_value_is_what_the_scenario_would_have_said(
    folder: Path, quantity: str, value: float, old: str, new: str
) -> None:
    text = WIND + LATE + "\n[link]\nloses = 0.1\ndelay_s = 0.01\n"
    assert old in text
    drawn = dispersed(load(folder, text + one(quantity, value)), 1)
    written = load(folder, text.replace(old, new))
    same_numbers(drawn.params, written.params)
    assert (drawn.faults, drawn.link) == (written.faults, written.link)


@pytest.mark.parametrize(
    ("quantity", "value", "old", "new"),
    [
        ("weather.wind.levels.2.speed_m_s", 5.5, "speed_m_s = 4.0", "speed_m_s = 5.5"),
        ("weather.wind.levels.1.from_deg", 80.0, "from_deg = 90.0", "from_deg = 80.0"),
        ("weather.temperatures.2.celsius", -3.5, "celsius = 2.0", "celsius = -3.5"),
    ],
)
def test_what_was_measured_at_a_height_may_have_been_something_else(
    folder: Path, quantity: str, value: float, old: str, new: str
) -> None:
    assert old in MEASURED
    drawn = dispersed(load(folder, MEASURED + one(quantity, value)), 1)
    same_numbers(drawn.params, load(folder, MEASURED.replace(old, new)).params)


def test_levels_that_were_not_measured_are_told(folder: Path) -> None:
    with pytest.raises(InputError, match=r"no.* 'weather\.wind\.levels\.3\.speed_m_s'") as caught:
        load(folder, MEASURED + one("weather.wind.levels.3.speed_m_s", 1.0))
    assert caught.value.nearest == "weather.wind.levels.2.speed_m_s"


def test_legs_of_this_flight_decide_whether_it_tips_over(folder: Path) -> None:
    """On a foot circle of nothing it falls over, however softly it comes down."""
    scenario = load(folder, one("ground.leg_radius_m", 1e-6))
    assert fly_compiled(scenario).outcome == "landed"
    assert fly_compiled(dispersed(scenario, 1)).outcome == "tipped_over"


def test_an_igniter_with_another_energy_still_stands_its_no_fire_current(folder: Path) -> None:
    scenario = load(folder, one("loads.igniter_A1.fire_energy_j", 2.0, how="factor"))
    before, after = scenario.params, dispersed(scenario, 1).params
    index = scenario.places.loads.index("igniter_A1")
    assert after["load_energy"][index] == 2.0 * before["load_energy"][index]
    kept = after["load_energy"][index] * after["load_loss"][index]
    assert kept == pytest.approx(before["load_energy"][index] * before["load_loss"][index])


def test_shares_of_another_scenario_are_refused(folder: Path) -> None:
    calm = load(folder, "")
    with pytest.raises(UsageError, match="disperses 0 quantities, not 2"):
        dispersed(calm, 1, shares=[0.1, 0.2])


def test_a_drawn_delay_is_still_flown_by_the_batch_kernel(folder: Path) -> None:
    more = '[[dispersions]]\nquantity = "link.delay_s"\ndistribution = "uniform"\n'
    scenario = load(folder, more + "low = 0.0\nhigh = 0.01\n")
    flight = dispersed(scenario, 1)
    assert 0 < flight.link.delay != scenario.link.delay
    assert batch_of(flight) is not None


def test_units_are_those_of_the_name(folder: Path) -> None:
    scenario = load(folder, one("servos.flight.ascent_y.bias_deg", 2.0))
    place = scenario.places.servos["flight.ascent_y"]
    assert dispersed(scenario, 1).params["servo_bias"][place] == np.deg2rad(2.0)


@pytest.mark.parametrize(("how", "value"), [("value", 1.5), ("factor", 51.0), ("added", 35.5)])
def test_what_is_drawn_is_a_value_a_factor_or_added(folder: Path, how: str, value: float) -> None:
    scenario = load(folder, one("motors.A2.total_impulse_n_s", 1.5, how=how))
    index = scenario.places.motors.index("A2")
    assert dispersed(scenario, 1).params["motor_impulse"][index] == value


def test_every_quantity_written_at_its_nominal_changes_nothing(folder: Path) -> None:
    scenario = load(folder, WIND + LATE + one("link.loses", 0.0))
    start = scenario.dispersions.start
    assert start is not None
    quantities = [*vehicle_quantities(scenario.vehicle, scenario.places, scenario.params)]
    quantities += weather_quantities(Weather(), scenario.params)
    assert len(quantities) > 270
    for quantity in quantities:
        draft = start()
        quantity.write(draft, quantity.nominal)
        same_numbers(draft.params, scenario.params)
        assert quantity.holds(quantity.nominal), quantity.name
        if quantity.place is not None:
            field, index, factor = quantity.place
            number = draft.params[field] if index is None else draft.params[field][index]
            assert number == pytest.approx(quantity.nominal * factor)


def test_the_scenario_itself_stays_as_it_is(folder: Path) -> None:
    scenario = load(folder, LATE + one("motors.*.total_impulse_n_s", 0.5, how="factor"))
    before = scenario.params.tobytes()
    drawn = dispersed(scenario, 3, 9)
    assert scenario.params.tobytes() == before
    assert (drawn.params["seed"], drawn.params["flight"]) == (9, 3)
    motors = len(scenario.places.motors)
    halves = drawn.params["motor_impulse"][:motors] / scenario.params["motor_impulse"][:motors]
    assert list(halves) == [0.5] * motors


def test_flight_0_is_the_scenario_as_it_stands(folder: Path) -> None:
    scenario = load(folder, one("motors.A1.total_impulse_n_s", 30.0))
    assert dispersed(scenario, 0).params.tobytes() == scenario.params.tobytes()


def test_a_dispersion_more_changes_no_draw_of_the_others(folder: Path) -> None:
    normal = '\n[[dispersions]]\nquantity = "parts.{}.mass_kg"\ndistribution = "normal"\nmean = 1.0\nsd = 0.01\nas = "factor"\n'  # noqa: E501
    alone = load(folder, normal.format("stage"))
    both = load(folder, normal.format("booster") + normal.format("stage"))
    for flight in range(1, 20):
        (first,) = plain_shares(alone.dispersions, 5, flight)
        assert first == plain_shares(both.dispersions, 5, flight)[1]


def test_shares_drawn_at_once_are_those_of_the_generator(folder: Path) -> None:
    """Of (seed, flight, name) alone, also where a seed or a number needs all its bits."""
    found = load(folder, one("motors.A?.total_impulse_n_s", 30.0)).dispersions
    flights = [1, 2, 2**33 + 5]
    for seed in (0, 5, 2**64 - 1):
        shares = plain_shares_of(found, seed, flights)
        for flight, row in zip(flights, shares, strict=True):
            for each, share in zip(found.each, row, strict=True):
                digest = hashlib.sha256(each.name.encode()).digest()
                source = int.from_bytes(digest[:4], "little") | 1 << 31
                draw = int.from_bytes(digest[4:8], "little")
                assert share == uniform_pair(seed, flight, source, draw)[0]
            assert row == plain_shares(found, seed, flight)


def test_correlated_ones_go_together_and_keep_their_distributions(folder: Path) -> None:
    more = """
[[dispersions]]
quantity = "motors.A*.total_impulse_n_s"
distribution = "uniform"
low = 30.0
high = 38.0
[[dispersions]]
quantity = "parts.stage.mass_kg"
distribution = "normal"
mean = 0.665
sd = 0.01
[[correlations]]
between = ["motors.A1.*", "motors.A2.*"]
coefficient = 1.0
[[correlations]]
between = ["motors.A1.*", "parts.stage.mass_kg"]
coefficient = -0.8
[[correlations]]
between = ["motors.A2.*", "parts.stage.mass_kg"]
coefficient = -0.8
"""
    found = load(folder, more).dispersions
    draws = [drawn_values(found, plain_shares(found, 1, flight)) for flight in range(1, 2001)]
    values = np.array(draws)
    np.testing.assert_allclose(values[:, 0], values[:, 1], rtol=1e-12)
    scores = np.corrcoef(values.T)
    assert scores[0, 3] == pytest.approx(-0.8, abs=0.04)
    assert abs(scores[0, 2]) < 0.08
    assert values[:, 0].mean() == pytest.approx(34.0, abs=0.2)
    assert values[:, 3].std() == pytest.approx(0.01, abs=0.001)


NORMAL = 'distribution = "normal"\nmean = 1.0\nsd = 0.1\n'


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        (
            f'[[dispersions]]\nquantity = "motors.A1.total_impulse"\n{NORMAL}',
            7,
            (
                "nothing that can be dispersed is named 'motors.A1.total_impulse'; did you mean "
                "'motors.A1.total_impulse_n_s'?"
            ),
        ),
        (
            f'[[dispersions]]\nquantity = "weather.wind.speed_m_s"\n{NORMAL}',
            7,
            (
                "'weather.wind.speed_m_s': [weather.wind] gives no speed_m_s and from_deg to be "
                "dispersed"
            ),
        ),
        (
            '[[dispersions]]\nquantity = "parts.stage.mass_kg"\ndistribution = "norml"\n',
            8,
            "'dispersions[1].distribution' is 'norml', not one of",
        ),
        (
            '[[dispersions]]\nquantity = "parts.stage.mass_kg"\ndistribution = "normal"\nmean = 1',
            6,
            "is normal, which needs 'sd'",
        ),
        (
            f'[[dispersions]]\nquantity = "parts.stage.mass_kg"\nlow = 0.1\n{NORMAL}',
            6,
            "is normal, which has no use for 'low'",
        ),
        (
            (
                '[[dispersions]]\nquantity = "parts.stage.mass_kg"\ndistribution = "uniform"\n'
                "low = 2\nhigh = 1\n"
            ),
            6,
            "has a low that is not below its high (2, 1)",
        ),
        (
            (
                '[[dispersions]]\nquantity = "parts.stage.mass_kg"\n'
                'distribution = "truncated_normal"\n'
                "mean = 1\nsd = 0.1\nlow = 3\nhigh = 4\n"
            ),
            6,
            "has nothing of its normal distribution between low and high",
        ),
        (
            (
                '[[dispersions]]\nquantity = "parts.stage.mass_kg"\ndistribution = "discrete"\n'
                "values = [1, 2]\nweights = [1.0]\n"
            ),
            6,
            "has 2 values, but 1 weights",
        ),
        (
            (
                '[[dispersions]]\nquantity = "parts.stage.mass_kg"\ndistribution = "normal"\n'
                "mean = 0.6\nsd = 0.1\n"
            ),
            8,
            (
                "'parts.stage.mass_kg' can become -0.23: it has to be above 0 kg; "
                "a truncated_normal has limits"
            ),
        ),
        (
            '[[dispersions]]\nquantity = "sensors.flight.baro.bias_m"\nas = "factor"\n' + NORMAL,
            8,
            "'sensors.flight.baro.bias_m' is 0 here: a factor changes nothing",
        ),
        (
            one("parts.stage.mass_kg", 1.0) + one("parts.*.mass_kg", 1.0),
            14,
            "'parts.stage.mass_kg' is dispersed already",
        ),
        (
            LATE + one("faults.a.late [1].size", -1.0),
            17,
            "'faults.a.late [1].size' can become -1: the size of 'igniter_late' is not negative",
        ),
        (
            '[[correlations]]\nbetween = ["a", "b"]\ncoefficient = 0.5\n',
            6,
            "there are no [[dispersions]] to go together",
        ),
        (
            one("parts.*.mass_kg", 1.0)
            + '[[correlations]]\nbetween = ["parts.stage.mass"]\ncoefficient = 0.5\n',
            13,
            "'parts.stage.mass' is not dispersed here; did you mean 'parts.stage.mass_kg'?",
        ),
        (
            one("parts.*.mass_kg", 1.0)
            + '[[correlations]]\nbetween = ["parts.stage.*"]\ncoefficient = 0.5\n',
            13,
            "a correlation is between two dispersions at least",
        ),
        (
            one("motors.A*.propellant_kg", 0.018)
            + '[[correlations]]\nbetween = ["motors.A*"]\ncoefficient = -0.6\n',
            14,
            "these correlations cannot all be at once",
        ),
        (
            one("parts.*.mass_kg", 1.0)
            + '[[correlations]]\nbetween = ["parts.*"]\ncoefficient = 0.5\n' * 2,
            16,
            "have a correlation already",
        ),
    ],
)
def test_what_cannot_be_is_one_line(folder: Path, text: str, line: int, what: str) -> None:
    with pytest.raises(InputError) as caught:
        load(folder, text)
    message = str(caught.value)
    assert what in message
    assert message.startswith(f"{folder / 'dispersed.scenario.toml'}:{line}: "), message
    assert "\n" not in message


def test_nothing_is_dispersed_where_the_inputs_come_from_a_log(folder: Path) -> None:
    path = folder / "replay_calm.scenario.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text + one("link.loses", 0.0), encoding="utf-8")
    with pytest.raises(InputError, match="nothing can be dispersed: the inputs come from a log"):
        load_scenario(path)
