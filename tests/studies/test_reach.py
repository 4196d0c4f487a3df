"""What scenarios reach of a sequence, and the sentences about what they do not."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from small_logic import flown, written

from sequencer.errors import InputError
from sequencer.expressions import unparse
from sequencer.studies.advice import gaps, missing_requirements
from sequencer.studies.exercised import exercised
from sequencer.studies.possible import Rule
from sequencer.studies.reach import reach
from sequencer.studies.ruled_out import best_rule

QUIET = {}
UP = {"height": 60.0}
TILTED = {"tilt": 40.0}
BLIND = {"baro_ok": 0.0}


@pytest.fixture
def path(tmp_path):
    return written(tmp_path)


def of(*results):
    return reach(results).sequences[0]


def sentences(*results, kind=None):
    return [gap.sentence for gap in gaps(of(*results)) if kind in (None, gap.kind)]


def decision(found, name):
    return next(one for one in found.decisions if one.decision.name == name)


def test_what_a_flight_exercises_is_told_by_its_events(path):
    result = flown(path, "tilts", QUIET, UP, TILTED, TILTED | {"key": 0.0}, QUIET)
    found = exercised([result])[Path("tilts.scenario.toml")]
    assert found.states == {("flight", name) for name in ("pad", "staging", "abort")}
    assert found.exits == {("flight", "high up"), ("flight", "tilt_abort")}
    assert found.functions == set()
    assert found.held_back == {("flight", "key_out", "chute")}
    assert found.requirements == set()


def test_what_did_not_fly_exercises_nothing(path):
    result = replace(flown(path, "tilts", QUIET), record=None, error="no such file")
    assert exercised([result]) == {}
    assert reach([result]).flights == 0


def test_names_come_with_the_scenarios_that_exercised_them(path):
    found = of(flown(path, "still", QUIET), flown(path, "up", UP, QUIET))
    assert found.states["pad"] == ("still", "up")
    assert found.states["staging"] == ("up",)
    assert found.exits["high up"] == ("up",)
    assert found.flights == 2


def test_the_scenario_to_write_for_a_condition_is_told_in_one_sentence(path):
    aborts = flown(path, "aborts", UP, TILTED, TILTED)
    assert (
        "no scenario shows that `tilt > tilt_max` alone decides exit 'tilt_abort' of staging: fly "
        "one in which baro_ok is true but tilt stays at or below 25 deg (tilt_max), while in "
        "staging"
    ) in sentences(aborts, kind="leaf")
    blind = flown(path, "blind", UP, BLIND | TILTED, BLIND | TILTED)
    assert sentences(blind, kind="exit")[0] == (
        "no scenario takes exit 'tilt_abort' of staging: fly one in which baro_ok is true and tilt "
        "is above 25 deg (tilt_max) for 0.2 s, while in staging"
    )


def test_both_conditions_are_shown_by_three_flights(path):
    flights = [
        flown(path, "aborts", UP, TILTED, TILTED),
        flown(path, "upright", UP, QUIET, QUIET),
        flown(path, "blind", UP, BLIND | TILTED, BLIND | TILTED),
    ]
    one = decision(of(*flights), "tilt_abort")
    assert one.missing == ()
    assert all(shown.unique for shown in one.shown)
    first = one.no[one.shown[1].unique.no]
    assert (first.scenario, first.at_s) == ("upright", 0.1)
    assert not any("tilt_abort" in text for text in sentences(*flights))
    assert [len(decision(of(flight), "tilt_abort").missing) for flight in flights] == [2, 2, 2]


def test_an_exit_that_was_not_taken_shows_nothing_however_true_it_was(path):
    """One tick is not long enough: that is what its hold is for."""
    short = flown(path, "short", UP, TILTED, QUIET, BLIND | TILTED)
    one = decision(of(short), "tilt_abort")
    assert (len(one.yes), len(one.idle), len(one.missing)) == (0, 1, 2)
    assert sentences(short, kind="exit")[0].endswith(
        "(its condition was true in short at 0.10 s, but not for 0.2 s, or not before another exit)"
    )


def test_an_unknown_condition_says_no_but_shows_nothing_of_itself(path):
    """A bad tilt says no, but a condition has to be true on one side and false on the other."""
    bad = flown(path, "bad", UP, {"tilt": math.nan}, BLIND | {"tilt": math.nan})
    one = decision(of(bad), "tilt_abort")
    assert len(one.no) == 2
    aborts = flown(path, "aborts", UP, TILTED, TILTED)
    assert decision(of(bad, aborts), "tilt_abort").missing == (0, 1)


def test_an_unknown_inhibit_is_neither_in_place_nor_removed(path):
    one = decision(of(flown(path, "no_key", {"key": math.nan})), "key_out")
    assert (len(one.yes), len(one.no)) == (0, 0)
    assert one.missing == (0,)


def test_what_never_can_be_shown_is_told_apart(path):
    """Nobody is above 50 m and not above 10 m: `height > low` never decides."""
    found = of(flown(path, "up", QUIET, {"height": 20.0}, UP))
    one = decision(found, "high up")
    assert [unparse(one.decision.leaves[leaf]) for leaf in one.cannot] == ["height > low"]
    assert one.missing == ()
    assert found.leaves(exits=True)[3] == 1


def test_what_a_prover_rules_out_cannot_be_shown(path):
    """`reach` takes what is possible as an argument, so that a solver can know more."""

    class Nothing(Rule):
        def can_be(self, *_):
            return False

    found = reach([flown(path, "up", UP)], Nothing()).sequences[0]
    assert decision(found, "tilt_abort").cannot == {0, 1}


def test_the_solver_knows_which_flags_a_state_can_have(path):
    """`out` is set on entry to abort, so `not out` is never true there."""
    results = [flown(path, "tilts", UP, TILTED, TILTED, QUIET)]
    plain, solver = reach(results).sequences[0], reach(results, best_rule()).sequences[0]
    assert decision(plain, "again").missing == (0,)
    assert decision(solver, "again").cannot == {0}
    assert decision(solver, "high up").cannot == decision(plain, "high up").cannot
    text = next(gap.sentence for gap in gaps(solver) if gap.name == "again")
    assert text == (
        "no scenario takes exit 'again' of abort: its condition can never be true together with "
        "what leads there"
    )


def test_the_solver_looks_into_estimates(tmp_path):
    """`tipped` is the tilt again: it never decides beside it."""
    estimates = '[estimates]\ntipped = { expression = "tilt > tilt_max", unit = "bool" }\n\n'
    path = written(
        tmp_path,
        ("[inhibits]", estimates + "[inhibits]"),
        ('"baro_ok and tilt > tilt_max"', '"baro_ok and (tipped or tilt > tilt_max)"'),
    )
    found = reach([flown(path, "up", UP, QUIET)], best_rule()).sequences[0]
    one = decision(found, "tilt_abort")
    assert [unparse(one.decision.leaves[leaf]) for leaf in sorted(one.cannot)] == [
        "tipped",
        "tilt > tilt_max",
    ]


def test_a_second_lock_holds_nothing_back_and_nothing_is_to_be_flown_for_it(tmp_path):
    """`chute` is commanded with `out` set only; and `not key` always comes first."""
    locks = """
not_out = { in_place_when = "not out", reason = "made for a test" }
no_key = { in_place_when = "not key", reason = "made for a test" }
"""
    before = 'key_out = { in_place_when = "not key", reason = "made for a test" }\n'
    path = written(
        tmp_path,
        (before, before + locks),
        ('pulse_s = 0.3, inhibits = ["key_out"] }\nnose',
         'pulse_s = 0.3, inhibits = ["not_out", "key_out", "no_key"] }\nnose'),
    )  # fmt: skip
    results = [flown(path, "up", UP, QUIET)]
    assert reach(results).sequences[0].second_locks == set()
    found = reach(results, best_rule()).sequences[0]
    assert found.second_locks == {"not_out", "no_key"}
    named = [gap.name for gap in gaps(found) if gap.kind == "inhibit"]
    assert named == ["key_out"]


def test_a_pulse_may_be_cut_where_it_goes_on(tmp_path):
    """The flag is set two ticks after the command at least; the pulse lasts three ticks, or one."""
    inhibit = 'done = { in_place_when = "over", reason = "made for a test" }'
    back = '[[states.coast.exits]]\nto = "pad"\nwhen = "parted"\nhold_s = 0.2\ndo = ["set over"]'
    nose = 'nose = { kind = "separation", pulse_s = %s, inhibits = ["%s"] }'
    for pulse_s, found in ((0.3, set()), (0.1, {"done"})):
        path = written(
            tmp_path,
            ("out = {}", "out = {}\nover = {}"),
            ("[functions]", f"{inhibit}\n\n[functions]"),
            (nose % (0.3, "key_out"), nose % (pulse_s, "done")),
            ("[states.abort]", f"{back}\n\n[states.abort]"),
            ('phase = "ground"', 'phase = "ground"\non_leave = ["clear over"]'),
        )
        results = [flown(path, "up", UP, QUIET)]
        assert reach(results, best_rule()).sequences[0].second_locks == found


def test_a_state_that_is_not_entered_stands_for_all_that_is_in_it(path):
    texts = sentences(flown(path, "up", UP, QUIET))
    assert (
        "no scenario enters abort: fly one that takes exit 'tilt_abort' of staging; its exit "
        "'again' waits for that"
    ) in texts
    assert not any("takes exit 'again'" in text for text in texts)
    assert "no scenario enters coast: fly one that takes exit 'parted' of staging" in texts
    assert not any("chute on" in text for text in texts)


def test_a_state_that_no_exit_leads_to_is_told(tmp_path):
    path = written(tmp_path, ('to = "coast"', 'to = "abort"'))
    text = "no scenario enters coast: no exit leads there"
    assert text in sentences(flown(path, "still", QUIET))


def test_a_function_that_is_always_held_back(path):
    held = flown(path, "held", UP, {"parted": 1.0, "key": 0.0})
    assert sentences(held, kind="function") == [
        "no scenario has nose on: fly one in which nothing holds it back on entry to coast"
    ]
    assert sentences(held, kind="inhibit") == []


def test_an_inhibit_that_never_held_anything_back(path):
    (text,) = sentences(flown(path, "up", UP), kind="inhibit")
    assert text == (
        "in no scenario does inhibit key_out hold anything back: fly one in which chute or nose is "
        "commanded, or on, while key is false"
    )


def test_of_an_or_the_rest_has_to_be_false(path):
    parted = flown(path, "parted", UP, QUIET, {"parted": 1.0})
    text = next(text for text in sentences(parted, kind="leaf") if "latest`" in text)
    assert text == (
        "no scenario shows that `time_in_state >= latest` alone decides exit 'parted' of staging: "
        "fly one in which parted is false and time in state goes at or above 2 s (latest), while "
        "in staging"
    )


def test_the_same_condition_twice_is_one(tmp_path):
    when = 'when = "(parted and key) or (not parted and height < low) or not height >= low"'
    path = written(tmp_path, ('when = "parted or time_in_state >= latest"', when))
    leaves = decision(of(flown(path, "up", UP)), "parted").decision.leaves
    assert [unparse(leaf) for leaf in leaves] == ["parted", "key", "height < low"]


def test_requirements_that_rest_everywhere(path):
    found = reach([flown(path, "up", UP)])
    (text,) = missing_requirements(found)
    assert text == (
        "no scenario puts requirement 'chute_in_time' to the test: 'fired chute' never came"
    )


def test_a_sequence_that_was_edited_meanwhile_is_refused(path):
    result = flown(path, "up", UP)
    path.write_text(path.read_text().replace("value = 25", "value = 26"))
    with pytest.raises(InputError, match="no longer the file that was flown"):
        reach([result])
