"""Recorded logs flown in place of a world: real sensors, and faults on what they said.

The two logs and their properties: the project's list of check values, section 11, [C]: worked out
from the files when they were downloaded; origin and licences in tests/data/README.md.
"""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

import sequencer
from sequencer.record import FlightRecord
from sequencer.scenario import Recording
from sequencer.scenario.stream_file import read_log

DATA = Path(__file__).parents[1] / "data"
SEQUENCE = Path(__file__).parent / "data" / "bench.sequence.toml"
SHORT = DATA / "imu_baro_49hz_10s.csv"
LONG = DATA / "imu_99hz_135s.csv.gz"
G0 = 9.80665
#: ticks at which faults begin and end
ONSET, END = 100, 300

#: the recorded boards have z up: their z, x, y are x, y, z of the sequence
HEAD = """\
[scenario]
title = "A board in somebody's hand"
reason = "real noise, jitter and gaps"
covers = {{ fault = "replay", phase = "any" }}
sequences = ["bench.sequence.toml"]

[stream]
file = "{file}"
time = {{ column = "Time (s)" }}
[stream.columns]
accel_x = {{ column = "Accelerometer Z (g)", unit = "g0" }}
accel_y = {{ column = "Accelerometer X (g)", unit = "g0" }}
accel_z = {{ column = "Accelerometer Y (g)", unit = "g0" }}
gyro_x = {{ column = "Gyroscope Z (deg/s)", unit = "deg/s" }}
gyro_y = {{ column = "Gyroscope X (deg/s)", unit = "deg/s" }}
gyro_z = {{ column = "Gyroscope Y (deg/s)", unit = "deg/s" }}
{barometer}
key = true
{more}
[expect]
outcome = "replayed"
"""
WITH_BARO = """\
baro = { column = "Barometer (hPa)", unit = "hPa", as = "height" }
pressure = { column = "Barometer (hPa)", unit = "hPa" }
[stream.constants]
"""
WITHOUT_BARO = """\
[stream.constants]
baro = 0.0
pressure = 101325.0
"""


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., sequencer.api.LoadedScenario]:
    folder = tmp_path_factory.mktemp("bench")
    for file in (SHORT, LONG, SEQUENCE):
        shutil.copy(file, folder)

    def load(log: Path, more: str = "") -> sequencer.api.LoadedScenario:
        barometer = WITH_BARO if log == SHORT else WITHOUT_BARO
        path = folder / "tried.scenario.toml"
        path.write_text(HEAD.format(file=log.name, barometer=barometer, more=more), "utf-8")
        return sequencer.load(path)

    return load


@pytest.fixture(scope="module")
def clean(bench) -> FlightRecord:
    return bench(SHORT).fly()


@cache
def columns(path: Path) -> NDArray[np.float64]:
    """The log as numbers, by way of our reader."""
    return np.array(read_log(path).rows, dtype=np.float64)


def ticks_of(path: Path, rate_hz: int = 100) -> list[int]:
    """First tick at or after each row's time; no time in these logs falls on a tick but 0."""
    return [math.ceil(time * rate_hz) for time in columns(path)[:, 0].tolist()]


class TestWhatTheFilesHold:
    """Known properties of the logs, as our reader and our ticks see them."""

    @pytest.mark.parametrize(("path", "rows", "rate"), [(SHORT, 499, 49.4), (LONG, 13514, 99.2)])
    def test_rate(self, path: Path, rows: int, rate: float) -> None:
        times = columns(path)[:, 0]
        assert len(times) == rows
        assert 1.0 / np.median(np.diff(times)) == pytest.approx(rate, abs=0.05)

    def test_jitter_of_the_long_one(self) -> None:
        steps = np.diff(columns(LONG)[:, 0])
        assert steps.min() == pytest.approx(7.56e-3, abs=5e-6)
        assert steps.max() == pytest.approx(30.24e-3, abs=5e-6)

    def test_barometer_of_the_short_one(self, bench) -> None:
        found, places = recording(bench(SHORT))
        pressure = found.values[:, places["bench.pressure"]]
        assert pressure.std() == pytest.approx(0.735, abs=0.001)
        assert np.ptp(pressure) == pytest.approx(3.66, abs=0.001)
        assert np.diff(pressure).std() == pytest.approx(0.171, abs=0.001)
        height = found.values[:, places["bench.baro"]]
        assert height.std() == pytest.approx(0.063, abs=0.001)
        assert height[0] == 0.0

    def test_gyroscope_of_the_long_one(self, bench) -> None:
        found, places = recording(bench(LONG))
        rates = np.degrees(found.values[:, [places[f"bench.gyro_{axis}"] for axis in "xyz"]])
        assert np.abs(rates).max() == pytest.approx(365.0, abs=0.5)

    @pytest.mark.parametrize("path", [SHORT, LONG], ids=["short", "long"])
    def test_every_row_answers_on_its_tick(self, bench, path: Path) -> None:
        found, places = recording(bench(path))
        latest = dict(zip(ticks_of(path), columns(path)[:, 6].tolist(), strict=True))
        assert found.ticks.tolist() == list(latest)
        np.testing.assert_allclose(
            found.values[:, places["bench.accel_x"]], [G0 * z for z in latest.values()], rtol=1e-15
        )
        gaps = np.diff(found.ticks)
        assert (gaps.min(), gaps.max()) == (1, 3)


def recording(loaded: sequencer.api.LoadedScenario) -> tuple[Recording, dict[str, int]]:
    scenario = loaded.scenario
    assert isinstance(scenario.source, Recording)
    return scenario.source, dict(scenario.places.sensors)


class TestTheShortLog:
    """A hand turns the board to and fro, knocks it on the table, and lets go."""

    def test_it_is_no_flight(self, clean: FlightRecord) -> None:
        assert clean.outcome == "replayed"
        assert clean.ticks == ticks_of(SHORT)[-1] + 1
        assert clean.facts == {"log_rows": 499.0, "log_s": 9.98}
        assert set(clean.signals) == {
            *(f"bench_accel_{axis}" for axis in "xyz"),
            *(f"bench_gyro_{axis}" for axis in "xyz"),
            "bench_baro",
            "bench_pressure",
            "bench_key",
        }
        assert {event.kind for event in clean.events} <= {
            "entered", "took", "fired", "ended", "moved", "booted",
        }  # fmt: skip

    def test_signals_hold_the_last_answer(self, clean: FlightRecord) -> None:
        rows = np.searchsorted(ticks_of(SHORT), np.arange(clean.ticks), side="right") - 1
        np.testing.assert_allclose(
            clean["bench_gyro_x"], columns(SHORT)[rows, 3], rtol=1e-14, atol=1e-14
        )

    def test_the_knock_is_seen_on_its_tick(self, clean: FlightRecord) -> None:
        table = columns(SHORT)
        felt = G0 * np.sqrt((table[:, 4:7] ** 2).sum(axis=1))
        knock = ticks_of(SHORT)[int(np.argmax(felt > 30.0))]
        for label in ("entered bench.shaken", "fired bench.line", "moved bench.flap"):
            event = clean.first(label)
            assert event is not None
            assert event.tick == knock

    def test_it_settles_when_the_hand_is_off(self, clean: FlightRecord) -> None:
        """From the first row on after which it feels gravity alone, 50 ticks, the last included."""
        table = columns(SHORT)
        felt = G0 * np.sqrt((table[:, 4:7] ** 2).sum(axis=1))
        last = int(np.flatnonzero((felt < 9.3) | (felt > 10.3))[-1])
        event = clean.first("entered bench.settled")
        assert event is not None
        assert event.tick == ticks_of(SHORT)[last + 1] + 49

    def test_twice_the_same(self, bench, clean: FlightRecord) -> None:
        again = bench(SHORT).fly()
        assert again.events == clean.events
        same_until(again, clean, clean.ticks)

    def test_requirements_are_judged(self, bench) -> None:
        more = (
            '[[requirements]]\nname = "pressure"\nreason = "r"\npattern = "universality"\n'
            'condition = "bench_pressure < 98476"\n'
            '[[requirements]]\nname = "line"\nreason = "r"\npattern = "response"\n'
            'when = "entered bench.shaken"\nthen = "fired bench.line"\nwithin_s = [0, 0.1]\n'
        )
        by_name = {verdict.requirement: verdict for verdict in bench(SHORT, more).fly().verdicts}
        highest = 100.0 * columns(SHORT)[:, 10].max()
        assert by_name["pressure"].margin == pytest.approx(98476.0 - highest)
        assert by_name["line"].status == "met"

    def test_the_crew_turns_the_key(self, bench) -> None:
        record = bench(SHORT, '[[crew]]\nat_s = 1.0\nswitch = "key"\non = false\n').fly()
        assert record.first("blocked bench.line") is not None
        assert record.first("fired bench.line") is None
        assert np.flatnonzero(record["bench_key"] == 0.0)[0] == 101  # read from the next tick on

    def test_a_reboot_forgets(self, bench) -> None:
        fault = (
            '[[faults]]\nname = "f"\nkind = "reboot"\nplace = "bench"\nat_s = 7.0\nfor_s = 0.5\n'
        )
        record = bench(SHORT, fault).fly()
        assert [event.name for event in record.events if event.kind == "entered"] == [
            "bench.upright", "bench.shaken", "bench.settled", "bench.upright",
        ]  # fmt: skip


def test_tilt_by_gyroscope_agrees_with_gravity(bench) -> None:
    """The board is laid over four times and then shaken without turning.

    At rest gravity tells the tilt independently of the gyroscope: acos of z over the magnitude.
    """
    record = bench(LONG).fly()
    entered = [
        (record.seconds(event.tick), event.name.partition(".")[2])
        for event in record.events
        if event.kind == "entered"
    ]
    assert [state for _, state in entered] == ["upright", *(["tilted", "upright"] * 4)]
    table = columns(LONG)
    magnitude = np.sqrt((table[:, 4:7] ** 2).sum(axis=1))
    tilt = np.degrees(np.arccos(table[:, 6] / magnitude))
    for (begin, state), (end, _) in pairwise(entered):
        # between the changes, where the hand is still
        during = (table[:, 0] > begin + 0.6) & (table[:, 0] < end - 0.6)
        still = during & (np.abs(table[:, 1:4]).max(axis=1) < 15.0)
        if still.any():
            assert (np.median(tilt[still]) > 45.0) == (state == "tilted")
    assert tilt[table[:, 0] > 65.0].max() > 45.0  # gravity alone would be fooled here


def same_until(one: FlightRecord, two: FlightRecord, tick: int) -> None:
    """Bit for bit the same signals and events before this tick."""
    for name in one.signals:
        np.testing.assert_array_equal(one[name][:tick], two[name][:tick], err_msg=name)
    planned = ("fault_begun", "fault_ended")
    assert [e for e in one.events if e.tick < tick and e.kind not in planned] == [
        e for e in two.events if e.tick < tick and e.kind not in planned
    ]


def held(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """The part during which a fault acts: from the first row after its onset on."""
    return values[ONSET + 4 : END + 1]


def late(clean: NDArray[np.float64]) -> NDArray[np.float64]:
    """What was last measured 0.3 s before, handed over when there is a new row."""
    found = clean.copy()
    rows = set(ticks_of(SHORT))
    for tick in range(ONSET + 1, len(clean)):
        found[tick] = clean[tick - 30] if tick in rows else found[tick - 1]
    return found


def slow(clean: NDArray[np.float64]) -> NDArray[np.float64]:
    """First order, 0.5 s, stepped exactly from row to row, from the last value on."""
    found = clean.copy()
    rows = [tick for tick in ticks_of(SHORT) if tick > ONSET]
    before = max(tick for tick in ticks_of(SHORT) if tick <= ONSET)
    for tick, following in zip(rows, [*rows[1:], len(clean)], strict=True):
        share = 1.0 - math.exp(-(tick - before) / 50.0)
        value = found[before] + share * (clean[tick] - found[before])
        found[tick:following] = value
        before = tick
    return found


Shape = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]

#: kind, more keys, what the input must read while it lasts, of its own and another's clean values
FAULTS: list[tuple[str, str, Shape]] = [
    ("sensor_frozen", "", lambda own, _: np.full_like(own, own[ONSET])),
    ("sensor_silent", "", lambda own, _: np.full_like(own, own[ONSET])),
    ("sensor_bias", "size = 5.0", lambda own, _: own + 5.0),
    ("sensor_spike", "size = -7.0", lambda own, _: np.full_like(own, -7.0)),
    ("sensor_nan", "", lambda own, _: np.full_like(own, math.nan)),
    ("sensor_stale", "size = 0.3", lambda own, _: late(own)),
    ("sensor_clipped", "size = 20.0", lambda own, _: np.clip(own, -20.0, 20.0)),
    ("sensor_sign", "", lambda own, _: -own),
    ("sensor_swapped", 'other = "gyro_z"', lambda _, other: other),
    ("sensor_blocked", "size = 0.5", lambda own, _: slow(own)),
]


@pytest.mark.parametrize(("kind", "more", "shape"), FAULTS, ids=[fault[0] for fault in FAULTS])
def test_a_fault_of_a_sensor_on_what_was_recorded(
    bench, clean: FlightRecord, kind: str, more: str, shape: Shape
) -> None:
    """The same bits before its onset, its effect while it lasts, the log again after its end."""
    row = (
        f'[[faults]]\nname = "f"\nkind = "{kind}"\nplace = "gyro_y"\n{more}\n'
        f"at_s = {ONSET / 100}\nfor_s = {(END - ONSET) / 100}\n"
    )
    record = bench(SHORT, row).fly()

    assert [(e.label, e.tick) for e in record.events if e.kind.startswith("fault")] == [
        ("fault_begun f", ONSET),
        ("fault_ended f", END),
    ]
    same_until(record, clean, ONSET + 1)
    own, other = clean["bench_gyro_y"], clean["bench_gyro_z"]
    np.testing.assert_allclose(
        held(record["bench_gyro_y"]), held(shape(own, other)), rtol=1e-12, atol=1e-12
    )
    assert not np.array_equal(held(record["bench_gyro_y"]), held(own), equal_nan=True)
    after = END + 4
    for name in clean.signals:
        np.testing.assert_array_equal(record[name][after:], clean[name][after:], err_msg=name)
    untouched = {"bench_gyro_y"} | ({"bench_gyro_z"} if kind == "sensor_swapped" else set())
    for name in set(clean.signals) - untouched:
        np.testing.assert_array_equal(record[name], clean[name], err_msg=name)


def test_a_silent_input_grows_old_and_a_frozen_one_does_not(bench) -> None:
    """Only the age of an input tells the two apart."""
    row = '[[faults]]\nname = "f"\nkind = "sensor_{}"\nplace = "accel_x"\nat_s = 1.0\nfor_s = 1.0\n'
    silent = bench(SHORT, row.format("silent")).fly().first("entered bench.silent")
    assert silent is not None
    # the last row before 1 s falls on tick 100; older than 0.5 s is the 51st tick after it
    assert silent.tick == max(tick for tick in ticks_of(SHORT) if tick <= ONSET) + 51
    assert bench(SHORT, row.format("frozen")).fly().first("entered bench.silent") is None


def test_two_computers_on_one_log_talk_to_each_other(tmp_path: Path) -> None:
    """One reads the log, the other hears of it over the link: 0.03 s later, at its next tick."""
    sender = """\
[sequence]
name = "pad"
about = "hears the log"
rate_hz = 50
boot_s = 0.1
start = "waits"
[inputs]
accel = { unit = "m/s2" }
[limits]
much = { value = 20.0, unit = "m/s2", tolerance = 1.0, reason = "twice what it feels at rest" }
[flags]
go = {}
[publish]
fields = ["go"]
period_s = 0.02
[states.waits]
phase = "ground"
[[states.waits.exits]]
to = "went"
when = "accel > much"
do = ["set go"]
[states.went]
phase = "ground"
"""
    reader = """\
[sequence]
name = "watch"
about = "hears the pad"
rate_hz = 100
boot_s = 0.1
start = "waits"
[inputs]
pad_go = { unit = "bool", from = "pad.go" }
[states.waits]
phase = "ground"
[[states.waits.exits]]
to = "went"
when = "pad_go"
[states.went]
phase = "ground"
"""
    scenario = """\
[scenario]
title = "t"
reason = "r"
covers = { fault = "replay", phase = "any" }
sequences = ["pad.sequence.toml", "watch.sequence.toml"]
[link]
delay_s = 0.025
[stream]
file = "log.csv"
time = { column = "t" }
columns = { accel = { column = "a", unit = "m/s2" } }
[expect]
outcome = "replayed"
"""
    for name, text in (
        ("pad.sequence", sender),
        ("watch.sequence", reader),
        ("it.scenario", scenario),
    ):
        (tmp_path / f"{name}.toml").write_text(text, "utf-8")
    (tmp_path / "log.csv").write_text("t,a\n0.0,9.8\n0.101,25.0\n0.3,9.8\n", "utf-8")
    record = sequencer.load(tmp_path / "it.scenario.toml").fly()
    # 0.101 s is read at tick 11, by the 50 Hz computer on its tick at 12; 12 + 2.5 is heard at 15
    assert [(e.tick, e.label) for e in record.events if e.kind == "entered"] == [
        (0, "entered pad.waits"),
        (0, "entered watch.waits"),
        (12, "entered pad.went"),
        (15, "entered watch.went"),
    ]
    assert set(record.signals) == {"pad_accel"}
