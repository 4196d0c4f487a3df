"""What a baseline can report: every kind of change with its sentence."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from sequencer.checks.baseline_words import Kind, first_of, gathered
from sequencer.checks.baselines import accepted, compare_timelines
from sequencer.checks.timeline_text import timeline_text
from sequencer.checks.timelines import Moment, Standing, Timeline, Tolerance, timeline_of
from sequencer.record import Event, FlightRecord

TICK = Tolerance(0.01)
EVENTS = """\
0 moved flight.fins: stowed
1220 fired pad.ascent_1
1265 liftoff
1996 separated
2028 apogee
2072 moved flight.fins: out
2900 fired flight.main_chute
3102 touchdown
3150 cut flight.main_chute: key_out"""
MARGINS = (
    Standing("lands softly", "met", 1.758, "m/s"),
    Standing("one computer owns the abort", "met", 0.99, "s"),
    Standing("no motor lights unasked", "met", math.inf),
    Standing("stages part once", "met", 0.0),
    Standing("abort brings the parachute", "not exercised", None),
    Standing("lands without drifting", "broken", -0.6, "m/s"),
)


def moments(text):
    found = []
    for line in filter(None, text.splitlines()):
        tick, _, rest = line.partition(" ")
        label, _, detail = rest.partition(": ")
        found.append(Moment(int(tick), label, detail))
    return tuple(sorted(found, key=lambda each: each.tick))


def timeline(text=EVENTS, standings=MARGINS, outcome="landed", rate_hz=100, **about):
    return Timeline("calm", rate_hz, TICK, about, outcome, moments(text), standings)


def swap(old, new):
    assert old in EVENTS
    return timeline(EVENTS.replace(old, new))


def judged(name, **changes):
    kept = [replace(each, **changes) if each.requirement == name else each for each in MARGINS]
    assert tuple(kept) != MARGINS
    return timeline(standings=tuple(kept))


PASSED = (
    "the order changed: 'apogee' (20.01 s) comes before 'separated' (20.03 s), it came after it"
)
SENTENCES = {
    "an event later": (
        swap("1265 liftoff", "1269 liftoff"),
        Kind.EVENT_MOVED,
        "'liftoff' comes 40 ms later, at 12.69 s instead of 12.65 s",
    ),
    "an event earlier": (
        swap("3102 touchdown", "2952 touchdown"),
        Kind.EVENT_MOVED,
        "'touchdown' comes 1.5 s earlier, at 29.52 s instead of 31.02 s",
    ),
    "an event is gone": (
        swap("2900 fired flight.main_chute\n", ""),
        Kind.EVENT_GONE,
        "'fired flight.main_chute' does not come; it came at 29.00 s",
    ),
    "an event is new": (
        timeline(EVENTS + "\n2890 blocked flight.landing_1: chute_out"),
        Kind.EVENT_NEW,
        "'blocked flight.landing_1' is new, at 28.90 s",
    ),
    "an event comes more often": (
        timeline(EVENTS + "\n1300 fired pad.ascent_1\n1400 fired pad.ascent_1"),
        Kind.HOW_OFTEN,
        "'fired pad.ascent_1' comes 3 times, it came once (added: 13.00 s, 14.00 s)",
    ),
    "an event comes less often": (
        swap("2072 moved flight.fins: out\n", ""),
        Kind.HOW_OFTEN,
        "'moved flight.fins' comes once, it came twice (left out: 20.72 s)",
    ),
    "the order": (
        swap("1996 separated\n2028 apogee", "2001 apogee\n2003 separated"),
        Kind.ORDER,
        PASSED,
    ),
    "a servo is sent elsewhere": (
        swap("fins: out", "fins: half"),
        Kind.DETAIL,
        "'moved flight.fins' at 20.72 s says 'half', it said 'out'",
    ),
    "another inhibit": (
        swap("main_chute: key_out", "main_chute: not_armed"),
        Kind.DETAIL,
        "'cut flight.main_chute' at 31.50 s says 'not_armed', it said 'key_out'",
    ),
    "the outcome": (
        timeline(outcome="crashed"),
        Kind.OUTCOME,
        "the outcome is 'crashed', it was 'landed'",
    ),
    "a requirement breaks": (
        judged("lands softly", status="broken", margin=-3.1),
        Kind.BROKEN,
        "'lands softly' is broken (-3.1 m/s); it was met (+1.76 m/s)",
    ),
    "a requirement is put to the test": (
        judged("abort brings the parachute", status="met", margin=0.25, unit="s"),
        Kind.VERDICT,
        "'abort brings the parachute' is met (+0.25 s); it was not exercised",
    ),
    "a requirement is kept": (
        judged("lands without drifting", status="met", margin=0.1),
        Kind.VERDICT,
        "'lands without drifting' is met (+0.1 m/s); it was broken (-0.6 m/s)",
    ),
    "a margin a third smaller": (
        judged("lands softly", margin=1.172),
        Kind.MARGIN_SMALLER,
        "the margin of 'lands softly' is a third smaller: +1.17 m/s, it was +1.76 m/s",
    ),
    "a margin halved": (
        judged("lands softly", margin=0.88),
        Kind.MARGIN_SMALLER,
        "the margin of 'lands softly' is half as large: +0.88 m/s, it was +1.76 m/s",
    ),
    "a margin all but gone": (
        judged("lands softly", margin=0.0),
        Kind.MARGIN_SMALLER,
        "the margin of 'lands softly' is all but gone: +0 m/s, it was +1.76 m/s",
    ),
    "a margin larger": (
        judged("one computer owns the abort", margin=1.1),
        Kind.MARGIN_LARGER,
        "the margin of 'one computer owns the abort' is 11 % larger: +1.1 s, it was +0.99 s",
    ),
    "a margin many times larger": (
        judged("one computer owns the abort", margin=3.2),
        Kind.MARGIN_LARGER,
        "the margin of 'one computer owns the abort' is 3.2 times as large: +3.2 s, it was +0.99 s",
    ),
    "a margin where nothing came near": (
        judged("no motor lights unasked", margin=2.0, unit="s"),
        Kind.MARGIN_SMALLER,
        "the margin of 'no motor lights unasked' is +2 s, it was never near",
    ),
    "nothing comes near any more": (
        judged("lands softly", margin=math.inf, unit="1"),
        Kind.MARGIN_LARGER,
        "the margin of 'lands softly' is never near, it was +1.76 m/s",
    ),
    "a count": (
        judged("stages part once", margin=1.0),
        Kind.MARGIN_LARGER,
        "the margin of 'stages part once' is +1, it was +0",
    ),
    "a breach twice as large": (
        judged("lands without drifting", margin=-1.2),
        Kind.MARGIN_SMALLER,
        "the breach of 'lands without drifting' is twice as large: -1.2 m/s, it was -0.6 m/s",
    ),
    "a requirement is gone": (
        timeline(standings=MARGINS[1:]),
        Kind.REQUIREMENT_GONE,
        "requirement 'lands softly' is gone; it was met (+1.76 m/s)",
    ),
    "a requirement is new": (
        timeline(standings=(*MARGINS, Standing("horn before ignition", "met", 5.0, "s"))),
        Kind.REQUIREMENT_NEW,
        "requirement 'horn before ignition' is new: met (+5 s)",
    ),
}


@pytest.mark.parametrize("name", SENTENCES)
def test_every_kind_of_change_has_its_sentence(name):
    now, kind, sentence = SENTENCES[name]
    changes = compare_timelines(timeline(), now).changes
    assert (kind, sentence) in [(change.kind, change.sentence) for change in changes]
    others = [change for change in changes if change.sentence != sentence]
    assert all(change.kind == Kind.EVENT_MOVED for change in others)  # an order moves events too


def test_no_kind_is_without_a_sentence_here():
    assert {kind for _, kind, _ in SENTENCES.values()} == set(Kind)


def test_the_gravest_comes_first():
    now = timeline(
        EVENTS.replace("1265 l", "1269 l").replace("3102", "3110") + "\n2890 late flight",
        tuple(
            replace(each, margin=each.margin / 2)
            if each.requirement == "one computer owns the abort"
            else replace(each, status="broken", margin=-1.0)
            if each.requirement == "lands softly"
            else each
            for each in MARGINS
        ),
        "crashed",
    )
    changes = compare_timelines(timeline(), now).changes
    assert [change.kind for change in changes] == [
        Kind.OUTCOME,
        Kind.BROKEN,
        Kind.EVENT_NEW,
        Kind.MARGIN_SMALLER,
        Kind.EVENT_MOVED,
        Kind.EVENT_MOVED,
    ]
    assert [change.name for change in changes[-2:]] == ["touchdown", "liftoff"]  # 80 ms, 40 ms
    first = first_of(changes)
    assert first is not None
    assert first.name == "liftoff"


def test_small_moves_are_counted_and_not_told():
    now = swap("1265 liftoff", "1266 liftoff")
    now = replace(now, standings=judged("lands softly", margin=1.75).standings)
    found = compare_timelines(timeline(), now)
    assert (found.changes, found.within) == ((), 2)
    found = compare_timelines(timeline(), now, Tolerance(0.0, 0.0))
    assert [change.kind for change in found.changes] == [Kind.MARGIN_SMALLER, Kind.EVENT_MOVED]
    assert not compare_timelines(timeline(), swap("1265 l", "1275 l"), Tolerance(0.1)).changes


def test_a_margin_in_seconds_may_move_by_a_tick_at_either_end():
    now = judged("one computer owns the abort", margin=0.97)
    assert not compare_timelines(timeline(), now).changes
    now = judged("one computer owns the abort", margin=0.96)
    assert compare_timelines(timeline(), now).changes


def test_the_order_of_what_comes_together_is_not_told():
    """Two events a tick apart that change places: no target could promise more."""
    was, now = swap("1996 separated", "2027 separated"), swap("1996 separated", "2029 separated")
    kinds = [change.kind for change in compare_timelines(was, now, Tolerance(0.02)).changes]
    assert kinds == []
    kinds = [change.kind for change in compare_timelines(was, now, Tolerance(0.005)).changes]
    assert kinds == [Kind.ORDER, Kind.EVENT_MOVED]


def test_an_event_that_passes_several_is_told_once():
    now = swap("3102 touchdown", "100 touchdown")
    (change,) = [
        each for each in compare_timelines(timeline(), now).changes if each.kind == Kind.ORDER
    ]
    assert change.sentence == (
        "the order changed: 'touchdown' (1.00 s) comes before 'fired pad.ascent_1' (12.20 s), "
        "it came after it; 'touchdown' passed 5 more"
    )


def test_one_event_more_moves_no_other():
    """The one that was added is found among its likes; the rest are paired as they were."""
    was = timeline("100 late flight\n500 late flight\n900 late flight")
    now = timeline("20 late flight\n100 late flight\n500 late flight\n900 late flight")
    (change,) = compare_timelines(was, now).changes
    assert change.sentence == "'late flight' comes 4 times, it came 3 times (added: 0.20 s)"


def test_many_events_of_one_label_are_held_together():
    def flown(first, number):
        events = [Event(first + 7 * i, "late", "flight") for i in range(number)]
        record = FlightRecord("calm", 100, 5000, tuple(events), {}, "landed")
        return timeline_of(record)

    assert flown(100, 30).moments == (Moment(100, "late flight", "", 30, 303),)
    (change,) = compare_timelines(flown(100, 12), flown(100, 30)).changes
    assert change.sentence == "'late flight' comes 30 times, it came 12 times"
    (change,) = compare_timelines(flown(100, 30), flown(120, 30)).changes
    assert change.sentence == (
        "the first of 30 'late flight' comes 200 ms later, at 1.20 s instead of 1.00 s"
    )


def test_timelines_of_different_rates_are_compared_in_seconds():
    was = timeline("100 liftoff")
    now = timeline("400 liftoff", rate_hz=400)
    assert not compare_timelines(was, now).changes
    (change,) = compare_timelines(was, timeline("420 liftoff", rate_hz=400)).changes
    assert change.sentence == "'liftoff' comes 50 ms later, at 1.05 s instead of 1.00 s"


def test_events_that_moved_alike_have_one_sentence():
    later = EVENTS
    for tick in (1265, 1996, 2028, 2072, 3102, 3150):
        later = later.replace(str(tick), str(tick + (5 if tick == 3150 else 4)))
    changes = compare_timelines(timeline(), timeline(later)).changes
    (sentence,) = gathered(changes, 0.01)
    assert sentence == (
        "6 events come 40 ms to 50 ms later, from 'liftoff' (12.69 s instead of 12.65 s) "
        "to 'cut flight.main_chute' (31.55 s)"
    )
    assert len(list(gathered(changes[:2], 0.01))) == 2


def test_on_one_tick_the_first_is_who_came_first_today():
    was = "100 moved flight.fins\n1677 took flight.burnt out\n1677 moved flight.fins"
    changes = compare_timelines(timeline(was), timeline(was.replace("1677", "1672"))).changes
    first = first_of(changes)
    assert first is not None
    assert first.name == "took flight.burnt out"
    third = was.replace("1677", "1672") + "\n1672 entered flight.coast"
    three = compare_timelines(
        timeline(was + "\n1677 entered flight.coast"), timeline(third), TICK
    ).changes
    (sentence,) = gathered(three, 0.01)
    assert "from 'took flight.burnt out'" in sentence
    assert "to 'entered flight.coast'" in sentence


def test_what_it_was_flown_with_may_change_and_nothing_move():
    found = compare_timelines(timeline(vehicle="aa", wiring="1"), timeline(vehicle="bb", pad="1"))
    assert found.changes == ()
    assert found.about == ("pad", "vehicle", "wiring")


def changed():
    now = swap("1265 liftoff", "1269 liftoff")
    now = replace(now, standings=judged("lands softly", margin=1.0).standings, outcome="crashed")
    extra = moments("1000 late flight\n1265 late flight")
    both = sorted((*now.moments, *extra), key=lambda each: each.tick)
    return replace(now, moments=tuple(both), about={"vehicle": "bb"})


def test_accepting_everything_keeps_today():
    was, now = timeline(vehicle="aa"), changed()
    assert timeline_text(accepted(was, now)) == timeline_text(now)


@pytest.mark.parametrize("name", ["liftoff", "lands softly", "outcome", "late flight"])
def test_accepting_one_change_leaves_the_others(name):
    was, now = timeline(vehicle="aa"), changed()
    before = compare_timelines(was, now).changes
    kept = accepted(was, now, [name])
    left = compare_timelines(kept, now).changes
    assert [each.name for each in left] == [each.name for each in before if each.name != name]
    assert kept.about == {"vehicle": "aa"}
    assert [each.tick for each in kept.moments] == sorted(each.tick for each in kept.moments)


def test_when_nothing_is_left_what_it_is_about_is_kept_too():
    was, now = timeline(vehicle="aa"), changed()
    kept = was
    for change in compare_timelines(was, now).changes:
        kept = accepted(kept, now, [change.name])
    assert compare_timelines(kept, now).changes == ()
    assert kept.about == {"vehicle": "bb"}


def test_a_gone_event_and_a_gone_requirement_can_be_accepted():
    now = replace(swap("2028 apogee\n", ""), standings=MARGINS[1:])
    kept = accepted(timeline(), now, ["apogee", "lands softly"])
    assert compare_timelines(kept, now).changes == ()
    back = accepted(kept, timeline(), ["apogee", "lands softly"])
    assert compare_timelines(back, timeline()).changes == ()


def test_a_timeline_does_not_creep():
    """What moved within the tolerance is not taken over, however often it is accepted."""
    kept = timeline(vehicle="0")
    for number in range(1, 5):
        kept = accepted(kept, swap("1265 liftoff", "1266 liftoff"))
        assert kept.moments == timeline().moments, number
