"""Another target beside the model: the first thing in which it differs, and how that is told."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from odd_targets import CLIMB, UP, Late, Odd, compared, edited, logic_in, same, without
from small_logic import QUIET

from sequencer.flight.beside import Beside
from sequencer.flight.target import Boot


@pytest.fixture
def logic(tmp_path):
    return logic_in(tmp_path)


SENTENCES = {
    "an event twice": (
        edited(3, events=lambda events: (*events, ("fired", "nose", ""))),
        3,
        "staging",
        "the firmware fired 'nose' twice",
        "the model once",
    ),
    "an event missing": (
        edited(3, events=without("fired")),
        3,
        "staging",
        "the model fired 'nose'",
        "the firmware did not fire it",
    ),
    "an event too many": (
        edited(1, events=lambda events: (*events, ("fired", "nose", ""))),
        1,
        "pad",
        "the firmware fired 'nose'",
        "the model did not fire it until 0.2 s later (2 ticks)",
    ),
    "the wrong function": (
        edited(
            3, events=lambda events: tuple((k, n.replace("nose", "main"), d) for k, n, d in events)
        ),
        3,
        "staging",
        "the model fired 'nose'",
        "the firmware 'main'",
    ),
    "blocked for no reason": (
        edited(
            3,
            events=lambda events: tuple(
                ("blocked", "nose", "key_out") if each[0] == "fired" else each for each in events
            ),
        ),
        3,
        "staging",
        "the model fired 'nose'",
        "the firmware blocked 'nose' (key_out)",
    ),
    "another exit": (
        edited(3, events=lambda events: (("took", "tilt_abort", ""), *events[1:])),
        3,
        "staging",
        "the model took 'parted'",
        "the firmware 'tilt_abort'",
    ),
    "no exit, and never": (
        lambda tick, outputs: replace(outputs, state="pad", events=()) if tick else outputs,
        1,
        "pad",
        "the model took 'high up'",
        "the firmware stayed",
    ),
    "an exit that is not told": (
        edited(1, events=without("took")),
        1,
        "pad",
        "the model took 'high up'",
        "the firmware did not take it, and is in 'staging'",
    ),
    "another order": (
        edited(3, events=lambda events: events[::-1]),
        3,
        "staging",
        "the model took 'parted', entered 'coast', moved 'fin' (out) and fired 'nose'",
        (
            "the firmware did the same in another order: "
            "fired 'nose', moved 'fin' (out), entered 'coast' and took 'parted'"
        ),
    ),
    "another state": (
        edited(2, state=lambda _: "coast"),
        2,
        "staging",
        "the model is in 'staging'",
        "the firmware is in 'coast'",
    ),
    "a pulse that ends early": (
        edited(5, on=lambda on: tuple(False for _ in on)),
        5,
        "coast",
        "the model has 'nose' on",
        "the firmware has 'nose' off",
    ),
    "a demand missing": (
        edited(8, demands=lambda demands: (demands[0], 0.0, demands[2])),
        8,
        "coast",
        "the model demands -0.804664 deg of 'gimbal'",
        "the firmware demands 0 deg of 'gimbal'",
    ),
    "a position missing": (
        edited(8, demands=lambda demands: (0.0, *demands[1:])),
        8,
        "coast",
        "the model demands 'out' of 'fin'",
        "the firmware demands 'stowed' of 'fin'",
    ),
    "a message missing": (
        edited(4, message=lambda _: None),
        4,
        "coast",
        "the model publishes a message",
        "the firmware publishes nothing",
    ),
    "a message too many": (
        edited(5, message=lambda _: (0.0, 30.0)),
        5,
        "coast",
        "the model publishes nothing",
        "the firmware publishes a message",
    ),
    "a number published": (
        edited(4, message=lambda told: (told[0], told[1] + 1e-9)),
        4,
        "coast",
        "the model publishes 'climb' as 30 m",
        "the firmware publishes 'climb' as 30.000000001 m",
    ),
    "a truth published": (
        edited(4, message=lambda told: (1.0, told[1])),
        4,
        "coast",
        "the model publishes 'out' as false",
        "the firmware publishes 'out' as true",
    ),
    "a bad value published": (
        edited(4, message=lambda told: (told[0], math.nan)),
        4,
        "coast",
        "the model publishes 'climb' as 30 m",
        "the firmware publishes 'climb' as bad",
    ),
}


@pytest.mark.parametrize("name", SENTENCES)
def test_the_first_difference_is_told_in_a_sentence(name, logic):
    how, tick, state, one, other = SENTENCES[name]
    found = compared(logic, Odd(logic, how), CLIMB)
    assert found is not None
    assert found.sentence == f"flight: at 0.{tick}0 s (tick {tick}, in {state}) {one}, {other}"
    assert (found.computer, found.tick, found.clock, found.state) == ("flight", tick, tick, state)


def test_the_model_beside_itself_differs_in_nothing(logic):
    assert compared(logic, Odd(logic, same), CLIMB * 3) is None


def test_an_exit_that_comes_late_is_told_with_its_terms_and_inputs(logic):
    ticks = [{}, UP, UP | {"tilt": 20.0}, *[UP | {"tilt": 26.0}] * 4]
    found = compared(logic, Late(logic, range(4, 5)), ticks)
    assert found.sentence == (
        "flight: at 0.40 s (tick 4, in staging) the model took 'tilt_abort', "
        "the firmware stayed until 0.1 s later (1 tick)"
    )
    assert found.model == (*("took 'tilt_abort'", "entered 'abort'", "set 'out'", "fired 'chute'"),)
    assert found.firmware == ()
    (decision,) = found.decisions
    assert (decision.kind, decision.name, decision.needed) == ("exit", "tilt_abort", 2)
    assert (decision.text, decision.hold) == ("baro_ok and tilt > tilt_max", "for 0.2 s")
    assert decision.clocks == (2, 3, 4)
    assert [(term.text, term.truths) for term in decision.terms] == [
        ("baro_ok", (True, True, True)),
        ("tilt > tilt_max", (False, True, True)),
    ]
    assert [(each.name, each.unit) for each in decision.quantities] == [("tilt", "deg")]
    assert decision.quantities[0].values == pytest.approx((20.0, 26.0, 26.0))
    assert [(each.name, each.unit) for each in decision.constants] == [("tilt_max", "deg")]
    assert decision.constants[0].value == pytest.approx(25.0)
    assert decision.held == (0, 1, 2)
    assert [(each.name, each.fresh, each.age_s) for each in found.inputs] == [
        ("tilt", True, 0.0),
        ("baro_ok", True, 0.0),
    ]


def test_an_exit_that_comes_early_is_told_as_the_model_sees_it(logic):
    """The firmware counts to one where the file says two ticks."""
    early = logic_in(logic.path.parent, ("hold_s = 0.2", "hold_s = 0.1"))
    target = Odd(early, same)
    found = compared(logic, target, [{}, UP, UP, *[UP | {"tilt": 26.0}] * 4])
    assert found.sentence == (
        "flight: at 0.30 s (tick 3, in staging) the firmware took 'tilt_abort', "
        "the model stayed until 0.1 s later (1 tick)"
    )
    assert found.decisions[0].held == (None, 0, 1)
    assert found.decisions[0].terms[1].truths == (False, False, True)


def test_what_the_model_does_in_the_others_world_is_not_told(logic):
    """The firmware stays for good, and the model goes on; the other way round it is told."""
    early = logic_in(logic.path.parent, ("hold_s = 0.2", "hold_s = 0.1"))
    ticks = [{}, UP, UP, UP | {"tilt": 26.0}, UP | {"parted": 1.0}, UP, UP]
    found = compared(logic, Odd(early, same), ticks)
    assert found.sentence.endswith("the firmware took 'tilt_abort', the model stayed")
    found = compared(early, Odd(logic, same), ticks)
    assert found.sentence.endswith(
        "the model took 'tilt_abort', the firmware stayed, and took 'parted' 0.1 s later"
    )


def test_who_is_behind_is_followed_for_a_second(logic):
    """Ten ticks of this sequence."""
    for by, told in ((10, " until 1 s later (10 ticks)"), (11, "")):
        edit = ('name = "high up"', f'name = "high up"\nhold_s = {1 + by / 10}')
        slow = logic_in(logic.path.parent, edit)
        quick = logic_in(logic.path.parent, ('name = "high up"', 'name = "high up"\nhold_s = 1.0'))
        found = compared(quick, Odd(slow, same), [{}, *[UP] * 30])
        assert found.clock == 10
        assert found.sentence.endswith(f"took 'high up', the firmware stayed{told}")


def test_terms_are_told_as_they_were_before_the_exit_changed_flags(logic):
    """The exit reads a flag that the state which it enters sets."""
    edit = ("baro_ok and tilt > tilt_max", "tilt > tilt_max and not out")
    reader = logic_in(logic.path.parent, edit)
    ticks = [{}, UP, UP, UP | {"tilt": 26.0}, UP | {"tilt": 26.0}]
    found = compared(reader, Late(reader, range(4, 5)), ticks)
    (decision,) = found.decisions
    assert ("out", (False, False, False)) in [(t.text, t.truths) for t in decision.terms]


def test_both_exits_are_told_where_each_took_its_own(logic):
    """The model tries the abort first; the firmware has the two the other way round."""
    edit = (
        'when = "baro_ok and tilt > tilt_max"',
        'when = "baro_ok and tilt > tilt_max and not parted"',
    )
    other = logic_in(logic.path.parent, edit)
    ticks = [{}, UP, UP | {"tilt": 26.0}, UP | {"tilt": 26.0, "parted": 1.0}]
    found = compared(logic, Odd(other, same), ticks)
    assert found.sentence == (
        "flight: at 0.30 s (tick 3, in staging) the model took 'tilt_abort', the firmware 'parted'"
    )
    assert [each.name for each in found.decisions] == ["tilt_abort", "parted"]
    assert found.decisions[0].held == (None, 1, 2)
    assert found.decisions[1].held == (None, 0, None)  # the other exit reset its counter
    assert [each.name for each in found.inputs] == ["tilt", "baro_ok", "parted"]


def test_an_inhibit_in_question_is_told_as_it_was_when_it_was_asked(logic):
    """The key is pulled on the tick of the command; the firmware looks too early, and fires."""
    how = edited(
        3,
        events=lambda events: tuple(
            ("fired", "nose", "") if kind == "blocked" else (kind, name, detail)
            for kind, name, detail in events
        ),
    )
    found = compared(logic, Odd(logic, how), [{}, UP, UP, UP | {"parted": 1.0, "key": 0.0}])
    assert found.sentence.endswith("the model blocked 'nose' (key_out), the firmware fired 'nose'")
    (decision,) = found.decisions
    assert (decision.kind, decision.name, decision.text) == ("inhibit", "key_out", "not key")
    assert [term.truths for term in decision.terms] == [(True, True, False)]
    assert found.declared == ("'nose' on entry to coast", "'nose' lasts 0.3 s (3 ticks)")


def test_bad_old_and_missing_inputs_are_told(logic):
    """`climb` hangs on the height alone."""
    ages = {
        "fresh": ([5.0, 6.0, 7.0], [True, True, True], (7.0, True, 0.0)),
        "old": ([5.0, 6.0, 7.0], [True, False, False], (5.0, False, 0.2)),
        "bad": ([5.0, 6.0, math.nan], [False, True, True], (None, True, 0.1)),
        "never": ([5.0, 6.0, 7.0], [False, False, False], (None, False, None)),
    }
    for heights, fresh, told in ages.values():
        how = edited(2, message=lambda _: (0.0, 1.0))
        beside = Beside(Odd(logic, how), logic)
        beside.reset(Boot.COLD)
        for tick, (height, new) in enumerate(zip(heights, fresh, strict=True)):
            values = [(QUIET | {"spin": 0.0, "height": height})[put] for put in logic.inputs]
            beside.exchange(tick, values, [new] * len(values))
        (reading,) = beside.divergence(logic.rate_hz).inputs
        assert (reading.name, reading.unit) == ("height", "m")
        assert (reading.value, reading.fresh, reading.age_s) == told


def test_it_may_differ_only_after_a_reboot(logic):
    """The firmware forgets a flag that it should have kept."""

    class Forgetful(Odd):
        def reset(self, _boot):
            super().reset(Boot.COLD)

    ticks = [{}, UP, *[UP | {"tilt": 26.0}] * 3, {}, {}, UP, *[UP | {"tilt": 26.0}] * 3]
    target = Forgetful(logic, same)
    found = compared(logic, target, ticks, boots=(5,))
    assert found.sentence == (
        "flight: at 0.50 s (tick 0 after boot 1, in pad) the model publishes 'out' as true, "
        "the firmware publishes 'out' as false"
    )
    assert (found.boot, found.clock, found.tick) == (1, 0, 5)
    assert compared(logic, Odd(logic, same), ticks, boots=(5,)) is None


def test_late_ticks_are_late_for_both(logic):
    ticks = [{}, UP, None, None, UP, UP | {"parted": 1.0}, None, *[UP | {"spin": 3.0}] * 5]
    assert compared(logic, Odd(logic, same), ticks) is None
    found = compared(logic, Odd(logic, edited(8, message=lambda _: None)), ticks)
    assert (found.clock, found.tick, found.late, found.last_late) == (8, 8, 3, 6)
    assert found.declared == ("a message every 0.2 s (2 ticks)",)


def test_only_the_first_difference_is_kept_and_the_flight_goes_on(logic):
    def how(tick, outputs):
        return replace(outputs, state="coast") if tick >= 2 else outputs

    beside = Beside(Odd(logic, how), logic)
    beside.reset(Boot.COLD)
    values = [(QUIET | {"spin": 0.0})[put] for put in logic.inputs]
    came = [beside.exchange(tick, values, [True] * len(values)).state for tick in range(40)]
    assert came == ["pad"] * 2 + ["coast"] * 38
    first = beside.divergence(logic.rate_hz)
    beside.reset(Boot.WARM)
    beside.exchange(0, values, [True] * len(values))
    assert beside.divergence(logic.rate_hz) == first
    assert first.clock == 2
