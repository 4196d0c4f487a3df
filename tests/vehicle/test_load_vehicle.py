"""What `load_vehicle` makes of a good file."""

from __future__ import annotations

import math
import pickle
from dataclasses import replace
from pathlib import Path

import pytest

from sequencer.errors import UsageError
from sequencer.vehicle import capacity, load_vehicle, rewired
from sequencer.vehicle.curves import area
from sequencer.vehicle.model import Ejection, Wire
from sequencer.vehicle.sensors import KINDS, number_key

FILE = Path(__file__).parent / "minimal.vehicle.toml"
DEMO = Path(__file__).parents[2] / "scenarios" / "sandpiper.vehicle.toml"


@pytest.fixture(scope="module")
def vehicle():
    return load_vehicle(FILE)


@pytest.fixture(scope="module")
def demo():
    return load_vehicle(DEMO)


def test_the_part_with_the_computer_comes_first(vehicle):
    assert [part.name for part in vehicle.parts] == ["dart", "booster"]
    assert vehicle.carrier.tail_station_m == 0.5


def test_degrees_become_radians(vehicle):
    servo = vehicle.servos["flight.tilt_y"]
    assert (servo.low, servo.high) == (math.radians(-5), math.radians(5))
    assert servo.rate == math.pi
    assert servo.dead_band == pytest.approx(0.1 * math.pi / 180, rel=1e-15)
    assert vehicle.sensors["flight.gyro"].bias == pytest.approx(0.5 * math.pi / 180, rel=1e-15)
    assert vehicle.sensors["flight.range"].tilt_cutoff_rad == pytest.approx(math.pi / 6)
    assert vehicle.ground.crash_tilt_rad == pytest.approx(math.pi / 6)


def test_fins_go_from_stowed_to_out(vehicle):
    fins = vehicle.servos["flight.fins"]
    assert (fins.low, fins.high, fins.start, fins.rate) == (0.0, 1.0, 0.0, 4.0)


def test_si_values_are_taken_as_written(vehicle):
    sensor = vehicle.sensors["flight.accel"]
    assert (sensor.noise, sensor.low, sensor.high, sensor.unit) == (0.2, -150.0, 150.0, "m/s2")
    assert vehicle.loads["charge"].fire_energy_j == 0.02


def test_a_sensor_without_range_never_clips(vehicle):
    assert vehicle.sensors["flight.gyro"].low == -math.inf
    assert vehicle.sensors["flight.gyro"].high == math.inf


def test_a_switch_is_a_sensor_of_every_computer_that_lists_it(vehicle):
    assert vehicle.switches == ("arm_key", "launch")
    assert vehicle.sensors["pad.arm_key"].place == vehicle.sensors["flight.arm_key"].place
    assert vehicle.sensors["pad.launch"].kind == "switch"


def test_sensors_look_at_full_names(vehicle):
    assert vehicle.sensors["pad.continuity"].place == "pad.P1"
    assert vehicle.sensors["flight.angle"].place == "flight.tilt_y"
    assert vehicle.sensors["flight.flame"].place == "M2"


@pytest.mark.parametrize("motor", ["M1", "M2"])
def test_the_integral_of_a_thrust_table_is_the_total_impulse(vehicle, motor):
    made = vehicle.motors[motor]
    assert area(made.thrust) == pytest.approx(made.total_impulse_n_s, rel=1e-14)
    assert made.thrust[0] == (0.0, 0.0)
    assert made.thrust[-1] == (made.burn_time_s, 0.0)


def test_the_demo_curve_keeps_its_shape(demo):
    """Mean thrust 34/4.5 N; the peak is 160 % of the mean, divided by the drawn curve's own mean.

    The area of (0,0) (4,160) (10,130) (25,100) (90,85) (100,0) is, by hand, 320 + 870 + 1725 +
    6012.5 + 425 = 9352.5, so everything is scaled by 10000/9352.5.
    """
    times, thrusts = zip(*demo.motors["A1"].thrust, strict=True)
    assert times == pytest.approx([0, 0.18, 0.45, 1.125, 4.05, 4.5])
    mean = 34.0 / 4.5
    assert thrusts[1] == pytest.approx(1.6 * mean * 10000 / 9352.5)
    assert thrusts[4] == pytest.approx(0.85 * mean * 10000 / 9352.5)


def test_ejection(vehicle):
    assert vehicle.motors["M1"].ejection is None
    assert vehicle.motors["M2"].ejection == Ejection(4.0, "main")


def test_wiring_is_resolved_to_full_names(vehicle):
    wires = vehicle.wiring["flight"]
    assert wires["part"] == Wire(("flight.F1",))
    assert wires["chute"] == Wire(("flight.F2", "flight.F1"))
    assert wires["steer"] == Wire((), "flight.tilt_y")


def test_configurations_left_out_are_like_the_stage(vehicle):
    assert vehicle.aero[3] == vehicle.aero[1]
    assert vehicle.aero[2] != vehicle.aero[1]


def test_a_nose_alone_gives_slope_two_at_its_own_centre(vehicle):
    stack = vehicle.aero[0]
    assert stack.slope_nose_m2 == pytest.approx(2 * math.pi * 0.075**2 / 4)
    assert stack.centre_nose_m == pytest.approx(0.45724 * 0.15, abs=1e-4)  # L/d = 2


def test_given_slopes_win_over_no_geometry(vehicle):
    assert vehicle.aero[1].slope_nose_m2 == 0.02
    assert vehicle.aero[1].centre_nose_m == 0.35


def test_totals(vehicle):
    assert vehicle.propellant_kg == pytest.approx(0.022)
    assert vehicle.mass_kg == pytest.approx(0.722)
    assert vehicle.installed_impulse_n_s == 40.0


class TestDigests:
    def test_comments_and_layout_do_not_count(self, vehicle, tmp_path):
        text = FILE.read_text(encoding="utf-8").replace("mass_kg = 0.4", "mass_kg   = 0.40 # new")
        path = tmp_path / "other.vehicle.toml"
        path.write_text("# a remark\n" + text, encoding="utf-8")
        other = load_vehicle(path)
        assert (other.digest, other.wiring_digest) == (vehicle.digest, vehicle.wiring_digest)

    @pytest.mark.parametrize(
        ("old", "new", "vehicle_same", "wiring_same"),
        [
            ("mass_kg = 0.4", "mass_kg = 0.41", False, True),
            ("noise_m_s2 = 0.2", "noise_m_s2 = 0.3", False, True),
            ("[0.5, 7.4]", "[0.5, 7.5]", False, True),
            ("sense_factor = 1.01", "sense_factor = 1.02", False, True),
            ("wire_m = 4.0", "wire_m = 4.1", False, True),
            ('closed_by = ["arm_key"]', "", False, True),
            ("no_fire_a = 0.25", "no_fire_a = 0.26", False, True),
            ("burn_s = 0.02", "burn_s = 0.03", False, True),
            ("stall_a = 0.7", "stall_a = 0.8", False, True),
            ("mast_height_m = 2.0", "mast_height_m = 3.0", False, True),
            ("slope_tail_m2 = 0.02", "slope_tail_m2 = 0.03", False, True),
            ('plug = "flight.F1"', 'plug = "flight.F2"', True, False),
            ('part = "F1"', 'part = "F2"', True, False),
            ('let_go = "P2"', 'gone = "P2"', True, False),
        ],
    )
    def test_each_covers_its_own(self, vehicle, tmp_path, old, new, vehicle_same, wiring_same):
        text = FILE.read_text(encoding="utf-8")
        assert old in text
        path = tmp_path / "other.vehicle.toml"
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        other = load_vehicle(path)
        assert (other.digest == vehicle.digest) == vehicle_same
        assert (other.wiring_digest == vehicle.wiring_digest) == wiring_same

    def test_a_changed_copy_has_another_digest(self, vehicle):
        heavier = replace(vehicle.carrier, mass_kg=0.5)
        changed = replace(vehicle, parts=(heavier, *vehicle.parts[1:]))
        assert changed.digest != vehicle.digest


class TestRewired:
    def test_moves_plug_and_wire(self, vehicle):
        other = rewired(
            vehicle,
            plugs={"charge": "flight.F1"},
            wires={"flight": {"chute": Wire(("flight.F1",))}},
        )
        assert other.loads["charge"].channel == "flight.F1"
        assert other.wiring["flight"]["chute"] == Wire(("flight.F1",))
        assert other.wiring["flight"]["steer"] == vehicle.wiring["flight"]["steer"]
        assert vehicle.loads["charge"].channel == "flight.F2"
        assert other.digest == vehicle.digest
        assert other.wiring_digest != vehicle.wiring_digest

    @pytest.mark.parametrize(
        ("changes", "says"),
        [
            ({"plugs": {"charg": "flight.F1"}}, "did you mean 'charge'"),
            ({"plugs": {"charge": "flight.F3"}}, "unknown channel 'flight.F3'"),
            ({"plugs": {"charge": "pad.P1"}}, "'charge' needs no_fire_a: channel 'pad.P1'"),
            ({"wires": {"fligth": {}}}, "did you mean 'flight'"),
            ({"wires": {"flight": {"part": Wire(("pad.P1",))}}}, "channel of 'flight' 'pad.P1'"),
            ({"wires": {"pad": {"x": Wire((), "flight.fins")}}}, "servo of 'pad' 'flight.fins'"),
        ],
    )
    def test_refuses_what_does_not_exist(self, vehicle, changes, says):
        with pytest.raises(UsageError, match=says):
            rewired(vehicle, **changes)


def test_a_vehicle_travels_to_another_process(vehicle):
    copy = pickle.loads(pickle.dumps(vehicle))  # noqa: S301 - our own bytes
    assert copy.digest == vehicle.digest


class TestDemo:
    """The demo vehicle is what its description says."""

    def test_masses_and_impulse(self, demo):
        assert demo.mass_kg == pytest.approx(1.2)
        assert demo.installed_impulse_n_s == 130.0
        landing = sum(m.propellant_kg for m in demo.motors.values() if m.part == "stage")
        assert demo.carrier.mass_kg + landing == pytest.approx(0.68)

    def test_the_stack_is_stable_by_about_a_calibre(self, demo):
        """Common practice, no source: one to two calibres between centre of mass and pressure."""
        moment = sum(part.mass_kg * part.centre_station_m for part in demo.parts)
        moment += sum(m.propellant_kg * m.grain_station_m for m in demo.motors.values())
        margin = (demo.aero[0].centre_nose_m - moment / demo.mass_kg) / 0.08
        assert 1.0 < margin < 2.0

    def test_tail_first_only_the_open_fins_are_stable(self, demo):
        """Tail first, the centre of pressure has to lie nearer to the nose than that of mass."""
        stage, fins, legs = demo.aero[1:]
        both = fins.centre_tail_m + legs.centre_tail_m - stage.centre_tail_m  # they add up
        centre = demo.carrier.centre_station_m
        assert stage.centre_tail_m > centre
        assert stage.centre_nose_m < centre  # nor nose first: it tumbles
        assert fins.centre_tail_m < centre
        assert both < centre

    def test_terminal_speed_tail_first(self, demo):
        """v = sqrt(2 m g / (rho C_d A)), with 0.026 m2 and 0.68 kg."""
        area_m2 = demo.aero[2].drag_area_tail_m2
        assert math.sqrt(2 * 0.68 * 9.80665 / (1.225 * area_m2)) == pytest.approx(20.5, abs=0.1)


def test_the_documentation_lists_every_kind_of_sensor_and_the_room():
    page = (DEMO.parents[1] / "docs" / "vehicle.md").read_text(encoding="utf-8")
    for word, row in KINDS.items():
        place = "-" if row.place is None else f"`{row.place}`"
        noise = "-" if row.unit is None else f"`{number_key('noise', row.unit)}`"
        assert f"| `{word}` | {row.measures} | {place} | {noise} |" in page
    room = " ".join(page.split("## Room")[1].split())
    for name in (
        "PARTS",
        "COMPUTERS",
        "MOTORS",
        "PARACHUTES",
        "CHANNELS",
        "LOADS",
        "SERVOS",
        "SENSORS",
        "SWITCHES",
        "OBSTACLES",
    ):
        assert f"{getattr(capacity, name)} {name.lower()}" in room
    assert f"{capacity.CURVE_POINTS} points" in room
    assert f"{capacity.BATTERY_POINTS} points in each table of a battery" in room
