"""A vehicle becomes the world's numbers, in places that names lead to."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sequencer.errors import InputError
from sequencer.vehicle import load_vehicle, rewired
from sequencer.world import World, layout
from sequencer.world.assemble import LONGEST_STEP_S, assemble
from sequencer.world.layout import LoadKind, SensorKind, ServoRole
from sequencer.world.weather import Gust, Level, Weather, Wind

FOLDER = Path(__file__).parents[1] / "vehicle"


@pytest.fixture(scope="module")
def vehicle():
    return load_vehicle(FOLDER / "minimal.vehicle.toml")


@pytest.fixture(scope="module")
def made(vehicle):
    return assemble(vehicle, Weather(), rate_hz=100, seed=7, flight=3)


@pytest.mark.parametrize(("rate", "substeps"), [(100, 4), (200, 2), (300, 2), (400, 1), (1000, 1)])
def test_integration_steps_are_short_enough(vehicle, rate, substeps):
    params, _ = assemble(one_hertz(vehicle), Weather(), rate_hz=rate)
    assert params["substeps"] == substeps
    assert 1 / (rate * substeps) <= LONGEST_STEP_S + 1e-15


def one_hertz(vehicle):
    return replace(vehicle, sensors={n: replace(s, rate_hz=1) for n, s in vehicle.sensors.items()})


def test_key_of_the_random_numbers(made):
    params, _ = made
    assert (params["seed"], params["flight"]) == (7, 3)


def test_every_float_is_a_number_and_counts_are_set(made):
    params, _ = made
    for name in layout.PARAMS.names:
        assert not np.any(np.isnan(params[name].astype(float))), name
    counts = ("motors", "channels", "loads", "servos", "sensors", "parachutes", "obstacles")
    assert [int(params[name]) for name in counts] == [2, 4, 4, 2, 9, 1, 1]


def test_part_zero_carries_the_computer(made):
    params, _ = made
    assert params["part_mass"].tolist() == [0.4, 0.3]
    assert params["motor_part"][:2].tolist() == [1, 0]


def test_motors(made):
    params, places = made
    assert places.motors == ("M1", "M2")
    points = int(params["motor_points"][0])
    area = np.trapezoid(params["motor_thrust"][0, :points], params["motor_time"][0, :points])
    assert area == pytest.approx(params["motor_impulse"][0])
    assert params["motor_gimbal"][:2].tolist() == [0, -1]
    assert params["motor_eject_delay"][:2].tolist() == [math.inf, 4.0]
    assert params["motor_eject_kind"][1] == LoadKind.PARACHUTE


def test_circuits(made):
    params, places = made
    load = places.loads.index("charge")
    assert params["load_channel"][load] == places.channels["flight.F2"]
    assert params["load_kind"][load] == LoadKind.PARACHUTE
    assert params["load_target"][load] == places.parachutes.index("main")
    igniter = places.loads.index("igniter_1")
    assert params["load_kind"][igniter] == LoadKind.MOTOR
    assert params["load_target"][igniter] == places.motors.index("M1")
    battery = params["channel_battery"]
    assert battery[places.channels["pad.P1"]] == places.computers.index("pad")
    assert battery[places.channels["flight.F1"]] == places.computers.index("flight")


def test_channels_have_their_wires_and_keys(made):
    params, places = made
    channel = places.channels["pad.P1"]
    assert params["channel_resistance"][channel] == pytest.approx(0.07)
    assert params["channel_wire"][channel] == pytest.approx(4.0 * 0.0333083, rel=1e-5)
    assert params["channel_closed_by"][channel] == 1 << places.switches["arm_key"]
    assert params["channel_opened_by"][channel] == 0


def test_batteries(made):
    params, _ = made
    assert params["batteries"] == 2
    assert params["battery_points"].tolist() == [1, 3]
    assert params["battery_volts_at"][0, 0] == 12.0
    assert params["battery_volts_at"][1, :3].tolist() == [6.0, 7.4, 8.4]
    assert params["battery_charge_at"][1, :3].tolist() == [0.0, 0.5, 1.0]
    assert params["battery_factor_points"].tolist() == [0, 2]
    assert params["battery_capacity"].tolist() == [math.inf, 1800.0]
    assert params["battery_sense"].tolist() == [1.0, 1.01]


def test_an_igniter_loses_at_its_no_fire_current_what_it_gets(made):
    """At 0.25 A through 1.5 ohm: 93.75 mW against 10 mJ, 9.375 per s."""
    params, places = made
    load = places.loads.index("igniter_1")
    assert params["load_loss"][load] == pytest.approx(9.375)
    assert (params["load_energy"][load], params["load_spread"][load]) == (0.01, 0.1)
    assert params["load_shorts"].tolist()[:2] == [1, 0]


def test_a_hot_wire_by_its_capacity(made):
    params, places = made
    load = places.loads.index("cutter")
    names = ("capacity", "loss", "loss_wind", "burns_at", "hold", "energy")
    found = [float(params[f"load_{name}"][load]) for name in names]
    assert found == pytest.approx([0.002, 1.5, 0.5, 220.0, 0.02, 0.0])


def test_a_plug_moved_is_a_channel_moved(vehicle):
    params, places = assemble(
        rewired(vehicle, plugs={"charge": "flight.F1"}), Weather(), rate_hz=100
    )
    assert params["load_channel"][places.loads.index("charge")] == places.channels["flight.F1"]


def test_servos(made):
    params, places = made
    tilt, fins = places.servos["flight.tilt_y"], places.servos["flight.fins"]
    assert params["servo_role"][tilt] == ServoRole.GIMBAL_Y
    assert params["servo_high"][tilt] == pytest.approx(math.radians(5))
    assert params["servo_role"][fins] == ServoRole.FINS
    assert (params["servo_low"][fins], params["servo_high"][fins]) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("name", "kind", "place", "period"),
    [
        ("pad.continuity", SensorKind.CONTINUITY, "pad.P1", 10),
        ("pad.launch", SensorKind.SWITCH, "launch", 1),
        ("flight.arm_key", SensorKind.SWITCH, "arm_key", 1),
        ("flight.accel", SensorKind.ACCELERATION, 0, 1),
        ("flight.gyro", SensorKind.RATE, 1, 1),
        ("flight.angle", SensorKind.SERVO, "flight.tilt_y", 2),
        ("flight.flame", SensorKind.FLAME, 1, 1),
        ("flight.range", SensorKind.RANGE, 0, 2),
    ],
)
def test_sensors(made, name, kind, place, period):
    params, places = made
    index = places.sensors[name]
    where = places.channels | places.switches | places.servos
    assert params["sensor_kind"][index] == kind
    assert params["sensor_place"][index] == where.get(place, place)
    assert params["sensor_period"][index] == period


def test_units_of_sensors(made):
    _, places = made
    assert places.sensor_units["flight.gyro"] == "deg/s"
    assert places.sensor_units["flight.accel"] == "m/s2"
    assert places.sensor_units["flight.flame"] == "bool"
    assert places.sensor_units["pad.arm_key"] == "bool"


def test_tilt_cutoff_is_kept_as_a_cosine(made):
    params, places = made
    assert params["sensor_cutoff"][places.sensors["flight.range"]] == pytest.approx(
        math.cos(math.radians(30))
    )


@pytest.mark.parametrize(
    ("rate", "says"),
    [
        (150, "'flight.accel' answers at 100 Hz, .* 150 Hz; .* 75 Hz"),
        (130, "'flight.accel' answers at 100 Hz, .* 130 Hz; .* 130 Hz"),
        (105, "'pad.continuity' answers at 10 Hz, .* 105 Hz; .* 7 Hz"),
    ],
)
def test_a_sensor_must_divide_the_rate_of_the_world(vehicle, rate, says):
    with pytest.raises(InputError, match=says) as caught:
        assemble(vehicle, Weather(), rate_hz=rate)
    assert caught.value.file == str(vehicle.path)


def test_faults_are_rows(vehicle):
    params, _ = assemble(vehicle, Weather(), [(10, 4, 1.5), (1, 0, 0.0)], rate_hz=100)
    assert params["faults"] == 2
    assert params["fault_kind"][:2].tolist() == [10, 1]
    assert params["fault_place"][:2].tolist() == [4, 0]
    assert params["fault_size"][:2].tolist() == [1.5, 0.0]
    with pytest.raises(InputError, match="at most 8"):
        assemble(vehicle, Weather(), [(1, 0, 0.0)] * 9, rate_hz=100)


class TestWeather:
    def params(self, vehicle, **weather):
        return assemble(vehicle, Weather(**weather), rate_hz=100)[0]

    def test_standard_and_calm_unless_said(self, vehicle):
        params = self.params(vehicle)
        for name in ("temperature_offset", "wind_levels", "turbulence_w20", "gusts"):
            assert params[name] == 0

    def test_constant_wind(self, vehicle):
        params = self.params(vehicle, wind=Wind(speed_m_s=4.0, from_deg=270.0))
        assert params["wind_levels"] == 1
        assert params["wind_east"][0] == pytest.approx(4.0)
        assert params["wind_north"][0] == pytest.approx(0.0, abs=1e-12)

    def test_measured_levels(self, vehicle):
        levels = (
            Level(height_m=2.0, speed_m_s=3.0, from_deg=0.0),
            Level(height_m=100.0, speed_m_s=8.0, from_deg=90.0),
        )
        params = self.params(vehicle, wind=Wind(law="levels", levels=levels))
        assert params["wind_height"][:2].tolist() == [2.0, 100.0]
        assert params["wind_north"][0] == pytest.approx(-3.0)
        assert params["wind_east"][1] == pytest.approx(-8.0)

    def test_gusts(self, vehicle):
        gust = Gust(start_s=3.0, length_s=1.5, speed_m_s=5.0, from_deg=180.0, up_m_s=1.0)
        params = self.params(vehicle, gusts=(gust,), turbulence_w20_m_s=5.0)
        assert (params["gusts"], params["gust_start"][0], params["gust_length"][0]) == (1, 3.0, 1.5)
        assert (params["gust_north"][0], params["gust_up"][0]) == (pytest.approx(5.0), 1.0)
        assert params["turbulence_w20"] == 5.0

    @pytest.mark.parametrize(
        ("wind", "says"),
        [
            ({"speed_m_s": 3.0}, "needs 'from_deg'"),
            ({"law": "power", "speed_m_s": 3.0, "from_deg": 1.0}, "needs 'exponent'"),
            (
                {
                    "law": "log",
                    "speed_m_s": 3.0,
                    "from_deg": 1.0,
                    "roughness_m": 0.1,
                    "exponent": 0.2,
                },
                "no use for 'exponent'",
            ),
            ({"law": "levels"}, "needs 'levels'"),
            (
                {
                    "law": "levels",
                    "levels": (
                        Level(height_m=5, speed_m_s=1, from_deg=0),
                        Level(height_m=5, speed_m_s=2, from_deg=0),
                    ),
                },
                "do not ascend",
            ),
            ({"speed_m_s": 3.0, "from_deg": 360.0}, "less than 360"),
            ({"law": "logarithmic"}, "'log'"),
        ],
    )
    def test_winds_that_are_none(self, wind, says):
        with pytest.raises(ValueError, match=says):
            Wind(**wind)


class TestTemperatures:
    """Temperatures as measured, in place of those of the standard atmosphere."""

    @pytest.mark.parametrize(
        ("heights", "offset", "says"),
        [
            ((0, 50, 50), 0.0, "temperatures that do not ascend .50 m after 50 m"),
            ((0, 50), -10.0, "no use for 'temperature_offset_k'"),
            (tuple(range(13)), 0.0, "at most 12"),
            ((-1,), 0.0, "greater than or equal to 0"),
        ],
    )
    def test_what_cannot_be(self, heights, offset, says):
        levels = tuple({"height_m": height, "celsius": 10.0} for height in heights)
        with pytest.raises(ValueError, match=says):
            Weather(temperatures=levels, temperature_offset_k=offset)

    def test_where_they_stand(self):
        vehicle = load_vehicle(FOLDER / "minimal.vehicle.toml")
        air = Weather(
            temperatures=(
                {"height_m": 0, "celsius": -5.0},
                {"height_m": 80, "celsius": -3.5},
            )
        )
        params, _ = assemble(vehicle, air, rate_hz=100)
        assert params["temperature_levels"] == 2
        assert params["temperature_height"][:2].tolist() == [0.0, 80.0]
        assert params["temperature_kelvin"][:2].tolist() == [268.15, 269.65]


class TestOnePart:
    """A vehicle that never parts flies as its own stage: fins and legs work from the start."""

    def text(self):
        text = (FOLDER / "minimal.vehicle.toml").read_text(encoding="utf-8")
        for header, following in (
            ("[parts.booster]", "[curves.flat]"),
            ("[aero.stage]", "[aero.fins_out]"),
            ("[loads.cutter]", "[loads.charge]"),
        ):
            text = text[: text.index(header)] + text[text.index(following) :]
        text = text.replace('part = "booster"', 'part = "dart"').replace("= 0.9\n", "= 0.5\n")
        text = text.replace("grain_station_m = 0.85", "grain_station_m = 0.45")
        return text.replace("centre_tail_m = 0.8", "centre_tail_m = 0.45")

    def test_open_fins_slow_its_fall(self, tmp_path):
        path = tmp_path / "one.vehicle.toml"
        path.write_text(self.text(), encoding="utf-8")
        vehicle = load_vehicle(path)
        assert vehicle.aero[1] == vehicle.aero[0]
        params, places = assemble(vehicle, Weather(), rate_hz=100)
        # the igniter fires, the clamp opens; fins stowed or out all the way
        tops = {}
        for position in (0.0, 1.0):
            world = World(params)
            world.commands["switch"][places.switches["arm_key"]] = 1
            for channel in ("pad.P1", "pad.P2"):
                world.commands["channel"][places.channels[channel]] = 1
            world.commands["servo"][places.servos["flight.fins"]] = position
            for _ in range(400):
                world.step()
            tops[position] = float(world.out["height"])
        assert tops[0.0] > tops[1.0] + 5.0 > 10.0
