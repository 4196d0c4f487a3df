"""What a rule finds and what it lets pass, where the two lie close together."""

from __future__ import annotations

import pytest
from seeding import seeded

from sequencer.lint import RULES, lint, read_subjects

MOTOR = 'inhibits = ["key_out", "plug_in", "chute_out"]'
ALL_SIX = (
    '["key_out", "safe_plug_in", "down", "not_lifted", "not_landing", "chute_out"] }\nlanding_2'
)


def of(subject, rule):
    return lint(subject, [RULES[rule]]).open


@pytest.fixture
def looked(small):
    """What one rule finds in the small sequence with edits."""

    def look(rule, *edits):
        return of(read_subjects([small(*edits)]), rule)

    return look


def armed(asks, inhibits):
    """A flag `armed`, set by the exit that asks for `asks`, and an inhibit that looks at it."""
    return (
        ("[flags]\n", "[flags]\narmed = {}\n"),
        (
            "[inhibits]\n",
            '[inhibits]\nunarmed = { in_place_when = "not armed", reason = "flag" }\n',
        ),
        (
            'when = "key and not plug and not flying"\nhold_s = 0.5',
            f'when = "{asks}"\ndo = ["set armed"]',
        ),
        (MOTOR, f"inhibits = {inhibits}"),
    )


# --- independent inhibits -------------------------------------------------------------------------


def test_a_flag_that_the_key_sets_is_the_key_once_more(looked):
    (one,) = looked("few-inhibits", *armed("key", '["key_out", "unarmed", "chute_out"]'))
    assert one.names == ("motor",)
    assert one.sentence == "a path to 'motor' comes past one independent inhibit, not two"
    first, second, last = one.details
    assert first == "power-up: pad"
    assert second.startswith("'armed' (line ")
    assert second.endswith("): ignition")
    assert last == "fires motor; inhibits met: 'key_out', 'unarmed'"


def test_a_flag_that_something_else_sets_is_another_inhibit(looked):
    assert not looked("few-inhibits", *armed("accel > lift", '["key_out", "unarmed"]'))


def test_a_flag_that_time_alone_sets_is_none(looked):
    edits = armed("time_in_state > latest", '["key_out", "unarmed"]')
    assert looked("few-inhibits", *edits)


def test_an_inhibit_that_is_not_in_place_before_the_flight_is_not_met(looked):
    assert looked("few-inhibits", (MOTOR, 'inhibits = ["key_out", "chute_out"]'))


def test_a_state_that_only_time_leads_to_is_none(looked):
    edits = (
        (
            "[inhibits]\n",
            (
                '[inhibits]\nelsewhere = { in_place_when = "not in_state(ignition)", '
                'reason = "state" }\n'
            ),
        ),
        (
            'when = "key and not plug and not flying"\nhold_s = 0.5',
            'when = "time_in_state > latest"',
        ),
        (MOTOR, 'inhibits = ["key_out", "elsewhere"]'),
    )
    assert looked("few-inhibits", *edits)


def test_switches_in_the_circuit_are_inhibits(tmp_path):
    """In the demo, key and safe plug break every firing circuit themselves."""
    bare = (ALL_SIX, '["down", "chute_out"] }\nlanding_2')
    assert of(seeded(tmp_path, "flight alone", bare), "few-inhibits")
    assert not of(seeded(tmp_path, "flight", bare), "few-inhibits")


def test_a_switch_in_the_circuit_is_no_other_than_the_input_that_reads_it(tmp_path):
    keyed = (
        (
            "F1 = { resistance_ohm = 0.08, wire_m = 0.4, wire_awg = 26, connector_ohm = 0.02, "
            'test_current_a = 0.001, closed_by = ["arm_key"], opened_by = ["safe_plug"] }'
        ),
        (
            "F1 = { resistance_ohm = 0.08, wire_m = 0.4, wire_awg = 26, connector_ohm = 0.02, "
            'test_current_a = 0.001, closed_by = ["arm_key"] }'
        ),
    )
    vehicle = seeded(tmp_path, "vehicle", keyed)
    logic = seeded(tmp_path, "flight", (ALL_SIX, '["key_out", "down"] }\nlanding_2'))
    vehicle.sequences["flight"] = logic.sequences["flight"]
    (one,) = of(vehicle, "few-inhibits")
    assert one.details[-1].endswith("inhibits met: 'key_out', 'arm_key' in the circuit")


# --- parachutes -----------------------------------------------------------------------------------


def test_a_timer_behind_the_barometer_is_enough(looked):
    assert not looked("sensor-keeps-parachute-in")
    (one,) = looked(
        "sensor-keeps-parachute-in", ('when = "time_in_state >= latest"', 'when = "fall > falling"')
    )
    assert one.names == ("ascent", "baro")
    assert one.sentence == (
        "in state 'ascent' no way leads to a parachute once 'baro' falls silent or goes on with a "
        "wrong value"
    )


def test_an_age_helps_against_silence_and_not_against_nonsense(looked):
    (one,) = looked(
        "sensor-keeps-parachute-in",
        ("[estimates]\n", '[estimates]\nsilence = { block = "age", input = "baro", unit = "s" }\n'),
        ('when = "time_in_state >= latest"', 'when = "silence >= latest"'),
    )
    assert one.sentence.endswith("once 'baro' goes on with a wrong value")


def test_a_way_through_the_ground_is_another_flight(looked):
    edit = ('to = "descent"\nwhen = "fall > falling"', 'to = "over"\nwhen = "fall > falling"')
    timer = (
        'to = "descent"\nwhen = "time_in_state >= latest"',
        'to = "over"\nwhen = "time_in_state >= latest"',
    )
    assert not looked("no-way-to-parachute", edit)
    (one,) = looked("no-way-to-parachute", edit, timer)
    assert one.names == ("ascent",)


def test_a_state_in_which_it_is_out_already_needs_no_way(looked):
    """`descent` has none: it is entered with the parachute fired, or with the flag that says so."""
    assert not looked("no-way-to-parachute")


def test_an_inhibit_of_a_parachute_may_look_at_a_switch_only(looked):
    held = (
        'kind = "parachute", pulse_s = 1.0',
        'kind = "parachute", pulse_s = 1.0, inhibits = ["X"]',
    )

    def by(name):
        return held[0], held[1].replace("X", name)

    high = '[inhibits]\nhigh = { in_place_when = "climb > falling", reason = "too fast" }\n'
    assert not looked("inhibit-keeps-parachute-in", by("key_out"))
    (one,) = looked("inhibit-keeps-parachute-in", by("high"), ("[inhibits]\n", high))
    assert one.names == ("high", "baro")


def test_an_inhibit_that_a_flag_holds_in_place_leaves_no_way(looked):
    edits = (
        (
            'kind = "parachute", pulse_s = 1.0',
            'kind = "parachute", pulse_s = 1.0, inhibits = ["up"]',
        ),
        (
            "[inhibits]\n",
            '[inhibits]\nup = { in_place_when = "flying", reason = "wrong way round" }\n',
        ),
    )
    assert {name for one in looked("no-way-to-parachute", *edits) for name in one.names} >= {
        "ascent"
    }


def test_a_reboot_needs_a_retained_flag(looked):
    assert not looked("reboot-keeps-parachute-in")
    (one,) = looked("reboot-keeps-parachute-in", ("flying = { retained = true }", "flying = {}"))
    assert one.names == ("ascent", "pad")


# --- limits, holds and what is too much to walk ---------------------------------------------------


def test_a_hold_makes_noise_smaller(tmp_path):
    near = ("burnout_accel = { value = 2.0", "burnout_accel = { value = 9.5")

    def found(hold):
        edit = (
            'when = "time_in_state >= burn_least and accel < burnout_accel"\nhold_s = 0.05',
            f'when = "time_in_state >= burn_least and accel_x < burnout_accel"\nhold_s = {hold}',
        )
        return of(seeded(tmp_path, "flight", near, edit), "limit-in-noise")

    assert not found(0.05)
    (one,) = found(0.01)
    assert one.names == ("burnout_accel", "accel_x")
    assert one.sentence == (
        "limit 'burnout_accel' lies 0.307 m/s2 from what 'accel_x' reads at rest, and its noise "
        "reaches 0.5 m/s2"
    )


def test_a_common_exit_holds_on_through_the_next_state(tmp_path):
    """A tilt abort may take longer than any one of its states, not longer than all together."""
    old = 'when = "tilt > tilt_max"\nhold_s = 0.1'

    def found(hold):
        edit = (old, f'when = "tilt > tilt_max"\nhold_s = {hold}')
        return of(seeded(tmp_path, "flight", edit), "hold-too-long")

    assert not found(8.5)  # ascent 5.2 s, coast 3.2 s, staging 0.6 s
    (one,) = found(9.5)
    assert one.sentence == (
        "common exit 'tilt abort' takes 9.49 s, and 'ascent' and 'coast' and 'staging' last 9 s at "
        "most: it is never taken"
    )


def test_too_many_flags_are_said_not_to_be_decided(looked, small):
    flags = "".join(f"g{n} = {{ retained = true }}\n" for n in range(13))
    exits = "".join(
        f'[[states.ascent.exits]]\nname = "set {n}"\nto = "ascent"\nwhen = "key and not g{n}"\n'
        f'do = ["set g{n}"]\n'
        for n in range(13)
    )
    ascent = '[states.ascent]\nphase = "flight"\n'
    path = small(("[flags]\n", f"[flags]\n{flags}"), (ascent, ascent + exits))
    report = lint(read_subjects([path]), [RULES["no-way-to-parachute"]])
    assert report.open == ()
    ((rule, _, _, sentence),) = report.undecided
    assert rule == "no-way-to-parachute"
    assert sentence.endswith("there are more than 4000 pairs of state and flags")
    del looked
