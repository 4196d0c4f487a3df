"""[stream]: what a log becomes, tick by tick, and every way in which it can be unusable."""

from __future__ import annotations

import gzip
import hashlib
import math
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.errors import InputError, UsageError
from sequencer.scenario import Recording, Scenario, load_scenario

SEQUENCE = Path(__file__).parent / "data" / "watch.sequence.toml"

GOOD = """\
[scenario]
title = "A log for the tests"
reason = "to be broken in one place at a time"
covers = { fault = "replay", phase = "any" }
sequences = ["watch.sequence.toml"]

[stream]
file = "log.csv"
time = { column = "t", unit = "ms" }
[stream.columns]
"watch.accel" = { column = "ax", unit = "g0", scale = -2.0, offset = 0.5 }
"watch.baro" = { column = "p", unit = "hPa", as = "height", empty = "no_answer" }
pad_go = { column = "go", unit = "bool" }
[stream.constants]
"watch.key" = true
volts = 7.9

[[crew]]
at_s = 0.02
switch = "key"
on = false

[[faults]]
name = "off"
kind = "sensor_bias"
place = "accel"
size = 2.5
at_s = 0.01

[expect]
outcome = "replayed"
order = ["crew key off", "fault_begun off"]
"""

LOG = """\
# made for a test
t, ax ,p,go

1000,-1.0,1000.0,0
1003,nan,,TRUE
1009.9,"-0.5",999.0,1
1010.1,,998.0,false
1050,-0.25,0,0
"""


def load(folder: Path, text: str = GOOD, log: str | bytes = LOG) -> Scenario:
    name = SEQUENCE.name
    (folder / name).write_bytes(SEQUENCE.read_bytes())
    (folder / "log.csv").write_bytes(log if isinstance(log, bytes) else log.encode())
    path = folder / "tried.scenario.toml"
    path.write_text(text, encoding="utf-8")
    return load_scenario(path)


def recording(scenario: Scenario) -> Recording:
    assert isinstance(scenario.source, Recording)
    return scenario.source


def test_rows_fall_on_the_first_tick_at_or_after_their_time(tmp_path: Path) -> None:
    found = recording(load(tmp_path))
    assert found.ticks.tolist() == [0, 1, 2, 5]  # 1003 and 1009.9 ms share a tick
    assert found.rows == 5
    assert found.last_tick == 5


def test_the_latest_of_a_tick_wins_and_what_has_no_answer_stays_out(tmp_path: Path) -> None:
    scenario = load(tmp_path)
    found = recording(scenario)
    accel, baro, go = (scenario.places.sensors[f"watch.{n}"] for n in ("accel", "baro", "pad_go"))

    np.testing.assert_array_equal(found.fresh[:, accel], True)
    np.testing.assert_array_equal(found.values[:, accel], [24.516625, 14.709975, math.nan, 9.80665])
    np.testing.assert_array_equal(found.fresh[:, baro], True)
    assert found.values[0, baro] == 0.0
    # hydrostatic, R T / g ln(1000/999) with R 287.053, T 287.43 K half-way: 8.417 m
    assert found.values[1, baro] == pytest.approx(8.417, abs=0.001)
    assert math.isnan(found.values[3, baro])  # 0 hPa is no pressure
    assert found.values[:, go].tolist() == [0.0, 1.0, 0.0, 0.0]


def test_an_empty_cell_is_bad_or_no_answer(tmp_path: Path) -> None:
    log = "t,ax,p,go\n0,1,1000,0\n10,,,0\n20,1,999,0\n"
    scenario = load(tmp_path, log=log)
    found, sensors = recording(scenario), scenario.places.sensors
    assert found.fresh[1].tolist() == [True, False, False, False, True]
    assert math.isnan(found.values[1, sensors["watch.accel"]])


def test_constants_are_answers_and_switches(tmp_path: Path) -> None:
    scenario = load(tmp_path)
    found, sensors = recording(scenario), scenario.places.sensors
    assert found.constants == {sensors["watch.key"]: 1.0, sensors["watch.volts"]: 7.9}
    assert scenario.places.switches == {"key": 0}
    assert found.switches == {sensors["watch.key"]: 0}
    (action,) = scenario.crew
    assert (action.switch, action.on) == (0, False)


def test_what_the_log_gives_is_no_message(tmp_path: Path) -> None:
    scenario = load(tmp_path)
    assert scenario.sequences["watch"].inputs["pad_go"].message is None
    assert scenario.wires["watch"].sensors == (0, 1, 2, 3, 4)
    assert [name for name, _, _ in scenario.input_signals][-1] == "watch_pad_go"


def test_a_fault_hits_an_input_in_the_unit_of_its_sequence(tmp_path: Path) -> None:
    scenario = load(tmp_path)
    (fault,) = scenario.faults
    assert (fault.row, fault.place) == (0, "watch.accel")
    assert scenario.params["fault_size"][0] == 2.5


def test_times_are_compared_exactly(tmp_path: Path) -> None:
    """0.07 * 100 is 7.000000000000001 in doubles; 0.07 s are seven ticks all the same."""
    log = "t,ax,p,go\n0.0,1,1,1\n0.07,1,1,1\n0.070000000000001,1,1,1\n"
    found = recording(load(tmp_path, GOOD.replace('"ms"', '"s"'), log))
    assert found.ticks.tolist() == [0, 7, 8]


def test_the_record_ends_with_the_log_or_at_stop(tmp_path: Path) -> None:
    assert load(tmp_path).stop_ticks == 6
    stopped = load(tmp_path, GOOD.replace("sequences =", "stop_s = 0.03\nsequences ="))
    assert stopped.stop_ticks == 3
    later = load(tmp_path, GOOD.replace("sequences =", "stop_s = 9.0\nsequences ="))
    assert later.stop_ticks == 6


def test_the_hash_is_that_of_the_text_packed_or_not(tmp_path: Path) -> None:
    plain = load(tmp_path).hashes["stream"]
    (tmp_path / "log.csv.gz").write_bytes(gzip.compress(LOG.encode()))
    packed = load(tmp_path, GOOD.replace("log.csv", "log.csv.gz"))
    assert plain == packed.hashes["stream"] == hashlib.sha256(LOG.encode()).hexdigest()
    assert set(packed.hashes) == {"scenario", "stream", "sequence watch"}
    assert recording(packed).ticks.tolist() == [0, 1, 2, 5]


@pytest.mark.parametrize("separator", [";", "\\t"])
def test_other_separators(tmp_path: Path, separator: str) -> None:
    log = LOG.replace(",", separator.replace("\\t", "\t"))
    text = GOOD.replace('"log.csv"', f'"log.csv"\nseparator = "{separator}"')
    assert recording(load(tmp_path, text, log)).ticks.tolist() == [0, 1, 2, 5]


@pytest.mark.parametrize("separator", [";", "\\t"])
def test_a_log_with_another_separator_than_stated_is_recognised(tmp_path, separator) -> None:
    log = LOG.replace(",", separator.replace("\\t", "\t"))
    with pytest.raises(InputError) as caught:
        load(tmp_path, GOOD, log)
    assert str(caught.value).endswith(
        f':9: log.csv has one column only; did you mean separator = "{separator}"?'
    )


def test_there_is_no_vehicle(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="takes its inputs from a log, so there is no vehicle"):
        _ = load(tmp_path).vehicle


#: what is replaced in the scenario, by what, the line of the error, and what it says
BROKEN = [
    ('file = "log.csv"', 'file = "lag.csv"', 8, "no such file; did you mean 'log.csv'?"),
    ('column = "t"', 'column = "time"', 9, "log.csv has no column 'time' (it has: t, ax, p, go)"),
    ('unit = "ms"', 'unit = "m"', 9, "'m' is no unit of time"),
    ('unit = "ms"', 'unit = "msec"', 9, "unknown unit 'msec'; did you mean"),
    ('"watch.accel"', '"watch.acel"', 11, "no computer here has an input 'watch.acel'; did you"),
    ('column = "ax"', 'column = "az"', 11, "log.csv has no column 'az'; did you mean 'ax'?"),
    ('unit = "g0"', 'unit = "g"', 11, "is in g, but input 'accel' is declared in m/s2; did you"),
    ('unit = "g0"', 'unit = "m"', 11, "column 'ax' is in m, but input 'accel' is declared in m/s"),
    ("scale = -2.0", 'sign = "-"', 11, "unknown key 'sign'"),
    ('as = "height", ', "", 12, "column 'p' is in hPa, but input 'baro' is declared in m"),
    ('unit = "hPa"', 'unit = "m"', 12, "only a pressure can be taken as height, not what is in m"),
    ('"no_answer"', '"nothing"', 12, "not one of 'bad' or 'no_answer'"),
    ('pad_go = { column = "go", unit = "bool" }\n', "", 10, "input 'pad_go' of computer 'watch'"),
    ("volts = 7.9", "key = true", 16, "'key' and 'watch.key' are the same input"),
    ("volts = 7.9", "accel = 1.0", 16, "input 'accel' has a column already"),
    ("volts = 7.9", "volts = true", 16, "input 'volts' is declared as a number, in V"),
    ('"watch.key" = true', '"watch.key" = 1.0', 15, "input 'watch.key' is declared as true or fal"),
    ('switch = "key"', 'switch = "kye"', 20, "no switch 'kye' among the constants; did you mean"),
    ('place = "accel"', 'place = "acel"', 26, "unknown sensor 'acel'; did you mean"),
    ('"sensor_bias"', '"motor_thrust"', 26, "'motor_thrust' needs a vehicle, and the inputs "),
    ('"sensor_bias"', '"battery_low"', 26, "'battery_low' needs a vehicle, and the inputs c"),
    ("at_s = 0.01", "above_m = 5.0", 28, "nothing flies where the inputs come from a log"),
    ('"replayed"\n', '"replayed"\nnever = ["liftoff"]\n', 32, "'liftoff' can never come here"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "line", "said"), BROKEN, ids=[f"{n}-{b[3][:30]}" for n, b in enumerate(BROKEN)]
)
def test_a_broken_scenario(tmp_path: Path, old: str, new: str, line: int, said: str) -> None:
    assert GOOD.count(old) >= 1, "the case no longer fits the good file"
    with pytest.raises(InputError) as caught:
        load(tmp_path, GOOD.replace(old, new, 1))
    message = str(caught.value)
    assert message.startswith(f"{tmp_path / 'tried.scenario.toml'}:{line}: "), message
    assert said in message


#: what is replaced in the log, by what, the line of the error, and what it says
BAD_LOGS = [
    ("1003,nan", "1003,high", 5, "'high' in column 'ax' is no number"),
    ("1003,nan", "1003,1_0", 5, "'1_0' in column 'ax' is no number"),
    ("1050,-0.25,0,0", "1050,-0.25,0,2", 8, "'2' in column 'go' is no truth: 0 or 1"),
    ("1050,-0.25,0,0", "1050,-0.25,0,yes", 8, "'yes' in column 'go' is no number"),
    ("1050", "1000", 8, "time goes backwards: 1000 after 1010.1"),
    ("1050", "", 8, "has no time in column 't'"),
    ("1050", "inf", 8, "has no time in column 't'"),
    ("1050", "1e-99999", 8, "'1e-99999' in column 't' is no time"),
    ("1050", "1e25", 8, "time jumps to 1E+25, which no log lasts"),
    ("1050", "10:50", 8, "'10:50' in column 't' is no number"),
    ("1050,-0.25,0,0\n", "1050,-0.2", 8, "has fewer cells than the header has names: 2, not 4"),
    ("1003,nan", "1003,nan,1", 5, "has more cells than the header has names: 5, not 4"),
    ('"-0.5"', '"-0.5', 6, "not valid CSV: "),
    (LOG, "# nothing\n\nt,ax,p,go\n", 3, "has no row below the names of its columns"),
    (LOG.partition("\n\n")[2], "", 2, "has no row below the names of its columns"),
]


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    BAD_LOGS,
    ids=[f"{n}-{b[3][:30]}" for n, b in enumerate(BAD_LOGS)],
)
def test_a_bad_log(tmp_path: Path, old: str, new: str, line: int, said: str) -> None:
    assert old in LOG, "the case no longer fits the good file"
    with pytest.raises(InputError) as caught:
        load(tmp_path, log=LOG.replace(old, new, 1))
    assert str(caught.value).startswith(f"{tmp_path / 'log.csv'}:{line}: {said}")


def test_an_empty_log(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        load(tmp_path, log="")
    assert ":8: 'log.csv': is empty: no line names the columns" in str(caught.value)


def test_a_log_that_is_no_text(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        load(tmp_path, log=LOG.encode() + b"1060,\xb0,1,1\n")
    assert str(caught.value) == f"{tmp_path / 'log.csv'}:9: is not UTF-8 text"


def test_a_packed_log_that_was_cut_off(tmp_path: Path) -> None:
    (tmp_path / "log.csv.gz").write_bytes(gzip.compress(LOG.encode())[:-12])
    with pytest.raises(InputError) as caught:
        load(tmp_path, GOOD.replace("log.csv", "log.csv.gz"))
    assert str(caught.value).endswith("is not a whole gzip file")


def test_a_packed_log_that_swells_beyond_reason(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sequencer.scenario.stream_file.MAX_BYTES", 1000)
    (tmp_path / "log.csv.gz").write_bytes(gzip.compress(LOG.encode() + b"#" * 2000))
    with pytest.raises(InputError, match="is larger than 1000 bytes when unpacked"):
        load(tmp_path, GOOD.replace("log.csv", "log.csv.gz"))


def test_more_rows_than_there_may_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sequencer.scenario.stream_file.MAX_ROWS", 3)
    with pytest.raises(InputError) as caught:
        load(tmp_path)
    assert str(caught.value) == f"{tmp_path / 'log.csv'}:7: has more than 3 rows"


def test_a_log_longer_than_any_record(tmp_path: Path) -> None:
    log = LOG.replace("1050,", "1900000,")
    with pytest.raises(InputError) as caught:
        load(tmp_path, log=log)
    assert ":8: the log lasts 1899.0 s, which is more than 1800: say with stop_s" in str(
        caught.value
    )
    stopped = load(tmp_path, GOOD.replace("sequences =", "stop_s = 5.0\nsequences ="), log)
    assert stopped.stop_ticks == 500


def test_a_column_that_is_there_twice(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        load(tmp_path, log=LOG.replace("p,go", "ax,go"))
    assert ":11: log.csv has 2 columns named 'ax'" in str(caught.value)


def test_without_a_stream_a_vehicle_is_still_needed(tmp_path: Path) -> None:
    head = GOOD.partition("[stream]")[0] + '[expect]\noutcome = "on_pad"\n'
    with pytest.raises(InputError) as caught:
        load(tmp_path, head)
    assert str(caught.value).endswith("tried.scenario.toml:1: 'vehicle' is missing in [scenario]")


class TestTwoComputers:
    """Names without their computer, and switches that both read."""

    def load(self, folder: Path, old: str = "", new: str = "") -> Scenario:
        text = SEQUENCE.read_text(encoding="utf-8").replace('"watch"', '"second"')
        (folder / "second.sequence.toml").write_text(text, encoding="utf-8")
        read = (("accel", "ax", "g0"), ("baro", "p", "m"), ("pad_go", "go", "bool"))
        columns = "\n".join(
            f'"{name}.{key}" = {{ column = "{column}", unit = "{unit}" }}'
            for name in ("watch", "second")
            for key, column, unit in read
        )
        constants = '"watch.key" = true\n"second.key" = true\n"watch.volts" = 1\n"second.volts" = 2'
        scenario = GOOD.replace('["watch.', '["second.sequence.toml", "watch.')
        scenario = scenario.replace('place = "accel"', 'place = "second.accel"')
        head, _, rest = scenario.partition("[stream.columns]\n")
        tail = rest.partition("[[crew]]")[2]
        whole = (
            f"{head}[stream.columns]\n{columns}\n[stream.constants]\n{constants}\n[[crew]]{tail}"
        )
        return load(folder, whole.replace(old, new, 1))

    def test_one_switch_for_both(self, tmp_path: Path) -> None:
        scenario = self.load(tmp_path)
        assert scenario.places.switches == {"key": 0}
        assert set(recording(scenario).switches.values()) == {0}
        assert len(recording(scenario).switches) == 2

    def test_a_switch_cannot_be_on_and_off(self, tmp_path: Path) -> None:
        with pytest.raises(InputError) as caught:
            self.load(tmp_path, '"second.key" = true', '"second.key" = false')
        assert "are one switch and cannot differ" in str(caught.value)

    def test_a_name_that_two_computers_have(self, tmp_path: Path) -> None:
        with pytest.raises(InputError) as caught:
            self.load(tmp_path, '"watch.volts" = 1', "volts = 1")
        assert "several computers have an input 'volts': second.volts, watch.volts" in str(
            caught.value
        )


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("any")


class TestAnyLog:
    """Whatever stands in the file: it is read, or refused with one line."""

    @given(st.text(alphabet='0123456789.,-e\n"#txapgo_ \rni\x00', max_size=80))
    @settings(max_examples=150)
    def test_text(self, shared: Path, text: str) -> None:
        said, found = "", None
        try:
            found = recording(load(shared, log="t,ax,p,go\n" + text))
        except InputError as error:
            said = str(error)
        if found is None:
            assert "log.csv" in said
            assert "\n" not in said
        else:
            assert found.ticks[0] == 0
            assert not np.isinf(found.values).any()

    @given(
        st.lists(st.integers(0, 400), min_size=1, max_size=30),
        st.integers(-(10**9), 10**9),
    )
    @settings(max_examples=40)
    def test_ticks(self, shared: Path, steps: list[int], start: int) -> None:
        """Against whole tenths of a millisecond: a tick has a hundred of them."""
        times = [start + sum(steps[:n]) for n in range(len(steps))]
        rows = "".join(f"{Decimal(t) / 10},{n},1000,0\n" for n, t in enumerate(times))
        scenario = load(shared, log="t,ax,p,go\n" + rows)
        found, accel = recording(scenario), scenario.places.sensors["watch.accel"]
        latest = {-(-(t - start) // 100): n for n, t in enumerate(times)}
        assert found.ticks.tolist() == list(latest)
        np.testing.assert_allclose(
            found.values[:, accel], [(0.5 - 2.0 * n) * 9.80665 for n in latest.values()], rtol=1e-14
        )
