"""Files that a tired person breaks: `drycount fly` answers with one line and status 2.

Each case breaks one file of a project that flies. None of them gets so far that anything is
compiled or flown.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from sequencer.cli.main import main
from sequencer.scenario import load_scenario
from sequencer.scenario.starter import demo_folder

VEHICLE = "sandpiper.vehicle.toml"
FLIGHT = "flight.sequence.toml"
RULES = "sandpiper.requirements.toml"
CALM = "calm_landing.scenario.toml"
SCRUB = "scrub.scenario.toml"
FILES = (VEHICLE, FLIGHT, "pad.sequence.toml", RULES, CALM, SCRUB)

#: words of libraries and of the language that have no place in a message to a user
FOREIGN = re.compile(
    r"Traceback|Error\b|pydantic|tomllib|validation|Input |should|NoneType|True|False|None|"
    r"dict\b|tuple|instance|object at|errno",
)

# (file, text to replace, its replacement, words of the message)
CASES = [
    (VEHICLE, "mass_kg = 0.665", 'mass_kg = "heavy"', "must be a number, not 'heavy'"),
    (VEHICLE, "mass_kg = 0.665", "mass_kg = -1e-3", "must be greater than 0, not -0.001"),
    (VEHICLE, "mass_kg = 0.665", "mass_kg = 1e400", "must be a finite number"),
    (VEHICLE, "mass_kg = 0.665", "mass_kg = 0x" + "f" * 5000, "too many digits"),
    (VEHICLE, "mass_kg = 0.665", "mass_kg = 1979-05-27", "must be a number"),
    (VEHICLE, "mass_kg = 0.665", "mass_kg = 1\nmass_kg = 2", "has a value already"),
    (VEHICLE, "carries_computer = true", "carries_computer = 1", "must be true or false, not 1"),
    (VEHICLE, "[parts.booster]", '[parts."boo ster"]', "must be made of letters"),
    (VEHICLE, "[parts.booster]", "[parts.stage]", "the table [parts.stage] is declared twice"),
    (VEHICLE, "[parts.booster]", "[[parts.booster]]", "must be a table, not a list"),
    (VEHICLE, "[4, 160]", "[4]", "points_percent[2]' has too few entries"),
    (VEHICLE, "[4, 160]", "[4, 160, 3]", "must have at most 2 entries, not 3"),
    (VEHICLE, 'curve = "soft_start"', 'curve = "soft"', "did you mean 'soft_start'?"),
    (VEHICLE, 'gimbal = "ascent"', 'gimbal = "asc"', "no servo turns gimbal 'asc' of motor 'A1'"),
    (VEHICLE, "burn_time_s = 4.5", "burn_time_s = 1e9", "must be at most 60"),
    (VEHICLE, "count = 4", "count = 2", "not one of 3 or 4"),
    (VEHICLE, "signals = true", "signals = false", "must be true, not false"),
    (VEHICLE, "rate_hz = 5\n", "rate_hz = 7\n", "does not divide the world's 100 Hz"),
    (VEHICLE, "noise_m_s = 0.1", "noise_n = 0.1", "did you mean 'noise_m_s'?"),
    (VEHICLE, 'plug = "pad.P1"', 'plug = "P1"', "did you mean 'pad.P1'?"),
    (VEHICLE, 'ascent_1 = "P1"', 'ascent_l = "P1"', "is not wired in sandpiper.vehicle.toml; did"),
    (VEHICLE, 'fins = "fins"', 'fins = "F6"', "is a servo in its sequence, but is wired to"),
    (VEHICLE, "[ground]", "[gruond]", "did you mean 'ground'?"),
    (VEHICLE, "[ground]", '"\\u001b[1m\\u202e" = 1\n[ground]', r"unknown key '\x1b[1m\u202e'"),
    (FLIGHT, "rate_hz = 100", "rate_hz = 100.0", "must be a whole number, not 100.0"),
    (FLIGHT, 'start = "safe"', 'start = "saef"', "did you mean 'safe'?"),
    (FLIGHT, 'name = "flight"', 'name = "Flight"', "did you mean 'flight'?"),
    (FLIGHT, '"pad.counting"', '"pda.counting"', "no computer 'pda' in this scenario; did you"),
    (FLIGHT, "[states.arming]", "[states.armnig]", "is missing in [states.arming]"),
    (FLIGHT, 'baro = { unit = "m"', 'baro = { unit = "kg"', "is declared in 'm' but comes out"),
    (FLIGHT, 'battery = { unit = "V"', 'bat = { unit = "V"', "unknown name 'battery'"),
    (FLIGHT, 'range = { unit = "m"', 'range = { unit = ["m"]', "must be text, not a list"),
    (FLIGHT, "tolerance = 1.0", "tolerance = -1.0", "must be at least 0, not -1.0"),
    (FLIGHT, "tilt > tilt_max", "tilt > 30", "can only be compared with a limit"),
    (FLIGHT, "tilt > tilt_max", "accel > 3", "declare it under [limits]"),
    (FLIGHT, "tilt > tilt_max", "__import__('os')", "has no place in an expression"),
    (FLIGHT, 'of = "accel_x"', f'of = "{"(" * 400}accel_x{")" * 400}"', "nested too deeply"),
    (FLIGHT, 'of = "accel_x"', 'of = "\\u0430ccel_x"', "has no place in an expression"),
    (FLIGHT, '"move fins stowed"', '"fire fins"', "is a servo, which knows no 'fire'"),
    (FLIGHT, "hold_s = 0.1\n", "hold_ms = 100\n", "did you mean 'hold_s'?"),
    (FLIGHT, "[[states.safe.exits]]", "[states.safe.exits]", "not valid TOML"),
    (RULES, 'pattern = "absence"', 'pattern = "absense"', "did you mean 'absence'?"),
    (RULES, "within_s = [", "within_s = [nan, ", "within_s"),
    (RULES, 'event = "fired flight.landing_*"', 'event = ["", ""]', "event[1]' must not be empty"),
    (RULES, 'scope = { after = "touchdown" }', "scope = {}", "a scope is before, after"),
    (RULES, "touchdown_speed_m_s < 7", "touchdown_sped_m_s < 7", "did you mean 'touchdown_speed"),
    (RULES, 'name = "lands softly"', 'name = "lands\\nsoftly"', "one line of printable text"),
    (RULES, "[[requirements]]", "[requirements]", "not valid TOML"),
    (CALM, "stop_s", "stop", "unknown key 'stop' in [scenario]; did you mean 'stop_s'?"),
    (CALM, 'outcome = "landed"', 'outcome = "lanedd"', "did you mean 'landed'?"),
    (CALM, 'vehicle = "', 'vehicle = "x', "no such file; did you mean 'sandpiper.vehicle.toml'?"),
    (CALM, 'vehicle = "sandpiper', 'vehicle = "a\\u0000b', "must be one line of printable text"),
    (
        CALM,
        'vehicle = "sandpiper.vehicle',
        'vehicle = "flight.sequence',
        "this is a sequence, a vehicle is wanted",
    ),
    (
        CALM,
        'vehicle = "sandpiper.vehicle',
        'vehicle = "sandpiper.requirements',
        "this is a list of requirements, a vehicle is wanted",
    ),
    (CALM, 'switch = "launch"', 'switch = "lanch"', "did you mean 'launch'?"),
    (CALM, "[expect]", "[expect]\nfoo = 1", "unknown key 'foo' in [expect]"),
    (CALM, "[expect]", "[[faults]]\n[expect]", "'name' is missing in [faults[1]]"),
    (CALM, "[scenario]", "scenario = [1]\n[other]", "'scenario' must be a table, not a list"),
    (SCRUB, "stop_s", "stop", "unknown key 'stop' in [scenario]; did you mean 'stop_s'?"),
    (SCRUB, '"calm_landing.s', '"scrub.s', "extends this file again"),
    (SCRUB, '"calm_landing.s', '"calm.s', "did you mean 'calm_landing.scenario.toml'?"),
    (SCRUB, '"calm_landing.s', '"a\\u0000.s', "is no name of a file"),
    (SCRUB, '"calm_landing.scenario.toml"', "3", "must be text"),
]  # fmt: skip

# what a whole file can be
WHOLE = [
    ("empty", b"", "there is no table"),
    ("a comment", b"# nothing\n", "there is no table"),
    ("binary", bytes(range(256)), "is not UTF-8 text"),
    ("UTF-16", "[scenario]".encode("utf-16"), "is not UTF-8 text"),
    ("zeros", bytes(100), "not valid TOML"),
    ("too large", b"#" * (1 << 21), "is larger than 1048576 bytes"),
    ("deep lists", b"x = " + b"[" * 5000 + b"]" * 5000, "is nested too deeply"),
    ("deep tables", b"[" + b".".join([b"a"] * 3000) + b"]\n", "is nested too deeply"),
    ("another language", b'{"scenario": {}}', "not valid TOML"),
    ("CR alone", b"a = 1\rb = 2\r", "a line ends in CR alone"),
    ("a long line", b"x" * 500_000 + b" = 1", "unknown key 'xxx"),
    ("a marker in the middle", "a = 1\n\ufeffb = 2".encode(), "not valid TOML"),
]


@pytest.fixture
def project(tmp_path):
    for name in FILES:
        shutil.copyfile(demo_folder() / name, tmp_path / name)
    return tmp_path


def told(path: Path, capsys) -> str:
    """The one line that is said of a scenario."""
    assert main(["fly", str(path)]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("drycount: ")
    assert captured.err.count("\n") == 1
    line = captured.err.rstrip("\n")
    assert line.isprintable()
    assert not FOREIGN.search(line.replace(str(path.parent), ""))
    return line


@pytest.mark.parametrize(
    ("file", "old", "new", "words"), CASES, ids=[f"{c[0][:6]}-{c[3][:40]}" for c in CASES]
)
def test_one_broken_place_is_one_line(file, old, new, words, project, capsys):
    text = (project / file).read_text(encoding="utf-8")
    assert old in text
    (project / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    line = told(project / (SCRUB if file == SCRUB else CALM), capsys)
    assert words in line
    assert re.search(r"\.toml:\d+: ", line)
    assert len(line.replace(str(project), "")) < 300


@pytest.mark.parametrize("file", [VEHICLE, FLIGHT, RULES, CALM])
@pytest.mark.parametrize(("content", "words"), [w[1:] for w in WHOLE], ids=[w[0] for w in WHOLE])
def test_one_broken_file_is_one_line(file, content, words, project, capsys):
    (project / file).write_bytes(content)
    line = told(project / CALM, capsys)
    assert words in line
    assert file in line


@pytest.mark.parametrize(
    ("base", "words"),
    [
        ("scenario = 3", "'scenario' must be a table"),
        ("[[scenario]]", "'scenario' must be a table"),
        ("", "there is no table [scenario]"),
        ('[scenario]\nextends = "scrub.scenario.toml"', "extends this file again"),
        ("[", "not valid TOML"),
    ],
)
def test_a_broken_base_is_one_line(base, words, project, capsys):
    (project / CALM).write_text(base, encoding="utf-8")
    assert words in told(project / SCRUB, capsys)


def test_a_long_row_of_bases_is_one_line(project, capsys):
    for number in range(12):
        text = f'[scenario]\nextends = "s{number + 1}.scenario.toml"\n'
        (project / f"s{number}.scenario.toml").write_text(text, encoding="utf-8")
    assert "more than 8 scenarios extend each other" in told(project / "s0.scenario.toml", capsys)


@pytest.mark.parametrize("target", ["loop.scenario.toml", "nowhere"])
def test_a_link_that_leads_nowhere_is_one_line(target, project, capsys):
    link = project / "loop.scenario.toml"
    link.symlink_to(project / target)
    assert re.search(r"is a link to nothing|symbolic links", told(link, capsys))


@pytest.mark.parametrize("file", [VEHICLE, FLIGHT, RULES, CALM])
@pytest.mark.parametrize("change", ["CR LF", "marker", "tabs", "no last line end"])
def test_ways_to_write_the_same_file_are_accepted(file, change, project):
    text = (project / file).read_text(encoding="utf-8")
    changed = {
        "CR LF": text.replace("\n", "\r\n"),
        "marker": f"\ufeff{text}",
        "tabs": text.replace(" = ", "\t=\t"),
        "no last line end": text.rstrip("\n"),
    }[change]
    before = load_scenario(project / CALM)
    (project / file).write_bytes(changed.encode())
    assert load_scenario(project / CALM).hashes == before.hashes
