"""The loop: what is closed over the world must be repeatable, exact in time, and honest."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from flying import fly, same_until

import sequencer
from sequencer.errors import UsageError
from sequencer.flight import find_scenarios, fly_many
from sequencer.record import FlightRecord
from sequencer.report.json_report import as_json


def test_the_same_flight_twice_is_the_same_to_the_bit(folder: Path) -> None:
    first, second = fly(folder), fly(folder)
    same_until(first, second, first.ticks)
    assert first.events == second.events
    assert first.verdicts == second.verdicts


FAULTS = [
    ("sensor_bias", "flight.gyro_y", "size = 20.0"),
    ("sensor_frozen", "flight.accel_x", ""),
    ("sensor_nan", "flight.baro", ""),
    ("motor_thrust", "A1", "size = 0.5"),
    ("motor_chuff", "A1", "size = 0.2"),
    ("motor_burst", "A1", ""),
    ("sensor_stale", "flight.baro", "size = 0.4"),
    ("servo_stuck", "flight.ascent_y", ""),
    ("late_ticks", "flight", ""),
    ("link_lost", "flight", ""),
    ("reboot", "flight", "for_s = 0.1"),
]


@pytest.mark.parametrize(("kind", "place", "size"), FAULTS, ids=[f[0] for f in FAULTS])
def test_before_its_onset_a_fault_changes_no_bit(
    folder: Path, kind: str, place: str, size: str
) -> None:
    onset_s = 6.0 if kind == "link_lost" else 14.0  # nobody listens in flight
    row = f'[[faults]]\nname = "f"\nkind = "{kind}"\nplace = "{place}"\nat_s = {onset_s}\n{size}\n'
    clean, faulty = fly(folder), fly(folder, row)
    onset = round(onset_s * clean.rate_hz)

    same_until(clean, faulty, onset)
    begun = faulty.first("fault_begun f")
    assert begun is not None
    assert begun.tick == onset
    differ = any(
        not np.array_equal(clean[name], faulty[name][: clean.ticks], equal_nan=True)
        for name in clean.signals
    )
    assert differ or clean.events != tuple(e for e in faulty.events if "fault" not in e.kind)


def test_a_burst_is_an_event(folder: Path) -> None:
    row = '[[faults]]\nname = "f"\nkind = "motor_burst"\nplace = "A1"\nat_s = 14.0\n'
    faulty = fly(folder, row)
    burst = faulty.first("burst A1")
    assert burst is not None
    assert burst.tick == round(14.0 * faulty.rate_hz) + 1
    assert faulty.first("burnout A1") is None
    assert faulty.first("burnout A2") is not None
    assert np.isnan(faulty["thrust_A1_n"]).sum() == 0
    assert faulty["thrust_A1_n"][burst.tick :].max() == 0.0


def test_a_fault_that_starts_at_4_s_leaves_what_was_before(folder: Path) -> None:
    """The example of the project's promise, on a sensor that is read from the start."""
    row = (
        '[[faults]]\nname = "f"\nkind = "sensor_bias"\nplace = "flight.baro"\n'
        "size = 5.0\nat_s = 4.0\n"
    )
    clean, faulty = fly(folder, stop=6.0), fly(folder, row, stop=6.0)

    same_until(clean, faulty, 400)
    after = slice(404, 600)
    np.testing.assert_allclose(
        faulty["flight_baro"][after] - clean["flight_baro"][after], 5.0, atol=0.081
    )


class TestMoments:
    """When crew actions and faults begin."""

    def begin(self, folder: Path, moment: str, *, stop: float = 24.0) -> tuple[FlightRecord, int]:
        row = (
            '[[faults]]\nname = "f"\nkind = "sensor_bias"\nplace = "pad.wind"\nsize = 0.1\n'
            f"{moment}\n"
        )
        record = fly(folder, row, stop=stop)
        event = record.first("fault_begun f")
        assert event is not None
        return record, event.tick

    def test_an_event_and_a_wait(self, folder: Path) -> None:
        record, tick = self.begin(folder, 'event = "liftoff"\nafter_s = 0.25')
        liftoff = record.first("liftoff")
        assert liftoff is not None
        assert tick == liftoff.tick + 25

    def test_above_a_height(self, folder: Path) -> None:
        record, tick = self.begin(folder, "above_m = 20.0")
        assert record["height_m"][tick - 1] <= 20.0 < record["height_m"][tick]

    def test_below_a_height_only_after_it_was_higher(self, folder: Path) -> None:
        record, tick = self.begin(folder, "below_m = 150.0")
        assert record["height_m"][tick] < 150.0 <= record["height_m"][tick - 1]
        assert tick > np.argmax(record["height_m"])

    def test_an_end(self, folder: Path) -> None:
        record, tick = self.begin(folder, "at_s = 2.0\nfor_s = 0.07", stop=5.0)
        ended = record.first("fault_ended f")
        assert ended is not None
        assert (tick, ended.tick) == (200, 207)

    def test_a_state(self, folder: Path) -> None:
        record, tick = self.begin(folder, 'state = "flight.coast"\nafter_s = 0.1')
        entered = record.first("entered flight.coast")
        assert entered is not None
        assert tick == entered.tick + 1 + 10

    def test_an_event_that_ends_it(self, folder: Path) -> None:
        """An occurrence before the fault began does not count."""
        record, tick = self.begin(folder, 'event = "lit A1"\nuntil = "entered pad.ascent"')
        entered, ended = record.first("entered pad.ascent"), record.first("fault_ended f")
        assert entered is not None
        assert ended is not None
        assert (ended.tick, tick < ended.tick) == (entered.tick + 1, True)
        record, _ = self.begin(folder, 'event = "lit A1"\nuntil = "crew launch on"')
        assert record.first("fault_ended f") is None

    def test_while_in_a_state_again_and_again(self, folder: Path) -> None:
        """The count is held and started once more: two spells of a fault, each as long as it."""
        crew = "".join(
            f'[[crew]]\nat_s = {at}\nswitch = "{switch}"\non = {on}\n'
            for at, switch, on in [
                (1.0, "arm_key", "true"),
                (2.0, "launch", "true"),
                (4.0, "hold", "true"),
                (5.0, "launch", "false"),
                (6.0, "hold", "false"),
                (7.0, "recycle", "true"),
                (8.0, "recycle", "false"),
                (9.0, "launch", "true"),
            ]
        )
        moment = f'state = "pad.countdown"\nwhile_in = true\n{crew}'
        record, _ = self.begin(folder, moment, stop=12.0)
        spells = [e.kind for e in record.events if e.name == "f"]
        assert spells == ["fault_begun", "fault_ended", "fault_begun"]
        entered = [e.tick for e in record.events if e.label == "entered pad.countdown"]
        begun = [e.tick for e in record.events if e.label == "fault_begun f"]
        assert begun == [tick + 1 for tick in entered]
        held, ended = record.first("entered pad.hold"), record.first("fault_ended f")
        assert held is not None
        assert ended is not None
        assert ended.tick == held.tick + 1

    def test_a_state_is_left_when_its_computer_goes_down(self, folder: Path) -> None:
        dip = '[[faults]]\nname = "dip"\nkind = "reboot"\nplace = "pad"\nat_s = 5.0\n'
        record, _ = self.begin(folder, f'state = "pad.countdown"\nwhile_in = true\n{dip}', stop=6.0)
        ended = record.first("fault_ended f")
        assert ended is not None
        assert ended.tick == 501


class TestComputers:
    """Clocks, late ticks, reboots, links."""

    def test_each_computer_runs_on_its_own_ticks(self, folder: Path) -> None:
        record = fly(folder, stop=14.0)
        pad = {e.tick % 2 for e in record.events if e.name.startswith("pad.")}
        flight = {e.tick % 2 for e in record.events if e.name.startswith("flight.")}
        assert pad == {0}
        assert flight == {0, 1}

    def test_rates_that_do_not_divide_each_other(self, folder: Path) -> None:
        """30 and 100 Hz meet at 300 Hz: each keeps its own ticks, and time is exact.

        T-0 is 10 s after the count began, 300 ticks of the pad's; what it publishes then, 5 ms on
        the way, is seen by the flight computer at its next tick after that.
        """
        pad = folder / "pad.sequence.toml"
        text = pad.read_text(encoding="utf-8").replace("rate_hz = 50", "rate_hz = 30")
        text = text.replace("period_s = 0.02\nfields", "period_s = 0.1\nfields")
        pad.write_text(text, encoding="utf-8")
        record = fly(folder, stop=14.0)
        assert record.rate_hz == 300
        assert {e.tick % 10 for e in record.events if e.name.startswith("pad.")} == {0}
        assert {e.tick % 3 for e in record.events if e.name.startswith("flight.")} == {0}
        count, ignition = (
            record.first("entered pad.countdown"),
            record.first("entered pad.ignition"),
        )
        heard = record.first("entered flight.countdown")
        assert count is not None
        assert ignition is not None
        assert heard is not None
        assert ignition.tick - count.tick == 3000
        published = -(-count.tick // 30) * 30  # every third tick of the pad's
        assert heard.tick == (published + 1) // 3 * 3 + 3

    def test_a_link_by_chance_is_the_same_link_every_time(self, folder: Path) -> None:
        lossy = "[link]\ndelay_s = 0.005\nloses = 0.4\nrepeats = 0.2\n"
        first, second = fly(folder, lossy, stop=6.0), fly(folder, lossy, stop=6.0)
        same_until(first, second, first.ticks)
        assert first.events == second.events
        assert {e.label for e in first.events if e.kind == "dropped"} == {
            "dropped flight.pad",
            "dropped pad.flight",
        }

    def test_a_message_is_seen_strictly_later(self, folder: Path) -> None:
        """Published at 2.20 s with 5 ms on the way: the flight computer acts at 2.21 s."""
        record = fly(folder, stop=4.0)
        sent = record.first("entered pad.countdown")
        seen = record.first("entered flight.countdown")
        assert sent is not None
        assert seen is not None
        assert seen.tick == sent.tick + 1

    def test_a_delay_of_a_whole_tick_is_seen_one_tick_later_still(self, folder: Path) -> None:
        record = fly(folder, "[link]\ndelay_s = 0.01\n", stop=4.0)
        sent = record.first("entered pad.countdown")
        seen = record.first("entered flight.countdown")
        assert sent is not None
        assert seen is not None
        assert seen.tick == sent.tick + 2

    def test_late_ticks_are_events_and_clocks_go_on(self, folder: Path) -> None:
        row = (
            '[[faults]]\nname = "f"\nkind = "late_ticks"\nplace = "pad"\nat_s = 5.0\nfor_s = 1.0\n'
        )
        clean, late = fly(folder, stop=13.0), fly(folder, row, stop=13.0)

        assert sum(e.kind == "late" for e in late.events) == 50
        assert late.first("entered pad.ignition") == clean.first("entered pad.ignition")

    def test_a_reboot_takes_its_time_and_starts_anew(self, folder: Path) -> None:
        row = '[[faults]]\nname = "f"\nkind = "reboot"\nplace = "pad"\nat_s = 5.0\nfor_s = 0.3\n'
        record = fly(folder, row, stop=8.0)
        booted = record.first("booted pad")
        assert booted is not None
        assert record.seconds(booted.tick) == pytest.approx(5.0 + 0.3 + 0.5)
        again = [e for e in record.events if e.label == "entered pad.safe"]
        assert [e.tick for e in again] == [0, booted.tick]
        assert record.first("entered pad.ignition") is None

    def test_outputs_are_off_while_a_computer_is_down(self, folder: Path) -> None:
        """The pad goes down while an igniter is on that takes longer than that: nothing lights.

        Through 35 ohm more an igniter needs 0.08 s.
        """
        fired = fly(folder, stop=16.0).first("fired pad.ascent_1")
        assert fired is not None
        slow = (
            '[[faults]]\nname = "slow"\nkind = "channel_resistance"\nplace = "pad.P1"\n'
            f"size = 35.0\nat_s = {fired.tick / 100}\n"
        )
        row = (
            '[[faults]]\nname = "f"\nkind = "reboot"\nplace = "pad"\n'
            'event = "fired pad.ascent_1"\nafter_s = 0.05\nfor_s = 0.1\n'
        )
        assert fly(folder, slow, stop=16.0).first("lit A1") is not None
        record = fly(folder, slow + row, stop=16.0)
        assert record.first("lit A2") is not None
        assert record.first("lit A1") is None


class TestEnds:
    """How a record ends."""

    def test_stop_cuts_the_record(self, folder: Path) -> None:
        record = fly(folder, stop=3.0)
        assert record.ticks == 300
        assert record.first("ended flight") is None
        assert len(record.time_s) == len(record["height_m"]) == 300

    def test_a_flight_that_is_over_says_so(self, folder: Path) -> None:
        record = fly(folder, "after_touchdown_s = 0.5\n", stop=60.0)
        down, over = record.first("touchdown"), record.first("ended flight")
        assert down is not None
        assert over is not None
        assert over.tick == down.tick + 50
        assert record.outcome == "landed"


class TestMany:
    """Folders, workers, keywords."""

    def test_workers_do_not_change_a_byte(self, demo: Path) -> None:
        names = ("scrub", "battery_low", "launch_let_go")
        paths = [demo / f"{name}.scenario.toml" for name in names]
        assert as_json(fly_many(paths, jobs=1)) == as_json(fly_many(paths, jobs=2))

    def test_a_broken_scenario_does_not_stop_the_others(self, folder: Path) -> None:
        for path in folder.glob("*.scenario.toml"):
            if path.name != "calm_landing.scenario.toml":
                path.unlink()
        (folder / "broken.scenario.toml").write_text("[scenario]\n", encoding="utf-8")
        calm = folder / "calm_landing.scenario.toml"
        calm.write_text(
            calm.read_text(encoding="utf-8").replace("stop_s = 120.0", "stop_s = 1.0"),
            encoding="utf-8",
        )
        broken, flown = fly_many([folder], jobs=1)
        assert broken.error is not None
        assert "\n" not in broken.error
        assert flown.record is not None

    def test_keyword(self, demo: Path) -> None:
        found = find_scenarios([demo], "SCRUB")
        assert [path.name for path in found] == ["scrub.scenario.toml"]

    @pytest.mark.parametrize(
        ("given", "keyword", "said"),
        [
            ("nowhere", None, "no such file"),
            ("scenarios/pad.sequence.toml", None, "not a scenario"),
            ("scenarios", "xyz", "no scenario has 'xyz' in its name"),
            (".", "", "no *.scenario.toml"),
        ],
    )
    def test_paths_that_cannot_be_used(
        self, tmp_path: Path, given: str, keyword: str | None, said: str
    ) -> None:
        inside = tmp_path / "scenarios"
        if given != ".":
            inside.mkdir()
            (inside / "pad.sequence.toml").touch()
            (inside / "a.scenario.toml").touch()
        with pytest.raises(sequencer.errors.DrycountError, match=said.replace("*", r"\*")):
            find_scenarios([tmp_path / given], keyword)

    def test_no_jobs(self, demo: Path) -> None:
        with pytest.raises(UsageError, match="at least 1"):
            fly_many([demo], jobs=0)


class TestTargets:
    """Names of targets and executors."""

    @pytest.mark.parametrize(
        ("on", "executor", "said"),
        [
            ("modle", "reference", "did you mean 'model'"),
            ("model:x", "reference", "takes nothing after the colon"),
            ("model", "refrence", "did you mean 'reference'"),
        ],
    )
    def test_unknown_ones(self, demo: Path, on: str, executor: str, said: str) -> None:
        scenario = sequencer.load(demo / "scrub.scenario.toml")
        with pytest.raises(UsageError, match=said):
            scenario.fly(on=on, executor=executor)


def test_flags_and_states_as_signals_through_a_reboot(folder: Path) -> None:
    """Without power for 0.05 s and booting for 0.8 s the computer is in no state."""
    record = fly(
        folder,
        '\n[[faults]]\nname = "dip"\nkind = "reboot"\nplace = "flight"\n'
        'event = "entered flight.ascent"\nafter_s = 0.2\nfor_s = 0.05\n',
    )
    cut = next(record.find("fault_begun dip")).tick
    back = next(record.find("booted flight")).tick
    assert back - cut == 85
    states = sum(record[name] for name in record.logic if name.startswith("flight_in_"))
    assert states[cut:back].max() == 0.0
    assert states[:cut].min() == states[back:].min() == 1.0
    assert (record["flight_in_ascent"][cut - 20 : cut] == 1.0).all()
    lifted = record["flight_lifted"]  # retained
    assert (lifted[cut - 1], lifted[cut], lifted[back]) == (1.0, 0.0, 1.0)
    assert "flight_lifted" not in record.signals
