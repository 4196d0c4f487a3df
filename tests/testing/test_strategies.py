"""`sequencer.testing`: strategies draw only what is valid, and shrink to what is small."""

from __future__ import annotations

import shutil
import subprocess
import sys

import pytest
from alike import assert_same
from hypothesis import Phase, find, given, settings
from hypothesis import strategies as st

import sequencer
from sequencer.errors import InputError, UsageError
from sequencer.execute import ReferenceExecutor
from sequencer.scenario.computer_faults import COMPUTER_FAULTS
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import load_sequence
from sequencer.testing import Rehearsal, crew, faults, fly_with, input_streams, links, run, weather
from sequencer.world.faults import FAULTS

DEMO = demo_folder()
CALM = Rehearsal(DEMO / "calm_landing.scenario.toml")
FLIGHT = load_sequence(DEMO / "flight.sequence.toml")
OPEN = {"name": "open", "kind": "igniter_open", "place": "igniter_A1", "at_s": 0.0}

#: `find` must not take what an earlier run has found
alone = settings(
    database=None,
    derandomize=True,
    deadline=None,
    max_examples=1000,
    phases=(Phase.generate, Phase.shrink),
)


def smallest(strategy, condition=lambda _: True):
    return find(strategy, condition, settings=alone)


@settings(max_examples=10)
@given(
    st.lists(faults(CALM), min_size=4, max_size=8),
    st.lists(crew(CALM), max_size=3),
    weather(),
    links(),
    st.integers(0, 2**63 - 1),
)
def test_whatever_is_drawn_is_a_scenario(planned, actions, air, link, seed):
    scenario = CALM.planned(faults=planned, crew=actions, weather=air, link=link, seed=seed)
    assert [fault.kind for fault in scenario.faults] == [fault["kind"] for fault in planned]
    assert len({fault.name for fault in scenario.faults}) == len(planned)
    assert len(scenario.crew) == len(CALM.scenario.crew) + len(actions)
    assert float(scenario.link.delay) == link["delay_s"]
    assert int(scenario.params["seed"]) == seed


def test_every_kind_of_fault_can_be_drawn_for_the_demo():
    kinds = [*FAULTS, *COMPUTER_FAULTS]
    drawn = [smallest(faults(CALM, kinds=[kind])) for kind in kinds]
    assert [fault["kind"] for fault in drawn] == kinds
    for first in range(0, len(drawn), 8):
        CALM.planned(faults=drawn[first : first + 8])


def test_faults_shrink_to_the_first_that_matters():
    assert smallest(faults(CALM)) == {**OPEN, "name": "igniter_open of igniter_A1"}

    def late(fault):
        return fault["kind"] == "igniter_late" and fault["size"] > 0.5

    assert smallest(faults(CALM, kinds=["igniter_open", "igniter_late"]), late) == {
        "name": "igniter_late of igniter_A1",
        "kind": "igniter_late",
        "place": "igniter_A1",
        "size": 0.51,
        "at_s": 0.0,
    }
    assert smallest(faults(CALM, kinds=["sensor_nan"]), lambda each: "while_in" in each) == {
        "name": "sensor_nan of pad.wind",
        "kind": "sensor_nan",
        "place": "pad.wind",
        "state": "pad.safe",
        "while_in": True,
    }


def test_weather_crew_and_links_shrink_to_nothing_unusual():
    assert smallest(weather()) == {}
    assert smallest(weather(), lambda air: "wind" in air) == {
        "wind": {"law": "constant", "speed_m_s": 0.1, "from_deg": 0.0}
    }
    assert smallest(links()) == {"delay_s": 0.0, "loses": 0.0, "repeats": 0.0}
    first = next(iter(CALM.scenario.places.switches))
    assert smallest(crew(CALM)) == {"switch": first, "on": False, "at_s": 0.0}


@settings(max_examples=60)
@given(faults(CALM, kinds=["sensor_bias", "reboot"], places=["flight.baro", "pad"]))
def test_faults_keep_to_the_kinds_and_places_that_are_asked_for(drawn):
    assert (drawn["kind"], drawn["place"]) in {("sensor_bias", "flight.baro"), ("reboot", "pad")}


def test_kinds_and_places_that_are_none_are_told():
    with pytest.raises(UsageError, match=r"'igniter_opn' here; did you mean 'igniter_open'\?"):
        faults(CALM, kinds=["igniter_opn"])
    with pytest.raises(UsageError, match=r"did you mean 'flight\.baro'\?"):
        faults(CALM, places=["flight.bara"])
    with pytest.raises(UsageError, match="none of these kinds of fault hits any of these places"):
        faults(CALM, kinds=["igniter_open"], places=["flight.baro"])
    with pytest.raises(UsageError, match="takes its inputs from a log"):
        faults(Rehearsal(DEMO / "replay_calm.scenario.toml"))


def test_a_flight_is_that_of_the_file_which_says_the_same(tmp_path):
    folder = tmp_path / "demo"
    shutil.copytree(DEMO, folder)
    late = {"name": "late", "kind": "igniter_late", "place": "igniter_L1", "size": 0.2}
    changes = {
        "faults": [{**late, "state": "flight.relight"}, {**OPEN, "name": "late"}],
        "crew": [{"switch": "abort_button", "on": True, "event": "liftoff", "after_s": 0.5}],
        "weather": {
            "temperature_offset_k": -5.0,
            "wind": {"law": "power", "speed_m_s": 3.0, "from_deg": 90.0, "exponent": 0.2},
            "gusts": [{"start_s": 15.0, "length_s": 2.0, "speed_m_s": 2.0, "from_deg": 0.0}],
        },
        "link": {"delay_s": 0.02},
        "seed": 9,
    }
    record = fly_with(CALM, **changes)
    path = folder / "found.scenario.toml"
    path.write_text(CALM.as_toml(record.outcome, **changes), encoding="utf-8")
    loaded = sequencer.load(path)
    assert [each.name for each in loaded.scenario.faults] == ["late", "late 2"]
    assert loaded.scenario.link.parts_at_m == 0.1  # what is not named stays
    assert_same(loaded.fly(), record)
    assert loaded.scenario.expect.outcome == record.outcome


def test_with_nothing_changed_it_is_the_flight_itself():
    assert_same(sequencer.load(CALM.path).fly(), CALM.plain)
    assert CALM.seconds == CALM.plain.ticks / 100


def test_a_scenario_of_its_own_faults_keeps_them():
    late = Rehearsal(DEMO / "igniter_late.scenario.toml")
    planned = late.planned(faults=[OPEN])
    assert [fault.kind for fault in planned.faults] == ["igniter_late", "igniter_open"]
    assert planned.hashes["scenario"] != late.scenario.hashes["scenario"]
    assert late.planned() is late.scenario


def test_what_no_file_could_hold_is_refused_as_in_a_file():
    with pytest.raises(InputError, match=r"calm_landing\.scenario.*load 'igniter_A9'"):
        CALM.planned(faults=[{**OPEN, "place": "igniter_A9"}])
    with pytest.raises(InputError, match="speed_m_s"):
        CALM.planned(weather={"wind": {"speed_m_s": -1.0, "from_deg": 0.0}})


def test_an_example_that_failed_is_printed_as_a_file():
    @settings(alone, max_examples=1)
    @given(st.just(OPEN))
    def keeps_all(fault):
        assert CALM.fly(faults=[fault]).outcome == "landed"

    with pytest.raises(AssertionError) as caught:
        keeps_all()
    notes = "\n".join(caught.value.__notes__)
    assert '[scenario]\nextends = "calm_landing.scenario.toml"\n' in notes
    assert '[[faults]]\nname = "open"\nkind = "igniter_open"\nplace = "igniter_A1"\n' in notes
    assert notes.count("[expect]") == 1


@settings(max_examples=10)
@given(input_streams(FLIGHT))
def test_input_streams_are_what_executors_take(stream):
    steps = list(stream)
    assert len(steps) == len(stream)
    assert [step.clock for step in steps] == list(range(len(steps)))
    baro = list(FLIGHT.inputs).index("baro")  # 25 times a second of 100
    assert all(step.clock % 4 == 0 for step in steps if step.fresh[baro])
    assert repr(run(FLIGHT, stream)) == repr(run(FLIGHT, stream, ReferenceExecutor))


def test_input_streams_shrink_to_the_change_that_matters():
    def arms(stream):
        return any(outputs.state == "arming" for outputs in run(FLIGHT, stream))

    assert repr(smallest(input_streams(FLIGHT))) == "<flight: to tick 1>"
    found = smallest(input_streams(FLIGHT, changes=4, seconds=0.5), arms)
    assert repr(found) == "<flight: tick 1 arm_key = 1; to tick 11>"  # held for 0.1 s


@settings(max_examples=30)
@given(input_streams(FLIGHT, bad=False))
def test_inputs_can_be_kept_good(stream):
    assert "nan" not in repr(stream)
    assert "silent" not in repr(stream)


def test_inputs_reach_the_limits_of_their_unit():
    battery = FLIGHT.limits["battery_least"].value
    found = smallest(
        input_streams(FLIGHT),
        lambda stream: any(
            name == "battery" and reading == battery for _, name, reading in stream.changes
        ),
    )
    assert repr(found) == "<flight: tick 1 battery = 7.2; to tick 2>"


def test_without_hypothesis_one_line_says_what_to_install():
    script = (
        "import sys\n"
        "sys.modules['hypothesis'] = None\n"
        "try:\n"
        "    import sequencer.testing\n"
        "except ImportError as error:\n"
        "    print(error)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False
    )
    assert (done.stdout, done.stderr) == (
        "sequencer.testing needs hypothesis: pip install 'drycount[testing]'\n",
        "",
    )
