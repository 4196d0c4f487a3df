"""`drycount baseline`: files, screens and statuses. What flying gives is put in by hand here."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

import sequencer.flight
from sequencer.cli.main import main
from sequencer.flight.result import Result, Shortfall
from sequencer.record import Event, FlightRecord, Verdict

SOFT = Verdict("lands softly", "met", 1.758, "m/s", 900, 900, "")
EVENTS = (
    Event(0, "entered", "flight.safe"),
    Event(100, "liftoff"),
    Event(300, "apogee"),
    Event(900, "touchdown"),
    Event(1000, "ended", "flight", "over"),
)
ALIKE = (
    "  moved     {number} events come {ms} ms later, from 'liftoff' ({was} s instead of 1.00 s) "
    "to 'ended flight' ({last} s)"
)
NAMES = ("calm", "gusty", "late")


def record(name, events=EVENTS, verdict=SOFT, outcome="landed", digest="0123456789abcdef"):
    hashes = {"vehicle": digest}
    return FlightRecord(name, 100, 1000, tuple(events), {}, outcome, {}, hashes, (verdict,))


def later(ticks, after=100, events=EVENTS):
    return [
        replace(each, tick=each.tick + ticks if each.tick >= after else each.tick)
        for each in events
    ]


@pytest.fixture
def today(monkeypatch, tmp_path):
    """A folder of three scenarios, and what each of them does when it is flown."""
    folder = tmp_path / "mine"
    folder.mkdir()
    flights = {}
    for name in NAMES:
        (folder / f"{name}.scenario.toml").touch()
        flights[name] = record(name)
    asked = []

    def fly_many(files, **options):
        results = []
        for path in files:
            name = path.name.partition(".")[0]
            flown = flights[name]
            asked.append(name)
            if isinstance(flown, Result):
                flown = replace(flown, path=path)
            else:
                flown = Result(name, path, "", flown)
            options["progress"](flown)
            results.append(flown)
        return results

    monkeypatch.setattr(sequencer.flight, "fly_many", fly_many)
    monkeypatch.chdir(tmp_path)
    flights["asked"] = asked
    return flights


@pytest.fixture
def kept(today, capsys):
    """The same, with timelines of all three."""
    assert main(["baseline", "record", "mine"]) == 0
    capsys.readouterr()
    today["asked"].clear()
    return today


def text(name):
    return Path(f"mine/timelines/{name}.timeline").read_text(encoding="utf-8")


@pytest.mark.usefixtures("today")
def test_record_keeps_a_timeline_beside_each_scenario(capsys):
    assert main(["baseline", "record", "mine", "-k", "calm"]) == 0
    assert capsys.readouterr().out == (
        "recorded  mine/timelines/calm.timeline\n\ntimelines: 1 recorded\n"
    )
    assert text("calm").splitlines()[:3] == ["drycount timeline 1", "scenario calm", "rate_hz 100"]
    assert "     9.000  touchdown\n" in text("calm")
    assert "met            +1.758 m/s     lands softly\n" in text("calm")


def test_record_touches_nothing_that_is_there(kept, capsys):
    before = text("calm")
    kept["calm"] = record("calm", later(4))
    assert main(["baseline", "record", "mine"]) == 0
    assert capsys.readouterr().out == "timelines: 0 recorded, 3 there already, not touched\n"
    assert text("calm") == before
    assert kept["asked"] == []  # nothing was flown for it


def test_record_keeps_nothing_of_a_flight_that_falls_short(today, capsys):
    today["gusty"] = Result("gusty", None, "", record("gusty"), (Shortfall("outcome"),))
    assert main(["baseline", "record", "mine"]) == 1
    out = capsys.readouterr().out
    assert "SHORT     gusty falls short of what its scenario expects" in out
    assert out.endswith("timelines: 2 recorded, 1 fell short\n")
    with pytest.raises(FileNotFoundError):
        text("gusty")


@pytest.mark.usefixtures("kept")
def test_nothing_moved_is_status_0(capsys):
    assert main(["baseline", "compare", "mine"]) == 0
    assert capsys.readouterr().out == "3 flights: 3 as recorded\n"


def test_what_moved_is_told_and_is_status_1(kept, capsys):
    crash = replace(SOFT, status="broken", margin=-3.1)
    events = later(4)
    kept["gusty"] = record("gusty", events[:3] + events[4:], crash, "crashed", "77")
    kept["late"] = record("late", later(5), digest="77")
    kept["calm"] = record("calm", later(1), digest="77")
    assert main(["baseline", "compare", "mine"]) == 1
    assert capsys.readouterr().out.splitlines() == [
        "2 of 3 flights moved",
        "",
        "gusty",
        "  timeline  mine/timelines/gusty.timeline",
        "  changed   vehicle",
        "  first     'liftoff' comes 40 ms later, at 1.04 s instead of 1.00 s",
        "  moved     the outcome is 'crashed', it was 'landed'",
        "  moved     'lands softly' is broken (-3.1 m/s); it was met (+1.76 m/s)",
        "  moved     'touchdown' does not come; it came at 9.00 s",
        ALIKE.format(number=3, ms=40, was="1.04", last="10.04"),
        "",
        "late",
        "  timeline  mine/timelines/late.timeline",
        "  changed   vehicle",
        ALIKE.format(number=4, ms=50, was="1.05", last="10.05"),
        "",
        "vehicle changed, and nothing moved: calm",
        "",
        "3 flights: 1 as recorded, 2 moved; 4 times and margins moved within the tolerance",
    ]


def test_every_event_by_itself_with_v(kept, capsys):
    kept["late"] = record("late", later(5))
    assert main(["baseline", "compare", "mine/late.scenario.toml", "-v"]) == 1
    out = capsys.readouterr().out
    assert "  moved     'apogee' comes 50 ms later, at 3.05 s instead of 3.00 s\n" in out
    assert out.count("  moved ") == 4


def test_scenarios_and_timelines_that_have_no_other(kept, tmp_path, capsys):
    (tmp_path / "mine/late.scenario.toml").rename(tmp_path / "mine/later.scenario.toml")
    kept["later"] = record("later")
    assert main(["baseline", "compare", "mine"]) == 1
    assert capsys.readouterr().out.splitlines() == [
        "timeline without a scenario: mine/timelines/late.timeline",
        "no timeline: later",
        "",
        "2 flights: 2 as recorded, 1 timeline without a scenario, 1 without a timeline",
    ]
    (tmp_path / "mine/timelines/late.timeline").unlink()
    assert main(["baseline", "compare", "mine"]) == 0
    assert main(["baseline", "compare", "mine", "--every"]) == 1


def test_a_folder_in_which_no_timeline_has_a_scenario(kept, tmp_path, capsys):
    for name in NAMES:
        (tmp_path / f"mine/{name}.scenario.toml").unlink()
    (tmp_path / "mine/new.scenario.toml").touch()
    kept["new"] = record("new")
    assert main(["baseline", "compare", "mine"]) == 1
    assert capsys.readouterr().out.splitlines()[-1] == (
        "0 flights: 0 as recorded, 3 timelines without a scenario, 1 without a timeline"
    )


def test_tolerances(kept, tmp_path):
    kept["late"] = record("late", later(5), replace(SOFT, margin=1.7))
    compare = ["baseline", "compare", "mine/late.scenario.toml"]
    assert main(compare) == 1
    assert main([*compare, "--tolerance", "0.05"]) == 1  # the margin
    assert main([*compare, "--tolerance", "0.05", "--margin-tolerance", "0.05"]) == 0
    path = tmp_path / "mine/timelines/late.timeline"
    path.write_text(text("late").replace("_s 0.01", "_s 0.05").replace("gin 0.01", "gin 0.04"))
    assert main(compare) == 0
    assert main([*compare, "--tolerance", "0.01"]) == 1


def test_a_flight_states_its_tolerance(kept):
    """What executed it is known once it has been opened, and only for that flight."""
    kept["late"] = record("late", later(5))
    assert main(["baseline", "compare", "mine/late.scenario.toml"]) == 1
    kept["late"] = replace(record("late", later(5)), tolerance_s=0.05)
    assert main(["baseline", "compare", "mine/late.scenario.toml"]) == 0
    kept["gusty"] = record("gusty", later(5))
    assert main(["baseline", "compare", "mine"]) == 1


def test_json(kept, capsys):
    kept["late"] = record("late", later(5, after=900), outcome="crashed")
    assert main(["baseline", "compare", "mine", "--json", "-"]) == 1
    captured = capsys.readouterr()
    found = json.loads(captured.out)
    assert found["total"] == {
        "flights": 3,
        "moved": 1,
        "not_flown": 0,
        "without_timeline": 0,
        "without_scenario": 0,
    }
    late = found["flights"][2]
    assert (late["scenario"], late["tolerance_s"], late["moved"]) == ("late", 0.01, True)
    assert late["changes"][0]["kind"] == "outcome"
    assert late["changes"][1] == {
        "kind": "event_moved",
        "name": "touchdown",
        "sentence": "'touchdown' comes 50 ms later, at 9.05 s instead of 9.00 s",
        "was_s": 9.0,
        "now_s": 9.05,
    }
    assert "1 of 3 flights moved" in captured.err


def test_accept_takes_over_what_moved(kept, capsys):
    kept["late"] = record("late", later(5))
    assert main(["baseline", "accept", "mine/late.scenario.toml"]) == 0
    assert capsys.readouterr().out == "accepted  late: 4 changes\n"
    assert "     9.050  touchdown\n" in text("late")
    assert main(["baseline", "compare", "mine"]) == 0


def test_accept_one_change(kept, capsys):
    kept["late"] = record("late", later(5), digest="77")
    accept = ["baseline", "accept", "mine/late.scenario.toml"]
    assert main([*accept, "--only", "touchdown", "--only", "ended flight"]) == 0
    assert capsys.readouterr().out == "accepted  late: 2 changes, 2 left\n"
    assert "     9.050  touchdown\n" in text("late")
    assert "     3.000  apogee\n" in text("late")
    assert "about vehicle 0123" in text("late")
    assert main([*accept, "--only", "liftof"]) == 2
    assert capsys.readouterr().err == (
        "drycount: nothing called 'liftof' moved; did you mean 'liftoff'?\n"
    )


def test_accept_in_a_folder_is_never_by_accident(kept, capsys):
    kept["late"], kept["calm"] = record("late", later(5)), record("calm", later(5, 1000))
    before = [text(name) for name in NAMES]
    assert main(["baseline", "accept", "mine"]) == 2
    assert capsys.readouterr().err == (
        "drycount: accept: scenarios are named one by one, or --all is given; "
        "it would accept: late (4 changes), calm (1 change)\n"
    )
    assert [text(name) for name in NAMES] == before
    assert main(["baseline", "accept", "mine", "--all"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "accepted  calm: 1 change",
        "as it was gusty: nothing moved",
        "accepted  late: 4 changes",
    ]
    assert main(["baseline", "compare", "mine"]) == 0


def test_accept_when_nothing_moved_keeps_what_it_is_about(kept, capsys):
    kept["calm"] = record("calm", later(1), digest="77")
    assert main(["baseline", "accept", "mine/calm.scenario.toml"]) == 0
    assert capsys.readouterr().out == "accepted  calm: nothing moved; the new vehicle\n"
    assert "about vehicle 77\n" in text("calm")
    assert "     1.000  liftoff\n" in text("calm")


def test_compare_says_which_flights_fall_short(kept, capsys):
    kept["calm"] = Result("calm", None, "", record("calm", later(5)), (Shortfall("outcome"),))
    assert main(["baseline", "compare", "mine"]) == 1
    assert "\nshort of what the scenario expects: calm\n" in capsys.readouterr().out


def test_accept_takes_nothing_of_a_flight_that_falls_short(kept, capsys):
    before = text("calm")
    flown = record("calm", later(5))
    kept["calm"] = Result("calm", None, "", flown, (Shortfall("outcome"),))
    assert main(["baseline", "accept", "mine/calm.scenario.toml"]) == 1
    assert "SHORT     calm falls short of what its scenario expects" in capsys.readouterr().out
    assert text("calm") == before


def test_what_cannot_be_flown_is_status_2(kept, capsys):
    kept["calm"] = Result("calm", None, "", None, error="calm.scenario.toml:3: unknown key 'x'")
    assert main(["baseline", "compare", "mine"]) == 2
    captured = capsys.readouterr()
    assert captured.err == "drycount: calm.scenario.toml:3: unknown key 'x'\n"
    assert captured.out == "3 flights: 2 as recorded, 1 could not be flown\n"


@pytest.mark.usefixtures("today")
def test_another_place(tmp_path, capsys):
    assert main(["baseline", "record", "mine", "--in", "golden"]) == 0
    assert sorted(each.name for each in (tmp_path / "golden").iterdir()) == [
        f"{name}.timeline" for name in NAMES
    ]
    assert main(["baseline", "compare", "mine", "--in", "golden"]) == 0
    (tmp_path / "mine/late.scenario.toml").unlink()
    capsys.readouterr()
    assert main(["baseline", "compare", "mine", "--in", "golden"]) == 1
    assert "timeline without a scenario: golden/late.timeline\n" in capsys.readouterr().out
    (tmp_path / "other").mkdir()
    (tmp_path / "other/calm.scenario.toml").touch()
    assert main(["baseline", "compare", "mine", "other", "--in", "golden"]) == 2
    assert capsys.readouterr().err == (
        "drycount: golden/calm.timeline: mine/calm.scenario.toml and other/calm.scenario.toml "
        "would share it\n"
    )


@pytest.mark.usefixtures("today")
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["baseline"], "drycount: baseline: missing command"),
        (["baseline", "compare"], "baseline compare: missing argument 'PATH...'"),
        (["baseline", "compare", "mine"], "none of 3 scenarios has a timeline in mine/timelines;"),
        (["baseline", "compare", "mine", "-k", "calm"], "the scenario has no timeline in mine/"),
        (["baseline", "accept", "mine/calm.scenario.toml"], "the scenario has no timeline in"),
        (["baseline", "compare", "mine", "--tolerance", "-1"], "is not a number from 0 to 3600"),
        (["baseline", "compare", "mine", "--margin-tolerance", "2"], "not a number from 0 to 1"),
        (["baseline", "compare", "mine", "--on", "modle"], "did you mean 'model'?"),
        (["baseline", "compare", "mine", "--json", "no/such"], "there is no folder"),
        (["baseline", "comapre", "mine"], "no command 'comapre'; did you mean 'compare'?"),
        (["baseline", "compare", "nine"], "no such file or folder"),
    ],
)
def test_bad_usage_is_one_line(arguments, said, capsys):
    assert main(arguments) == 2
    captured = capsys.readouterr()
    assert said in captured.err
    assert captured.err.count("\n") == 1


def test_a_broken_timeline_is_one_line_before_anything_is_flown(kept, tmp_path, capsys):
    path = tmp_path / "mine/timelines/late.timeline"
    path.write_text(text("late").replace("9.000", "9.00x"))
    assert main(["baseline", "compare", "mine"]) == 2
    assert capsys.readouterr().err == (
        "drycount: mine/timelines/late.timeline:12: must be a time in s, two blanks and an event: "
        "'9.00x touchdown'\n"
    )
    assert kept["asked"] == []


@pytest.mark.usefixtures("kept")
def test_a_renamed_timeline_is_refused(tmp_path, capsys):
    (tmp_path / "mine/timelines/late.timeline").replace(tmp_path / "mine/timelines/calm.timeline")
    assert main(["baseline", "compare", "mine"]) == 2
    assert "calm.timeline: is the timeline of 'late', not of 'calm'" in capsys.readouterr().err


@pytest.mark.usefixtures("today")
def test_a_folder_that_cannot_be_written_is_one_line(tmp_path, capsys):
    (tmp_path / "golden").touch()
    assert main(["baseline", "record", "mine", "--in", "golden"]) == 2
    assert "golden/calm.timeline: cannot be written" in capsys.readouterr().err


@pytest.mark.parametrize("width", [80, 120])
def test_no_line_is_longer_than_the_terminal(kept, width, monkeypatch, capsys):
    import sequencer.report.terminal as page

    monkeypatch.setattr(page._Console, "is_terminal", True)
    monkeypatch.setenv("COLUMNS", str(width))
    monkeypatch.setenv("NO_COLOR", "1")
    kept["late"] = record("late", later(5), replace(SOFT, status="broken", margin=-1.0))
    assert main(["baseline", "compare", "mine", "-v"]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= width
