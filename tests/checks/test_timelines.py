"""Golden timelines as text: one fact on a line, read back as it was, refused in one line."""

from __future__ import annotations

import math
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.checks.timeline_text import read_timeline, timeline_text
from sequencer.checks.timelines import MANY, Tolerance, timeline_of
from sequencer.errors import InputError
from sequencer.record import Event, FlightRecord, Verdict

TEXT = """\
drycount timeline 1
scenario calm
rate_hz 100
tolerance_s 0.01
tolerance_margin 0.01
about sequence flight 0123456789abcdef
about vehicle a40e1e0e
outcome landed

     0.000  moved flight.fins  stowed
     1.250  took flight.over the top
    12.650  liftoff
    13.000  late flight  13 times until 14.200
    13.500  blocked flight.landing_1  chute_out

met            +8.358 N       full thrust at release
met            +2             stages part once
met            never near     no motor lights unasked
broken         never came     first landing motor lights
broken         -0.1235 m/s    lands softly
not exercised  -              abort brings the parachute
"""


def verdict(name, status, margin, unit):
    return Verdict(name, status, margin, unit, None, None, "")


def flown(events=(), verdicts=(), rate_hz=100, **more):
    keys = {"scenario": "calm", "ticks": 5000, "signals": {}, "outcome": "landed"}
    return FlightRecord(
        rate_hz=rate_hz, events=tuple(events), verdicts=tuple(verdicts), **{**keys, **more}
    )


def test_the_text_of_a_flight():
    late = [Event(1300 + 10 * i, "late", "flight", "tick skipped") for i in range(MANY)]
    events = [
        Event(0, "moved", "flight.fins", "stowed"),
        Event(125, "took", "flight.over the top"),
        Event(1265, "liftoff", "", "a remark for people"),
        *late,
        Event(1350, "blocked", "flight.landing_1", "chute_out"),
        Event(1420, "late", "flight"),
    ]
    verdicts = [
        verdict("full thrust at release", "met", 8.358427144810328, "N"),
        verdict("stages part once", "met", 2.0, "1"),
        verdict("no motor lights unasked", "met", math.inf, "bool"),
        verdict("first landing motor lights", "broken", -math.inf, "s"),
        verdict("lands softly", "broken", -0.12345678, "m/s"),
        verdict("abort brings the parachute", "not exercised", None, "s"),
    ]
    hashes = {"vehicle": "a40e1e0e", "sequence flight": "0123456789abcdef" + 48 * "0"}
    events.sort(key=lambda event: event.tick)
    assert timeline_text(timeline_of(flown(events, verdicts, hashes=hashes))) == TEXT


def written(tmp_path, text):
    path = tmp_path / "calm.timeline"
    path.write_text(text, encoding="utf-8")
    return path


def test_reading_gives_the_same_text(tmp_path):
    assert timeline_text(read_timeline(written(tmp_path, TEXT))) == TEXT


names = st.text(string.ascii_letters + "é (),.'+-0123456789", min_size=1, max_size=12)
labels = st.tuples(st.sampled_from(["took", "moved", "late", "x"]), names.map(str.strip))
margins = st.one_of(
    st.none(), st.floats(allow_nan=False, width=32), st.floats(-10, 10), st.integers(-3, 3)
)
statuses = st.sampled_from(["met", "broken", "not exercised", "not decided"])


@given(
    st.lists(st.tuples(st.integers(0, 90_000), labels), max_size=20),
    st.lists(
        st.tuples(names.filter(str.strip), statuses, margins, st.sampled_from(["m/s", "1", ""])),
        max_size=5,
        unique_by=lambda each: " ".join(each[0].split()),
    ),
    st.sampled_from([1, 30, 100, 300, 999, 1000, 3000]),
)
def test_whatever_is_written_is_read_back(tmp_path_factory, events, verdicts, rate_hz):
    made = [Event(tick, kind, name, "to  there") for tick, (kind, name) in sorted(events)]
    kept = timeline_of(flown(made, [verdict(*each) for each in verdicts], rate_hz))
    path = tmp_path_factory.getbasetemp() / "any.timeline"
    path.write_text(timeline_text(kept), encoding="utf-8")
    read = read_timeline(path)
    assert read.moments == kept.moments
    assert [(each.requirement, each.status, each.margin) for each in read.standings] == [
        (each.requirement, each.status, each.margin) for each in kept.standings
    ]
    assert timeline_text(read) == timeline_text(kept)


def test_platforms_that_differ_in_the_last_bits_write_the_same():
    """A margin near zero and one near a rounding edge of a long number."""
    one = flown(verdicts=[verdict("a", "met", 3e-17, "m"), verdict("b", "met", 1 / 3, "m")])
    other = flown(
        verdicts=[verdict("a", "met", -2e-16, "m"), verdict("b", "met", 1 / 3 + 1e-13, "m")]
    )
    assert timeline_text(timeline_of(one)) == timeline_text(timeline_of(other))


def test_a_tolerance_is_one_tick_unless_it_is_said():
    assert timeline_of(flown(rate_hz=400)).tolerance == Tolerance(0.0025, 0.01)
    assert "tolerance_s 0.2\n" in timeline_text(timeline_of(flown(), Tolerance(0.2)))


# (text to replace, its replacement, line, words of the message)
BROKEN = [
    ("drycount timeline 1", "drycount timeline 2", 1, "of format 2, this drycount reads format 1"),
    ("drycount timeline 1", "[scenario]", 1, "its first line must be 'drycount timeline 1'"),
    ("rate_hz 100", "rate_hz 99.5", 3, "'rate_hz' must be a whole number above 0, not '99.5'"),
    ("rate_hz 100\n", "", 9, "'rate_hz' must stand above the events"),
    ("outcome landed\n", "", None, "'outcome' is missing"),
    ("outcome landed", "outcome", 8, "'outcome' has no value"),
    ("outcome landed", "outcme landed", 8, "did you mean 'outcome'?"),
    ("outcome landed", "outcome landed\noutcome crashed", 9, "'outcome' stands here twice"),
    ("about vehicle a40e1e0e", "about vehicle", 7, "'about' needs a name and a hash"),
    ("about vehicle a", "about sequence flight a", 7, "'about sequence flight' stands here twice"),
    ("tolerance_s 0.01", "tolerance_s -1", 4, "must be a number from 0 on, not '-1'"),
    ("tolerance_s 0.01", "tolerance_s nan", 4, "must be a number from 0 on, not 'nan'"),
    ("12.650  liftoff", "12.655  liftoff", 12, "12.655 s is no whole number of ticks at 100 Hz"),
    ("12.650  liftoff", "12,650  liftoff", 12, "must be a time in s, two blanks and an event"),
    ("12.650  liftoff", "0.650  liftoff", 12, "'liftoff' comes earlier than the event above it"),
    ("13 times until 14.200", "13 times until 9.200", 13, "comes before the first"),
    ("13 times until 14.200", "1 times until 14.200", 13, "must come at least 2 times, not 1"),
    ("+8.358 N", "8.358", 16, "margin of 'full thrust at release' is none of '+NUMBER UNIT'"),
    ("met            +2 ", "mett           +2 ", 17, "did you mean 'met'?"),
    (
        "met            +2             stages part once",
        "met +2",
        17,
        "must be a verdict, a margin and a name",
    ),
    ("no motor lights unasked", "stages part once", 18, "stands here twice"),
]


@pytest.mark.parametrize(("old", "new", "line", "said"), BROKEN)
def test_a_broken_file_is_told_in_one_line(old, new, line, said, tmp_path):
    assert old in TEXT
    path = written(tmp_path, TEXT.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        read_timeline(path)
    message = str(caught.value)
    place = f"{path}: " if line is None else f"{path}:{line}: "
    assert message.startswith(place)
    assert said in message
    assert "\n" not in message


def test_what_is_no_text_is_told_in_one_line(tmp_path):
    path = tmp_path / "calm.timeline"
    path.write_bytes(b"drycount timeline 1\nscenario \xff\n")
    with pytest.raises(InputError, match=r"calm\.timeline:2: is not UTF-8 text"):
        read_timeline(path)
    path.write_bytes(b"")
    with pytest.raises(InputError, match=r"calm\.timeline:1: is no timeline"):
        read_timeline(path)
    with pytest.raises(InputError, match=r"none\.timeline: cannot be read"):
        read_timeline(tmp_path / "none.timeline")
