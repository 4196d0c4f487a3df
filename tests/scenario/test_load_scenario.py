"""Scenario files, good and bad: every fault is one line with its file, line and a way out."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from sequencer.errors import InputError
from sequencer.scenario import load_scenario
from sequencer.scenario.cells import Cell

GOOD = """\
[scenario]
title = "A flight for the tests"
reason = "to be broken in one place at a time"
covers = { fault = "igniter_beside", phase = "ignition" }
tags = ["made for tests"]
vehicle = "sandpiper.vehicle.toml"
sequences = ["pad.sequence.toml", "flight.sequence.toml"]
requirements = ["sandpiper.requirements.toml"]
seed = 7
stop_s = 30.0

[link]
delay_s = 0.005

[weather]
temperature_offset_k = -10.0

[[crew]]
at_s = 1.0
switch = "arm_key"
on = true

[[faults]]
name = "beside"
kind = "igniter_beside"
place = "igniter_A2"
event = "entered pad.countdown"
after_s = 0.5
for_s = 2.0

[[requirements]]
name = "own"
reason = "beside the shared ones"
pattern = "absence"
event = "lit A2"

[expect]
outcome = "on_pad"
order = ["entered pad.arming"]
events = [{ event = "entered pad.arming", between_s = [1.0, 2.0] }]
never = ["fired flight.*"]
breaks = []
not_exercised = ["*"]
"""


def write(folder: Path, text: str, name: str = "tried") -> Path:
    path = folder / f"{name}.scenario.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_good_file(folder: Path) -> None:
    scenario = load_scenario(write(folder, GOOD))

    assert scenario.name == "tried"
    assert scenario.covers == (Cell("igniter_beside", "ignition"),)
    assert list(scenario.sequences) == ["pad", "flight"]
    assert scenario.rate_hz == 100  # least common multiple of 50 and 100
    assert scenario.stop_ticks == 3000
    assert scenario.params["seed"] == 7
    assert scenario.params["temperature_offset"] == -10.0
    (action,) = scenario.crew
    assert (action.label, action.trigger.at_s) == ("arm_key on", 1.0)
    (fault,) = scenario.faults
    assert (fault.row, fault.trigger.event, fault.trigger.after_s) == (
        0,
        "entered pad.countdown",
        0.5,
    )
    assert fault.trigger.lasts_ticks(100) == 200
    assert scenario.requirements[-1].name == "own"
    assert set(scenario.hashes) == {
        "scenario",
        "vehicle",
        "wiring",
        "sequence pad",
        "sequence flight",
        "requirements sandpiper",
    }


def test_a_fault_without_an_end_lasts_for_ever(folder: Path) -> None:
    (fault,) = load_scenario(write(folder, GOOD.replace("for_s = 2.0\n", ""))).faults
    assert math.isinf(fault.trigger.lasts_ticks(100))


def test_a_fault_of_a_computer_takes_no_row_of_the_world(folder: Path) -> None:
    text = GOOD.replace(
        "[[requirements]]",
        '[[faults]]\nname = "dip"\nkind = "reboot"\nplace = "flight"\nat_s = 3.0\n\n'
        "[[requirements]]",
        1,
    )
    beside, dip = load_scenario(write(folder, text)).faults
    assert (beside.row, dip.row) == (0, None)


#: what is replaced, by what, the line of the error, and what it says
BROKEN = [
    ('title = "A flight for the tests"\n', "", 1, "'title' is missing"),
    ('reason = "to be broken', 'raeson = "to be broken', 3, "did you mean 'reason'?"),
    ("seed = 7", "seed = -7", 9, "seed"),
    ("seed = 7", "seed = 1.5", 9, "must be a whole number"),
    ("stop_s = 30.0", "stop_s = 0", 10, "stop_s"),
    ("stop_s = 30.0", 'stop_s = "30"', 10, "must be a number"),
    ("stop_s = 30.0", "stop_s = 1e9", 10, "stop_s"),
    ("sandpiper.vehicle.toml", "sandpipr.vehicle.toml", 6, "did you mean 'sandpiper.vehicle.toml'"),
    ("flight.sequence.toml", "flihgt.sequence.toml", 7, "did you mean 'flight.sequence.toml'"),
    (', "flight.sequence.toml"]', ', "pad.sequence.toml"]', 7, "has a sequence already"),
    ('["pad.sequence.toml", "flight.sequence.toml"]', "[]", 7, "sequences"),
    ("sandpiper.requirements.toml", "sandpiper.toml", 8, "no such file"),
    ("[link]", "[links]", 12, "did you mean 'link'?"),
    ("delay_s = 0.005", "delay_s = -1", 13, "delay_s"),
    ("delay_s = 0.005", "delay_ms = 5", 13, "unknown key 'delay_ms'"),
    ("temperature_offset_k", "temperature_ofset_k", 16, "did you mean 'temperature_offset_k'?"),
    ("temperature_offset_k = -10.0", "temperature_offset_k = nan", 16, "finite"),
    (
        "at_s = 1.0\n",
        "",
        18,
        "needs exactly one of at_s, event, state, above_m, below_m (has none)",
    ),
    ("at_s = 1.0\n", "at_s = 1.0\nabove_m = 3.0\n", 18, "(has at_s, above_m)"),
    ("at_s = 1.0\n", 'state = "pad.saef"\n', 19, "did you mean 'pad.safe'?"),
    ("at_s = 1.0\n", 'state = "safe"\n', 19, "no computer has a state 'safe'"),
    ("at_s = 1.0\n", "at_s = 1.0\nwhile_in = true\n", 20, "unknown key 'while_in'"),
    ("for_s = 2.0", "while_in = true", 23, "needs a state to be in"),
    ("for_s = 2.0", 'for_s = 2.0\nuntil = "apogee"', 23, "(has for_s, until)"),
    ("for_s = 2.0", 'until = "apogeo"', 29, "did you mean 'apogee'?"),
    ('switch = "arm_key"', 'switch = "arm_kye"', 20, "did you mean 'arm_key'?"),
    ("on = true", 'on = "yes"', 21, "must be true or false"),
    ('kind = "igniter_beside"\nplace', 'kind = "igniter_besides"\nplace', 25, "did you mean"),
    ('place = "igniter_A2"', 'place = "ignitor_A2"', 26, "did you mean 'igniter_A2'?"),
    ('place = "igniter_A2"', 'place = "igniter_A2"\nsize = 2.0', 27, "takes no size"),
    ('kind = "igniter_beside"\nplace', 'kind = "igniter_late"\nplace', 23, "needs a size, in s"),
    ('"entered pad.countdown"', '"entered pad.countdwon"', 27, "entered pad.countdown"),
    ('"entered pad.countdown"', '"enterd pad.countdown"', 27, "did you mean 'entered'?"),
    ("after_s = 0.5", "after_s = -0.5", 28, "after_s"),
    ("for_s = 2.0", "for_s = 0", 29, "for_s"),
    ('pattern = "absence"', 'pattern = "abcense"', 34, "did you mean 'absence'?"),
    ('event = "lit A2"', 'event = "lit A9"', 35, "can never come"),
    ('name = "own"', 'name = "lands softly"', 32, "lands softly"),
    ('outcome = "on_pad"', 'outcome = "on_pod"', 38, "did you mean 'on_pad'?"),
    ('order = ["entered pad.arming"]', 'order = ["entered pad.armed"]', 39, "can never come here"),
    ("between_s = [1.0, 2.0]", "between_s = [2.0, 1.0]", 40, "runs backwards"),
    ("between_s = [1.0, 2.0]", "between_s = [2.0]", 40, "between_s"),
    ('never = ["fired flight.*"]', 'never = ["fird flight.*"]', 41, "can never come here"),
    ("breaks = []", 'breaks = ["lands sofly"]', 42, "did you mean 'lands softly'?"),
    ("[expect]\n", "[expect]\noutcomes = 1\n", 38, "unknown key 'outcomes'"),
    ("[weather]", "[weather", 15, "not valid TOML"),
]


@pytest.mark.parametrize(
    ("old", "new", "line", "said"), BROKEN, ids=[f"{n}-{b[3][:30]}" for n, b in enumerate(BROKEN)]
)
def test_a_broken_file(folder: Path, old: str, new: str, line: int, said: str) -> None:
    assert GOOD.count(old) >= 1, "the case no longer fits the good file"
    path = write(folder, GOOD.replace(old, new, 1))

    with pytest.raises(InputError) as caught:
        load_scenario(path)

    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith(f"{path}:{line}: "), message
    assert said in message


def test_nine_faults_are_too_many(folder: Path) -> None:
    rows = "".join(
        f'[[faults]]\nname = "f{n}"\nkind = "igniter_open"\nplace = "igniter_A1"\nat_s = {n}.0\n'
        for n in range(9)
    )
    with pytest.raises(InputError, match="faults"):
        load_scenario(write(folder, GOOD.replace("[expect]", f"{rows}\n[expect]")))


def test_a_fault_named_twice(folder: Path) -> None:
    twice = GOOD.replace(
        "[[requirements]]",
        '[[faults]]\nname = "beside"\nkind = "reboot"\nplace = "pad"\nat_s = 0.0\n\n'
        "[[requirements]]",
    )
    with pytest.raises(InputError, match="two faults are named 'beside'"):
        load_scenario(write(folder, twice))


def test_an_unknown_computer_in_a_fault(folder: Path) -> None:
    text = GOOD.replace(
        'kind = "igniter_beside"\nplace = "igniter_A2"', 'kind = "reboot"\nplace = "fligth"'
    )
    with pytest.raises(InputError) as caught:
        load_scenario(write(folder, text))
    assert "did you mean 'flight'?" in str(caught.value)


class TestWhatDoesNotFitTogether:
    """Sequence and vehicle are good by themselves, but not for each other."""

    def edit(self, folder: Path, name: str, old: str, new: str) -> Path:
        path = folder / name
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")
        return write(folder, GOOD)

    def test_an_input_without_a_sensor(self, folder: Path) -> None:
        path = self.edit(folder, "sandpiper.vehicle.toml", "sensors.baro]", "sensors.barometer]")
        with pytest.raises(InputError) as caught:
            load_scenario(path)
        assert "input 'baro' of computer 'flight' has no sensor" in str(caught.value)
        assert "did you mean 'barometer'?" in str(caught.value)

    def test_an_input_in_another_unit_than_its_sensor(self, folder: Path) -> None:
        path = self.edit(
            folder,
            "flight.sequence.toml",
            'continuity_sep = { unit = "ohm" }',
            'continuity_sep = { unit = "ohm" }\naccel_y = { unit = "m" }',
        )
        with pytest.raises(InputError, match="declared in m, but the sensor"):
            load_scenario(path)

    def test_a_function_that_is_not_wired(self, folder: Path) -> None:
        path = self.edit(folder, "sandpiper.vehicle.toml", 'separation = "F3"\n', "")
        with pytest.raises(
            InputError, match="function 'separation' of computer 'flight' is not wired"
        ):
            load_scenario(path)

    def test_a_message_that_nobody_sends(self, folder: Path) -> None:
        path = self.edit(folder, "pad.sequence.toml", '"igniting", "released"]', '"igniting"]')
        with pytest.raises(InputError, match="released"):
            load_scenario(path)

    def test_a_computer_that_the_vehicle_does_not_have(self, folder: Path) -> None:
        path = self.edit(folder, "pad.sequence.toml", 'name = "pad"\n', 'name = "pod"\n')
        with pytest.raises(InputError) as caught:
            load_scenario(path)
        assert "did you mean 'pad'?" in str(caught.value)

    def test_two_things_with_one_name_in_requirements(self, folder: Path) -> None:
        path = self.edit(
            folder, "pad.sequence.toml", "counting = {}\n", "in_safe = {}\ncounting = {}\n"
        )
        pad = folder / "pad.sequence.toml"
        line = pad.read_text(encoding="utf-8").splitlines().index("[states.safe]") + 1
        with pytest.raises(InputError) as caught:
            load_scenario(path)
        assert str(caught.value) == (
            f"{pad}:{line}: requirements would read state 'safe' of computer 'pad' as "
            "'pad_in_safe', but that is the flag 'in_safe' of computer 'pad' already"
        )

    def test_a_flag_and_a_state_can_be_read_by_requirements(self, folder: Path) -> None:
        text = GOOD.replace(
            'pattern = "absence"\nevent = "lit A2"',
            'pattern = "absence"\ncondition = "pad_counting and flight_in_ascent"',
        )
        own = load_scenario(write(folder, text)).requirements[-1]
        assert own.unit == "bool"
        with pytest.raises(InputError) as caught:
            load_scenario(write(folder, text.replace("in_ascent", "in_acsent")))
        assert ":35: unknown name 'flight_in_acsent'; did you mean 'flight_in_ascent'?" in str(
            caught.value
        )

    def test_rates_without_a_common_multiple(self, folder: Path) -> None:
        self.edit(folder, "flight.sequence.toml", "rate_hz = 100", "rate_hz = 150")
        path = self.edit(folder, "pad.sequence.toml", "rate_hz = 50", "rate_hz = 950")
        with pytest.raises(InputError, match="the world steps at most 2000 Hz"):
            load_scenario(path)

    def test_an_error_in_a_sequence_names_the_sequence(self, folder: Path) -> None:
        path = self.edit(folder, "pad.sequence.toml", 'to = "countdown"', 'to = "cuontdown"')
        with pytest.raises(InputError) as caught:
            load_scenario(path)
        assert str(caught.value).startswith(f"{folder / 'pad.sequence.toml'}:")
        assert "did you mean 'countdown'?" in str(caught.value)


class TestExtends:
    """Building on another scenario."""

    CHILD = (
        '[scenario]\nextends = "base.scenario.toml"\ntitle = "child"\nreason = "r"\n'
        'covers = { fault = "none", phase = "any" }\n\n[expect]\noutcome = "on_pad"\n'
    )

    def test_tables_merge_and_lists_are_replaced(self, folder: Path) -> None:
        write(folder, GOOD, "base")
        text = self.CHILD + '\n[[crew]]\nat_s = 2.0\nswitch = "launch"\non = true\n'
        child = load_scenario(write(folder, text))

        assert child.stop_ticks == 3000
        assert [action.label for action in child.crew] == ["launch on"]
        assert len(child.faults) == 1
        assert child.expect.order == ()
        assert child.tags == ()

    def test_what_makes_a_scenario_is_not_inherited(self, folder: Path) -> None:
        write(folder, GOOD, "base")
        with pytest.raises(InputError, match="'title' is missing"):
            load_scenario(write(folder, self.CHILD.replace('title = "child"\n', "")))

    def test_an_error_points_to_the_file_that_wrote_the_key(self, folder: Path) -> None:
        base = write(folder, GOOD.replace('switch = "arm_key"', 'switch = "arm_kye"'), "base")
        with pytest.raises(InputError) as caught:
            load_scenario(write(folder, self.CHILD))
        assert str(caught.value).startswith(f"{base}:20: ")

    def test_a_circle(self, folder: Path) -> None:
        write(folder, self.CHILD.replace("base.scenario", "tried.scenario"), "base")
        with pytest.raises(InputError, match="extends this file again"):
            load_scenario(write(folder, self.CHILD))

    def test_a_missing_base(self, folder: Path) -> None:
        text = self.CHILD.replace("base.scenario", "calm_lnading.scenario")
        with pytest.raises(InputError) as caught:
            load_scenario(write(folder, text))
        assert ":2: extends 'calm_lnading.scenario.toml': no such file" in str(caught.value)

    @pytest.mark.parametrize("text", ["", "[link]\ndelay_s = 0.0\n"])
    def test_a_base_without_its_first_table(self, folder: Path, text: str) -> None:
        base = write(folder, text, "base")
        with pytest.raises(InputError) as caught:
            load_scenario(write(folder, self.CHILD))
        assert str(caught.value) == f"{base}: there is no table [scenario]"

    def test_the_digest_covers_both_files(self, folder: Path) -> None:
        write(folder, GOOD, "base")
        path = write(folder, self.CHILD)
        before = load_scenario(path).hashes["scenario"]
        write(folder, GOOD.replace("seed = 7", "seed = 8"), "base")
        assert load_scenario(path).hashes["scenario"] != before


class TestComputerFaults:
    """Places and sizes of what hits computers, links and the umbilical."""

    @pytest.mark.parametrize(
        ("row", "said"),
        [
            ('kind = "clock_drfit"\nplace = "pad"', "did you mean 'clock_drift'?"),
            ('kind = "clock_drift"\nplace = "pda"\nsize = 5.0', "did you mean 'pad'?"),
            ('kind = "clock_drift"\nplace = "pad"', "'clock_drift' needs a size, in ppm"),
            ('kind = "clock_drift"\nplace = "pad"\nsize = 1e6', "less than 1e+06 ppm"),
            ('kind = "clock_drift"\nplace = "pad"\nsize = -1e6', "less than 1e+06 ppm"),
            ('kind = "logger_stall"\nplace = "pad"\nsize = 0.0', "is positive (got 0)"),
            ('kind = "logger_stall"\nplace = "pad"\nsize = 0.02', "at least two ticks of 'pad'"),
            ('kind = "link_delayed"\nplace = "pad"\nsize = -0.1', "is positive (got -0.1)"),
            ('kind = "link_repeated"\nplace = "pad"\nsize = -0.1', "is positive (got -0.1)"),
            ('kind = "link_lost"\nplace = "pad"\nsize = 0.1', "'link_lost' takes no size"),
            ('kind = "link_corrupted"\nplace = "pad"\nother = "x"', "takes no other"),
            ('kind = "umbilical_pulled"\nplace = "pad"', "the place of 'umbilical_pulled' is"),
            ('kind = "umbilical_bounces"\nplace = "umbilical"', "needs a size, in s"),
            (
                'kind = "umbilical_bounces"\nplace = "umbilical"\nsize = 0.01',
                "the size of 'umbilical_bounces' is at least 0.02 s (got 0.01)",
            ),
            (
                'kind = "channel_intermittent"\nplace = "pad.P1"\nsize = 0.01',
                "the size of 'channel_intermittent' is at least 0.02 s (got 0.01)",
            ),
            (
                'kind = "igniter_late"\nplace = "horn"\nsize = 1.0',
                "'igniter_late' changes nothing: 'horn' only signals, it never acts",
            ),
            (
                'kind = "ejection_late"\nplace = "L1"\nsize = 1.0',
                "'ejection_late' changes nothing: 'L1' has no ejection charge",
            ),
            (
                'kind = "sensor_blocked"\nplace = "flight.baro"\nsize = 0.0',
                "the size of 'sensor_blocked' is positive (got 0)",
            ),
        ],
    )
    def test_what_cannot_be(self, folder: Path, row: str, said: str) -> None:
        text = GOOD.replace('kind = "igniter_beside"\nplace = "igniter_A2"', row)
        with pytest.raises(InputError) as caught:
            load_scenario(write(folder, text))
        message = str(caught.value)
        assert said in message
        line = int(message.partition(".toml:")[2].partition(":")[0])
        assert 23 <= line <= 28

    def test_a_computer_by_itself_has_no_umbilical(self, folder: Path) -> None:
        pad = folder / "pad.sequence.toml"
        pad.write_text(_LONELY, encoding="utf-8")
        text = GOOD.replace(', "flight.sequence.toml"]', "]").replace(
            '["sandpiper.requirements.toml"]', "[]"
        )
        text = text.replace(
            'kind = "igniter_beside"\nplace = "igniter_A2"',
            'kind = "umbilical_pulled"\nplace = "umbilical"',
        )
        with pytest.raises(InputError, match="a computer by itself has no umbilical"):
            load_scenario(write(folder, text.replace('"entered pad.countdown"', '"liftoff"')))

    @pytest.mark.parametrize(
        ("line", "said"),
        [
            ("loses = 1.5", "loses"),
            ("repeats = -0.1", "repeats"),
            ("parts_at_m = 0", "parts_at_m"),
            ("lose = 0.1", "did you mean 'loses'?"),
        ],
    )
    def test_a_link_that_cannot_be(self, folder: Path, line: str, said: str) -> None:
        text = GOOD.replace("delay_s = 0.005", line)
        with pytest.raises(InputError) as caught:
            load_scenario(write(folder, text))
        assert str(caught.value).startswith(f"{folder / 'tried.scenario.toml'}:13: ")
        assert said in str(caught.value)


_LONELY = """\
[sequence]
name = "pad"
about = "does nothing"
rate_hz = 50
boot_s = 0.5
start = "arming"

[states.arming]
phase = "ground"
"""
