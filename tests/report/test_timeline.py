from __future__ import annotations

import pytest

from sequencer.record import Verdict
from sequencer.report.timeline import print_timeline, rows


def test_events_faults_and_broken_requirements_in_order_of_time(short):
    found = rows(short.record)
    assert [row.tick for row in found] == sorted(row.tick for row in found)
    assert [(row.tick, row.column) for row in found if row.column == ""] == [(900, ""), (1198, "")]
    fault, broken = (row.text for row in found if row.column == "")
    assert fault == "! fault begun: open_igniter (igniter open)"
    assert broken.startswith("> soft_touchdown is broken from here: -3.10 m/s")


def test_every_computer_has_a_column_and_the_rest_belongs_to_the_world(nominal):
    found = {row.text: row.column for row in rows(nominal.record)}
    assert found["entered ignition (everyone is clear)"] == "pad"
    assert found["set lifted"] == "flight"
    assert found["liftoff"] == "world"
    # the flight that is over is not the computer of that name
    assert found["ended flight (over)"] == "world"


def test_the_page(nominal, page):
    out, text = page(80)
    print_timeline(nominal, out)
    lines = text().splitlines()
    assert lines[0] == "calm: landed after 12.34 s"
    assert lines[1].split() == ["time", "world", "pad", "flight"]
    # events of one tick share one time
    assert lines[2].split() == ["0.00", "s", "entered", "safe"]
    assert lines[3].split() == ["entered", "safe"]
    assert "not exercised           -  chute_in_time: no parachute was fired" in lines
    assert "met            +0.424 m/s  soft_touchdown: 0.58 m/s of 1 m/s allowed" in lines


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_is_longer_than_the_terminal(width, short, page):
    out, text = page(width)
    print_timeline(short, out)
    assert max(len(line) for line in text().splitlines()) <= width


def test_a_number_is_not_parted_from_its_unit(make_result, page):
    verdict = Verdict("r", "met", 1.0, "s", 5, 5, "it came at 12.20 s, with 5 s to spare " * 4)
    out, text = page(61)
    print_timeline(make_result("calm", [verdict]), out)
    assert len(text().splitlines()) > 10
    assert not [line for line in text().splitlines() if line.strip().startswith(("s ", "s,"))]
    assert "\xa0" not in text()


def test_a_scenario_that_was_not_flown_has_no_timeline(failed, page):
    out, text = page(80)
    print_timeline(failed, out)
    assert text() == ""


def test_broken_requirements_come_first_and_those_not_exercised_last(make_result, page):
    verdicts = [
        Verdict("idle", "not exercised", None, "s", None, None, "never came"),
        Verdict("kept", "met", 1.0, "s", 5, 5, "came"),
        Verdict("open", "not decided", None, "s", None, None, "ended before"),
        Verdict("late", "broken", -1.0, "s", 5, 5, "came too late"),
        Verdict("kept too", "met", 2.0, "s", 5, 5, "came"),
    ]
    out, text = page(80)
    print_timeline(make_result("calm", verdicts), out)
    listed = [line.split("  ")[-1].split(":")[0] for line in text().splitlines()]
    assert [word for word in listed if word in {verdict.requirement for verdict in verdicts}] == [
        "late",
        "open",
        "kept",
        "kept too",
        "idle",
    ]
