"""Faults that only a solver finds, sown into a sequence in which there are none."""

from __future__ import annotations

import pytest

from sequencer.lint import lint, read_subjects
from sequencer.lint.constant import RULES as CONSTANT
from sequencer.lint.order import RULES as ORDER
from sequencer.scenario.starter import demo_folder

pytest.importorskip("z3")

SOLVED = {each.id for each in (*CONSTANT, *ORDER)}

ESTIMATES = "[estimates]\n"
LIMITS = (
    "[limits]\n",
    """[limits]
none = { value = 0, unit = "s", tolerance = 0, reason = "at once" }
early = { value = 3, unit = "s", tolerance = 0, reason = "before the top" }
between = { value = 9.003, unit = "s", tolerance = 0, reason = "between two ticks" }
beyond = { value = 9.017, unit = "s", tolerance = 0, reason = "before the next" }
steep = { value = 5, unit = "m/s", tolerance = 0.5, reason = "surely falling" }
strong = { value = 25, unit = "m/s2", tolerance = 1, reason = "with both motors" }
weak = { value = 11, unit = "m/s2", tolerance = 1, reason = "too little to fly" }
""",
)
OVER_THE_TOP = 'when = "fall > falling"\n'
AWAY = 'when = "felt > lift"\n'
ARMED = 'when = "key and not plug and not flying"\n'
TIMER = 'when = "time_in_state >= latest"\n'
ASCENT = '[states.ascent]\nphase = "flight"\n'


def when(old, new):
    return old, f'when = "{new}"\n'


def estimate(line):
    """One more estimate, above the others."""
    return ESTIMATES, f"{ESTIMATES}{line}\n"


def first_in_ascent(condition, more="", name="sown", to="over"):
    """One more exit of the ascent, before the others."""
    table = f'[[states.ascent.exits]]\nname = "{name}"\nto = "{to}"\nwhen = "{condition}"\n{more}\n'
    return ASCENT, ASCENT + table


def last_in_ascent(condition, more="", name="sown", to="over"):
    """One more exit of the ascent, behind the others."""
    table = f'[[states.ascent.exits]]\nname = "{name}"\nto = "{to}"\nwhen = "{condition}"\n{more}\n'
    return TIMER, TIMER + table


SEEDED = {
    "an exit at zero seconds": (
        [when(TIMER, "time_in_state >= none")],
        ("always-true", "by the timer", "the state is left on its first tick"),
    ),
    "an exit by either of two opposites": (
        [when(ARMED, "key or not key")],
        ("always-true", "armed", "it only waits 0.5 s"),
    ),
    "an inhibit that is never removed": (
        [('in_place_when = "plug"', 'in_place_when = "plug or not plug"')],
        ("always-true", "plug_in", "what it blocks can never act"),
    ),
    "a state that is asked for where it is": (
        [when(AWAY, "in_state(ignition) or felt > lift")],
        ("always-true", "away", "it only waits 0.1 s"),
        [("never-taken", "disarmed")],
    ),
    "an estimate that is true for every number": (
        [
            estimate('sure = { expression = "accel > weak or accel <= weak", unit = "bool" }'),
            when(AWAY, "felt > lift and sure"),
        ],
        ("always-true", "sure", "estimate 'sure' is always true"),
        [("idle-term", "away")],
    ),
    "opposites that an estimate hides": (
        [when(OVER_THE_TOP, "fall > falling and climb > falling")],
        ("never-true", "over the top", "can never be true"),
    ),
    "limits the wrong way round": (
        [when(TIMER, "latest < time_in_state < early")],
        ("never-true", "by the timer", "can never be true"),
    ),
    "a window between two ticks": (
        [when(TIMER, "between < time_in_state < beyond")],
        ("never-true", "by the timer", "can never be true"),
    ),
    "a vote that no reading wins": (
        [
            estimate(
                'agreed = { block = "vote", members = ["accel > lift", "accel < weak", "key"],'
                ' needed = 3, quorum = 2, unit = "bool" }'
            ),
            when(AWAY, "agreed"),
        ],
        ("never-true", "away", "can never be true"),
        [("never-taken", "rebooted in the air")],
    ),
    "an inhibit that is never in place": (
        [('in_place_when = "plug"', 'in_place_when = "plug and not plug"')],
        ("never-true", "plug_in", "it blocks nothing"),
    ),
    "a timer that nothing starts": (
        [
            estimate('since = { block = "timer", start_when = "key and not key", unit = "s" }'),
            when(AWAY, "felt > lift or since > early"),
        ],
        ("never-true", "since", "'start_when' of 'since'"),
    ),
    "an exit behind a wider one": (
        [when(OVER_THE_TOP, "fall > steep"), first_in_ascent("fall > falling")],
        ("never-taken", "over the top", "'sown' (line 76) comes first"),
    ),
    "an exit behind a wider one that waits no longer": (
        [
            LIMITS,
            first_in_ascent("felt > lift", "hold_s = 0.1"),
            last_in_ascent("felt > strong", "hold_s = 0.2", name="late", to="pad"),
        ],
        ("never-taken", "late", "'sown' (line"),
    ),
    "an exit behind two that leave it nothing": (
        [
            first_in_ascent("time_in_state < early"),
            (
                'when = "fall > falling"\nfresh = "baro"\nhold_samples = 3\n',
                when("", "time_in_state >= early")[1],
            ),
        ],
        ("never-taken", "by the timer", "comes first"),
    ),
    "an exit that asks for a flag that is not set yet": (
        [last_in_ascent("out and felt > lift")],
        ("never-taken", "sown", "no way leads to 'ascent' with 'out' as it wants"),
    ),
    "a timer behind a shorter one": (
        [first_in_ascent("time_in_state >= down_by")],
        ("never-taken", "sown", "'by the timer' (line 87) always ends the state before"),
    ),
    "a time with a hold that end after their state": (
        [first_in_ascent("time_in_state > early and felt > strong", "hold_s = 8")],
        ("never-taken", "sown", "always ends the state before"),
    ),
    "ranges that overlap": (
        [when(OVER_THE_TOP, "fall > falling"), last_in_ascent("fall < steep")],
        ("order-decides", "sown", "'over the top' is taken only because it comes first"),
    ),
    "conditions on two quantities that overlap": (
        [
            first_in_ascent("fall > falling and felt < lift"),
            last_in_ascent("fall < steep and felt > weak", name="other", to="pad"),
        ],
        ("order-decides", "other", "'sown' is taken only because it comes first"),
    ),
    "a second limit inside the first": (
        [when(OVER_THE_TOP, "fall > falling and fall > steep")],
        ("idle-term", "over the top", "'fall > falling' decides nothing"),
    ),
    "an alternative that is none": (
        [when(ARMED, "key and not plug and not flying and (key or plug)")],
        ("idle-term", "armed", "'key or plug' decides nothing"),
    ),
}


@pytest.mark.parametrize("name", SEEDED)
def test_a_seeded_fault_is_found_by_its_name(name, found):
    edits, (rule, about, words), *follows = SEEDED[name]
    given = edits if LIMITS in edits else [LIMITS, *edits]
    findings = [one for one in found(*given).findings if one.rule in SOLVED]
    by_name = {(one.rule, one.names[0]): one.sentence for one in findings}
    assert set(by_name) == {(rule, about), *(follows[0] if follows else [])}
    assert words in by_name[rule, about]


def test_two_exits_that_are_true_together_come_with_values_for_it(found):
    edits, _ = SEEDED["conditions on two quantities that overlap"]
    (one,) = [each for each in found(LIMITS, *edits).findings if each.rule == "order-decides"]
    assert one.details == ("both are true with climb = -3 m/s, felt = 12 m/s2, so fall = 3 m/s",)


@pytest.mark.parametrize("names", [("flight", "pad"), ("pad_unverified",)])
def test_the_demo_has_nothing_for_the_solver_to_find(names):
    files = [demo_folder() / f"{name}.sequence.toml" for name in names]
    report = lint(read_subjects(files), [*CONSTANT, *ORDER])
    assert report.findings == ()
    assert report.undecided == ()
    assert report.skipped == ()


def test_without_the_solver_the_rules_say_that_they_did_not_look(found, monkeypatch):
    monkeypatch.setattr("sequencer.lint.asking.has_solver", lambda: False)
    report = found(when(TIMER, "time_in_state >= time_in_state"))
    assert {one.rule for one in report.findings}.isdisjoint(SOLVED)
    why = {one.why for one in report.skipped if one.rule in SOLVED}
    assert why == {"z3 is not installed (the extra 'solve' has it)"}
