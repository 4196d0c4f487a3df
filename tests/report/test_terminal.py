from __future__ import annotations

import pytest

from sequencer.flight.result import Shortfall
from sequencer.record import Verdict
from sequencer.report.terminal import print_report


def test_what_fell_short_comes_first_with_first_wrong_event_time_and_margin(
    nominal, short, failed, page
):
    out, text = page()
    print_report([nominal, short, failed], out)
    lines = text().splitlines()
    assert lines[0] == "1 of 3 flights fell short; 1 of 3 could not be flown"
    body = text()
    assert body.index("one_open") < body.index("ok     calm")
    assert "    first wrong  9.03 s  blocked flight.landing_1 (key_out)" in lines
    assert ("    margin       -3.10 m/s  soft_touchdown (broken, 11.98 s to 12.03 s)") in lines
    assert "    required     the legs fold above it" in lines
    assert "  and 1 more; -v shows them all" in lines
    # why it was not flown is told on standard error
    assert "no such file" not in body


def test_one_line_for_each_flight_then_the_total_and_the_hashes(nominal, short, failed, page):
    out, text = page()
    print_report([nominal, short, failed], out)
    lines = text().splitlines()
    assert lines[-6:] == [
        "ok     calm      landed     +0.424 m/s  soft_touchdown",
        "SHORT  one_open  crashed     -3.10 m/s  soft_touchdown (broken)",
        "ERROR  gone      not flown           -",
        "",
        "3 flights: 1 as expected, 1 fell short, 1 could not be flown",
        "about: flight.sequence aabbccdd; vehicle 12345678",
    ]


def test_when_all_is_well_the_report_is_the_table_and_the_total(nominal, page):
    out, text = page()
    print_report([nominal], out)
    assert text().splitlines() == [
        "ok     calm  landed  +0.424 m/s  soft_touchdown",
        "",
        "1 flight: 1 as expected",
        "about: flight.sequence aabbccdd; vehicle 12345678",
    ]


def test_a_requirement_that_must_break_is_told_from_one_that_broke(make_result, short, page):
    out, text = page()
    print_report([make_result("meant", short.record.verdicts)], out)
    assert text().startswith("ok     meant  landed  -3.10 m/s  soft_touchdown (must break)\n")


def test_what_broke_on_one_tick_is_told_with_one_time(make_result, page):
    hard = Verdict("soft", "broken", -3.1, "m/s", 1198, 1198, "4.1 m/s")
    out, text = page()
    print_report([make_result("a", [hard], shortfalls=(Shortfall("'soft' is broken", hard),))], out)
    assert "    margin       -3.10 m/s  soft (broken, 11.98 s)\n" in text()


def test_everything_on_request(short, page):
    out, text = page()
    print_report([short], out, everything=True)
    assert "must never come" in text()
    assert "-v shows them all" not in text()


@pytest.mark.parametrize("width", [60, 80, 120])
def test_a_terminal_of_any_width_gets_no_longer_lines_and_loses_no_word(
    width, nominal, short, failed, make_result, page
):
    long = make_result("a_flight_whose_name_is_long_because_it_says_all", nominal.record.verdicts)
    out, text = page(width)
    print_report([nominal, short, failed, long], out)
    assert max(len(line) for line in text().splitlines()) <= width
    assert long.name in text()
    assert text().count("soft_touchdown") >= 4
    assert "…" not in text()


def test_a_pipe_keeps_one_flight_on_one_line_however_long(make_result, nominal, page):
    long = make_result("n" * 150, nominal.record.verdicts)
    out, text = page()
    print_report([long], out)
    assert text().splitlines()[0].endswith("+0.424 m/s  soft_touchdown")


def test_colour_adds_nothing_that_words_do_not_say(short, page):
    plain_out, plain = page(80)
    print_report([short], plain_out)
    colour_out, colour = page(80, color_system="standard")
    print_report([short], colour_out)
    assert "\x1b[" in colour()
    assert "\x1b[" not in plain()
    assert "SHORT" in plain()


def test_names_that_look_like_markup_are_shown_as_they_are(make_result, page):
    out, text = page(80)
    print_report([make_result("[bold]:rocket:[/]")], out)
    assert "[bold]:rocket:[/]" in text()


def test_the_report_is_ascii_so_that_any_terminal_can_show_it(nominal, short, failed, page):
    out, text = page(80)
    print_report([nominal, short, failed], out)
    assert text().isascii()
