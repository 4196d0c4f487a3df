"""Verdicts against a slow independent reading of every pattern, and laws that they must keep."""

from __future__ import annotations

from math import inf, nan

import brute_force
from hypothesis import given, settings
from hypothesis import strategies as st
from making_records import outcome, record

LAST = 14
SCOPES = {
    "globally": None,
    "before": {"before": "set f.r"},
    "after": {"after": "set f.q"},
    "between": {"between": ["set f.q", "set f.r"]},
    "until": {"after": "set f.q", "until": "set f.r"},
}

ticks = st.lists(st.integers(0, LAST), max_size=3, unique=True).map(sorted)
scopes = st.sampled_from(sorted(SCOPES))
windows = st.tuples(st.integers(0, 6), st.one_of(st.integers(0, 8), st.just(inf))).map(
    lambda pair: (pair[0], pair[0] + pair[1])
)
worths = st.lists(st.one_of(st.integers(-3, 3), st.none()), min_size=LAST + 1, max_size=LAST + 1)


def flown(q=(), r=(), p=(), s=(), over=False, worth=None):
    """One tick a second; worth 2 is height_m = 2 for the condition height_m > 0."""
    listed = [(tick, "set f.q") for tick in q] + [(tick, "set f.r") for tick in r]
    listed += [(tick, "set f.p") for tick in p] + [(tick, "set f.s") for tick in s]
    listed += [(LAST, "ended flight")] if over else []
    events = ", ".join(f"{tick} {label}" for tick, label in listed)
    signals = {}
    if worth is not None:
        signals["height_m"] = [nan if one is None else one for one in worth]
    return record(events, ticks=LAST + 1, rate_hz=1, **signals)


def keys_of(scope, window):
    keys = {"within_s": list(window)}
    return keys if SCOPES[scope] is None else {**keys, "scope": SCOPES[scope]}


def expected(scope, q, r, one):
    found = brute_force.segments(scope, q, r, LAST)
    return brute_force.status(None if found is None else [one(segment) for segment in found])


@settings(max_examples=100)
@given(scopes, windows, ticks, ticks, ticks, st.booleans(), st.booleans())
def test_presence_against_brute_force(scope, window, q, r, p, over, absent):
    want = expected(
        scope, q, r, lambda seg: brute_force.presence(seg, window, p, LAST, over, absent)
    )
    pattern = "absence" if absent else "existence"
    got = outcome(
        flown(q, r, p, over=over), pattern=pattern, event="set f.p", **keys_of(scope, window)
    )
    assert got == want


@settings(max_examples=100)
@given(
    scopes,
    windows,
    ticks,
    ticks,
    worths,
    st.booleans(),
    st.sampled_from(("always", "never", "once")),
)
def test_conditions_against_brute_force(scope, window, q, r, worth, over, kind):
    want = expected(scope, q, r, lambda seg: brute_force.holds(seg, window, worth, over, kind))
    pattern = {"always": "universality", "never": "absence", "once": "existence"}[kind]
    got = outcome(
        flown(q, r, over=over, worth=worth),
        pattern=pattern,
        condition="height_m > 0",
        **keys_of(scope, window),
    )
    assert got == want


truths = st.lists(st.sampled_from((True, False, False, None)), min_size=LAST + 1, max_size=LAST + 1)


@settings(max_examples=100)
@given(scopes, windows, ticks, ticks, st.lists(truths, min_size=2, max_size=3), st.integers(0, 4))
def test_exactly_one_against_brute_force(scope, window, q, r, held, gap):
    want = expected(scope, q, r, lambda seg: brute_force.one_of(seg, window, held, gap))
    names = "abc"[: len(held)]
    signals = {
        name: [nan if one is None else float(one) for one in values]
        for name, values in zip(names, held, strict=True)
    }
    listed = [(tick, "set f.q") for tick in q] + [(tick, "set f.r") for tick in r]
    events = ", ".join(f"{tick} {label}" for tick, label in listed)
    got = outcome(
        record(events, ticks=LAST + 1, rate_hz=1, **signals),
        pattern="exactly_one",
        of=list(names),
        gap_s=gap,
        **keys_of(scope, window),
    )
    assert got == want


@settings(max_examples=100)
@given(scopes, windows, ticks, ticks, ticks, ticks, st.booleans())
def test_response_against_brute_force(scope, window, q, r, p, s, over):
    want = expected(scope, q, r, lambda seg: brute_force.response(seg, window, p, s, LAST, over))
    got = outcome(
        flown(q, r, p, s, over=over),
        pattern="response",
        when="set f.p",
        then="set f.s",
        **keys_of(scope, window),
    )
    assert got == want


@settings(max_examples=100)
@given(scopes, windows, ticks, ticks, ticks, ticks)
def test_precedence_against_brute_force(scope, window, q, r, p, s):
    want = expected(scope, q, r, lambda seg: brute_force.precedence(seg, window, p, s))
    got = outcome(
        flown(q, r, p, s),
        pattern="precedence",
        event="set f.p",
        only_after="set f.s",
        **keys_of(scope, window),
    )
    assert got == want


PATTERNS = st.sampled_from((
    {"pattern": "absence", "event": "set f.p"},
    {"pattern": "existence", "event": "set f.p"},
    {"pattern": "bounded_existence", "event": "set f.p", "at_least": 1, "at_most": 2},
    {"pattern": "universality", "condition": "height_m > 0"},
    {"pattern": "existence", "condition": "height_m > 0"},
    {"pattern": "precedence", "event": "set f.p", "only_after": "set f.s"},
    {"pattern": "precedence", "event": "set f.p", "only_after_condition": "height_m > 0"},
    {"pattern": "response", "when": "set f.p", "then": "set f.s"},
    {"pattern": "response", "when": "set f.p", "then_condition": "height_m > 0"},
    {"pattern": "response", "when": "set f.p", "then_throughout": "height_m > 0"},
    {"pattern": "response", "when_condition": "height_m > 1", "then_condition": "height_m < 2"},
))  # fmt: skip


@settings(max_examples=100)
@given(PATTERNS, scopes, windows, ticks, ticks, ticks, ticks, worths, st.integers(0, LAST - 1))
def test_broken_is_final(pattern, scope, window, q, r, p, s, worth, end):
    """What a record has broken stays broken, however the flight goes on."""
    keys = {**pattern, **keys_of(scope, window)}
    cut = [[tick for tick in one if tick <= end] for one in (q, r, p, s)]
    early = record(
        ", ".join(f"{t} set f.{n}" for n, one in zip("qrps", cut, strict=True) for t in one),
        rate_hz=1,
        height_m=[nan if one is None else one for one in worth[: end + 1]],
    )
    if outcome(early, **keys)[0] == "broken":
        assert outcome(flown(q, r, p, s, worth=worth), **keys)[0] == "broken"


@given(st.integers(0, 10), st.integers(11, 20), st.integers(-9, 9))
def test_shifting_an_event_shifts_its_margin(trigger, answer, shift):
    """Against one bound the margin moves with the event, second for second."""
    keys = {"pattern": "response", "when": "set f.p", "then": "set f.s", "within_s": [0, 25]}

    def margin(at):
        return outcome(record(f"{trigger} set f.p, {at} set f.s", ticks=99, rate_hz=1), **keys)[1]

    moved = answer + shift
    if moved >= trigger:
        assert margin(moved) == margin(answer) - shift

    before = {"pattern": "absence", "event": "set f.p", "scope": {"before": "set f.r"}}
    first = outcome(record("30 set f.r, 20 set f.p", rate_hz=1), **before)[1]
    later = outcome(record(f"30 set f.r, {20 + shift} set f.p", rate_hz=1), **before)[1]
    assert later == first + shift


@given(ticks, ticks, ticks, scopes)
def test_absence_is_minus_existence(p, q, r, scope):
    """In one stretch, where both are decided."""
    segments = brute_force.segments(scope, q, r, LAST)
    keys = {} if SCOPES[scope] is None else {"scope": SCOPES[scope]}
    record_ = flown(q, r, p, over=True)
    absent = outcome(record_, pattern="absence", event="set f.p", **keys)
    exists = outcome(record_, pattern="existence", event="set f.p", **keys)
    if segments is not None and len(segments) == 1:
        assert absent[1] == -exists[1]
    else:
        assert (absent[1] is None) == (exists[1] is None)


@given(st.lists(st.integers(-5, 5), min_size=1, max_size=20))
def test_negation_turns_the_margin(worth):
    flight = record("0 ended flight", rate_hz=1, height_m=worth)
    always = outcome(flight, pattern="universality", condition="height_m > 0")[1]
    once = outcome(flight, pattern="existence", condition="not height_m > 0")[1]
    never = outcome(flight, pattern="absence", condition="not height_m > 0")[1]
    assert always == -once == never == min(worth)


@given(ticks, st.lists(st.integers(-5, 5), min_size=LAST + 1, max_size=LAST + 1), windows)
def test_a_smaller_scope_asks_for_less(q, worth, window):
    """Safety can only gain where less of the flight is looked at, existence only lose."""
    flight = flown(q, p=(3, 9), worth=worth, over=True)
    everywhere = {"pattern": "universality", "condition": "height_m > 0"}
    whole = outcome(flight, **everywhere)[1]
    after = outcome(flight, **everywhere, scope=SCOPES["after"])[1]
    part = outcome(flight, **everywhere, within_s=list(window))[1]
    for less in (after, part):
        assert less is None or less >= whole
    absence = {"pattern": "absence", "event": "set f.p"}
    existence = {"pattern": "existence", "event": "set f.p"}
    less = outcome(flight, **absence, scope=SCOPES["after"])[1]
    assert less is None or less >= outcome(flight, **absence)[1]
    less = outcome(flight, **existence, scope=SCOPES["after"])[1]
    assert less is None or less <= outcome(flight, **existence)[1]
