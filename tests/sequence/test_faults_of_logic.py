"""Rules of a sequence file about functions, loops, states and exits, each broken once.

Every row must come to one line at its place, with the nearest valid choice.
"""

from __future__ import annotations

import pytest

from sequencer.errors import InputError
from sequencer.sequence import load_sequence

# (piece of the good file, what stands there instead, text of the line that the error must name,
#  what it must say, the nearest valid choice)
FAULTS = [
    # functions
    (
        'inhibits = ["key_out", "chute_out"]',
        'inhibits = ["key_out"]',
        "motor = {",
        "igniter 'motor' has one independent inhibit; whatever lights a motor needs",
        None,
    ),
    (', inhibits = ["key_out", "chute_out"]', "", "motor = {", "has no inhibit;", None),
    (
        'in_place_when = "chute_fired"',
        'in_place_when = "not  arm_key"',
        "motor = {",
        "has one independent inhibit",
        None,
    ),
    (
        'inhibits = ["key_out", "chute_out"]',
        'inhibits = ["key_out", "key_out"]',
        "motor = {",
        "'key_out' stands here twice",
        None,
    ),
    (
        'inhibits = ["key_out", "chute_out"]',
        'inhibits = ["key_out", "chute_uot"]',
        "motor = {",
        "unknown inhibit 'chute_uot'",
        "chute_out",
    ),
    ('kind = "igniter"', 'kind = "ignitor"', "motor = {", "is 'ignitor', not one of", "igniter"),
    (
        'kind = "igniter", pulse_s = 1.0',
        'kind = "igniter", pulse_s = 0',
        "motor = {",
        "greater than 0",
        None,
    ),
    (
        'kind = "parachute", pulse_s = 1.0',
        'kind = "parachute"',
        "main_chute = {",
        "'pulse_s' is missing",
        None,
    ),
    (
        'kind = "horn", pulse_s',
        'kind = "horn", pulse',
        "horn = {",
        "unknown key 'pulse'",
        "pulse_s",
    ),
    (
        "positions = { stowed = 0.0, out = 1 }",
        "positions = { stowed = 0.0, out = 1.5 }",
        "legs = {",
        "must be at most 1, not",
        None,
    ),
    (
        "positions = { stowed = 0.0, out = 1 }, ",
        "",
        "legs = {",
        "needs either positions_deg or",
        None,
    ),
    (
        "positions = { stowed = 0.0, out = 1 }",
        "positions = {}",
        "legs = {",
        "(there is none)",
        None,
    ),
    ('start = "stowed"', 'start = "stoved"', "legs = {", "unknown position 'stoved'", "stowed"),
    ("out = 90", "out = 190", "gimbal_y = {", "must be at most 180, not", None),
    # loops
    ('block = "thrust_vector_pid"', 'block = "pid"', 'block = "pid"', "'thrust_vector_pid'", None),
    (
        'attitude = "tilt"',
        'attitude = "tlit"',
        "attitude =",
        "unknown attitude estimate 'tlit'",
        "tilt",
    ),
    ('attitude = "tilt"', 'attitude = "accel"', "attitude =", "unknown attitude estimate", None),
    (
        'rate_y = "gyro_y"\nrate_z',
        'rate_y = "baro"\nrate_z',
        'rate_y = "baro"',
        "must be in rad/s",
        None,
    ),
    ("limit_deg = 5", "limit_deg = 0", "limit_deg = 0", "greater than 0", None),
    ("kd_s = 0.08", "kd = 0.08", "kd = 0.08", "unknown key 'kd' in [loops.control]", "kd_s"),
    ('z = "gimbal_z" }', 'z = "gimbal_x" }', "outputs =", "unknown servo 'gimbal_x'", "gimbal_z"),
    (
        'z = "gimbal_z" }',
        'z = "horn" }',
        "outputs =",
        "'horn' is a horn; a loop drives servos",
        None,
    ),
    ('z = "gimbal_z" }', 'z = "gimbal_y" }', "outputs =", "is driven by both axes", None),
    ('z = "gimbal_z" }', 'z = "legs" }', "outputs =", "servo 'legs' has no positions in deg", None),
    # what is published
    (
        '["armed", "lift", "half"]',
        '["armed", "lfit"]',
        "fields =",
        "unknown flag or estimate 'lfit'",
        "lift",
    ),
    (
        '["armed", "lift", "half"]',
        '["armed", "baro"]',
        "fields =",
        "unknown flag or estimate 'baro'",
        "baro_age",
    ),
    ('["armed", "lift", "half"]', '["tilt"]', "fields =", "is a tilt, kept as its cosine", None),
    ('["armed", "lift", "half"]', '["lift", "lift"]', "fields =", "'lift' stands here twice", None),
    ('["armed", "lift", "half"]', "[]", "fields =", "must not be empty", None),
    (
        "period_s = 0.05",
        "period_s = 0.055",
        "period_s = 0.055",
        "no whole number of ticks at 100 Hz",
        None,
    ),
    # states
    ('phase = "after"', 'phase = "afterwards"', 'phase = "afterwards"', "not one of", "after"),
    ('phase = "after"\n', "", "[states.falling]", "'phase' is missing in [states.falling]", None),
    (
        'loops = ["control"]',
        'loops = ["controls"]',
        "loops =",
        "unknown loop 'controls'",
        "control",
    ),
    ('loops = ["control"]', 'loops = ["control", "control"]', "loops =", "stands here twice", None),
    ('loops = ["control"]', 'lops = ["control"]', "lops =", "unknown key 'lops'", "loops"),
    # commands
    ('"fire motor"', '"fier motor"', '"fier motor"', "unknown command 'fier'", "fire"),
    ('"fire motor"', '"fire mtor"', '"fire mtor"', "unknown function 'mtor'", "motor"),
    ('"fire motor"', '"fire armed"', '"fire armed"', "unknown function 'armed'", None),
    (
        '"fire motor"',
        '"release motor"',
        '"release motor"',
        "is an igniter, which knows no 'release'",
        "fire motor",
    ),
    ('"fire motor"', '"fire"', '"fire"', "is not of the form 'fire NAME'", None),
    ('"fire motor"', '""', 'on_entry = ["", "release', "empty command", None),
    ('"fire motor"', '"fire motor now"', "fire motor now", "is not of the form 'fire NAME'", None),
    ('"cut motor"', '"cut legs"', '"cut legs"', "is a servo, which knows no 'cut'", None),
    (
        '"move legs out"',
        '"move legs"',
        '"move legs"',
        "not of the form 'move SERVO POSITION'",
        None,
    ),
    ('"move legs out"', '"move legs uot"', "move legs uot", "unknown position 'uot'", "out"),
    (
        '    "move gimbal_y centre",',
        '    "move gimbal_y center",',
        '"move gimbal_y center"',
        "unknown position 'center'",
        "centre",
    ),
    ('    "clear armed",', '    "clear amred",', '"clear amred"', "unknown flag 'amred'", "armed"),
    ('    "clear armed",', '    "set baro",', '"set baro"', "unknown flag 'baro'", None),
    ('    "clear armed",', "    3,", "    3,", "must be text, not 3", None),
    # exits
    ('to = "flying"', 'to = "flyign"', 'to = "flyign"', "unknown state 'flyign'", "flying"),
    (
        'to = "flying"\n',
        "",
        "[[states.safe.exits]]",
        "'to' is missing in [states.safe.exits[1]]",
        None,
    ),
    (
        'when = "arm_key"',
        'when = "arm_keys"',
        'when = "arm_keys"',
        "unknown name 'arm_keys'",
        "arm_key",
    ),
    ('when = "arm_key"', 'when = ""', 'when = ""', "expression is empty", None),
    ('when = "arm_key"', 'when = "baro"', 'when = "baro"', "a condition is needed", None),
    (
        'when = "arm_key"',
        'when = "baro > 3"',
        'when = "baro > 3"',
        "declare it under [limits]",
        None,
    ),
    ('when = "arm_key"', 'when = "in_state(sfae)"', "sfae", "unknown state 'sfae'", "safe"),
    ('when = "arm_key"', f'when = "{"(" * 600}"', "((((", "nested too deeply", None),
    ("hold_s = 0.07", "hold_s = -0.07", "hold_s = -0.07", "must be at least 0, not", None),
    ("hold_s = 0.07", "hold_ms = 70", "hold_ms = 70", "unknown key 'hold_ms'", "hold_s"),
    (
        "hold_s = 0.07",
        "hold_samples = 7",
        "hold_samples = 7",
        "'hold_samples' needs 'fresh'",
        "hold_s",
    ),
    ('\nfresh = "baro"', "", "hold_samples = 3", "'hold_samples' needs 'fresh'", "hold_s"),
    ('\nfresh = "baro"', '\nfresh = "height"', 'fresh = "height"', "unknown input 'height'", None),
    ("hold_samples = 3\n", "", '"climb < fall_start"+1', "'fresh' needs 'hold_samples'", None),
    (
        "hold_samples = 3",
        "hold_samples = 0",
        "hold_samples = 0",
        "must be at least 1, not",
        None,
    ),
    ("hold_samples = 3", "hold_samples = 3\nhold_s = 0.1", "hold_s = 0.1\nname", "not both", None),
    (
        'name = "over the top"',
        'name = "tilt abort"',
        'name = "tilt abort"\nfrom',
        "an exit named 'tilt abort' stands already in line",
        None,
    ),
    (
        'name = "over the top"',
        'name = "over\\nthe top"',
        "over\\nthe",
        "one line of printable text",
        None,
    ),
    ('name = "over the top"', f'name = "{"x" * 81}"', "xxx", "longer than 80 characters", None),
    (
        'do = ["set chute_fired"]',
        'do = ["set chute_fierd"]',
        "fierd",
        "unknown flag",
        "chute_fired",
    ),
    (
        'from = ["safe", "flying"]',
        'from = ["safe", "flyng"]',
        "from = [",
        "unknown state 'flyng'",
        "flying",
    ),
    (
        'from = ["safe", "flying"]',
        'from = ["safe", "safe"]',
        "from = [",
        "'safe' stands here twice",
        None,
    ),
    ('from = ["safe", "flying"]', "from = []", "from = []", "must not be empty", None),
    (
        'name = "tilt abort"\n',
        "",
        "[[common_exits]]",
        "'name' is missing in [common_exits[1]]",
        None,
    ),
    (
        'when = "tilt > tilt_max"',
        'when = "tilt > turn_limit"',
        'turn_limit"\nhold_s',
        "a limit from 0 to 180 deg",
        None,
    ),
    (
        'when = "tilt > tilt_max"',
        'when = "tilt > lift_accel"',
        'lift_accel"\nhold_s',
        "'tilt' is a tilt",
        None,
    ),
    (
        'when = "tilt > tilt_max"',
        'when = "tilt - tilt > tilt_max"',
        "tilt - tilt",
        "'tilt' is a tilt",
        None,
    ),
]


@pytest.mark.parametrize(
    ("old", "new", "at", "what", "near"),
    FAULTS,
    ids=[f"{number}-{fault[3][:40]}" for number, fault in enumerate(FAULTS)],
)
def test_each_fault_is_one_line_at_its_place(refused_at, old, new, at, what, near):
    refused_at(old, new, at, what, near)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "there is no table [sequence]"),
        ("[sequence]\n", "is missing in [sequence]"),
        (
            "[sequence]\nname = 'x'\nrate_hz = 1\nboot_s = 0\nstart = 'a'\n",
            "there is no table [states.NAME]",
        ),
        (
            "states = {}\n[sequence]\nname='x'\nrate_hz=1\nboot_s=0\nstart='a'\n",
            "must not be empty",
        ),
        ("states = 3\n[sequence]\nname='x'\nrate_hz=1\nboot_s=0\nstart='a'\n", "must be a table"),
        ("\x00", "not valid TOML"),
        ("sequence", "not valid TOML"),
    ],
)
def test_a_file_without_a_sequence_is_told(tmp_path, text, what):
    path = tmp_path / "x.toml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        load_sequence(path)
    assert what in str(caught.value)
    assert "\n" not in str(caught.value)


def test_two_loops_that_drive_one_servo_in_a_state(edited, good_text):
    loop = good_text[good_text.index("[loops.control]") : good_text.index("[publish]")]
    second = loop.replace("[loops.control]", "[loops.other]")
    with pytest.raises(InputError, match="loop 'other' and 'control' drive 'gimbal_y'"):
        edited(("[publish]", second + "[publish]"), ('["control"]', '["control", "other"]'))
