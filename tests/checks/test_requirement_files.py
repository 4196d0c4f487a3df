"""Requirement files: what they may say, and the one line that tells what is wrong in them."""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

import pytest

from sequencer.checks import judge, load_requirements
from sequencer.checks.load import build_requirements
from sequencer.checks.tables import KEYS, RequirementTable
from sequencer.errors import InputError, UsageError
from sequencer.record import SIGNALS, FlightRecord, Signal

GOOD = """\
    [[requirements]]
    name = "warning before ignition"
    reason = "people must hear it"
    pattern = "precedence"
    event = "fired pad.ascent_*"
    only_after = "fired pad.horn"
    within_s = [3.0, 30.0]

    [[requirements]]
    name = "parachute soon after apogee"
    reason = "later it opens too fast"
    pattern = "response"
    when = ["apogee", "becomes vertical_speed_m_s < -20"]
    then = "fired flight.main_chute"
    within_s = [0, 2.0]
    scope = { after = "liftoff", until = "touchdown" }

    [[requirements]]
    name = "upright under thrust"
    reason = "the loop cannot bring it back"
    pattern = "universality"
    condition = "tilt_deg < 20"
    scope = { between = ["liftoff", ["burnout A1", "burnout A2"]] }

    [[requirements]]
    name = "never two mains"
    reason = "one inhibits the other"
    pattern = "bounded_existence"
    event = "fired flight.main_chute"
    at_most = 1

    [[requirements]]
    name = "clear of the pad before tilting"
    reason = "people"
    pattern = "absence"
    event = "becomes tilt_deg > 5 and height_m < 3"

    [[requirements]]
    name = "it comes down"
    reason = "or it is lost"
    pattern = "existence"
    condition = "height_m < 1"
    scope = { after = "apogee" }
    """


def write(tmp_path, text):
    path = tmp_path / "common.requirements.toml"
    path.write_text(textwrap.dedent(text), encoding="utf-8")
    return path


def test_good_file(tmp_path):
    found = load_requirements(write(tmp_path, GOOD))
    assert [one.pattern for one in found] == [
        "precedence", "response", "universality", "bounded_existence", "absence", "existence",
    ]  # fmt: skip
    assert [one.unit for one in found] == ["s", "s", "deg", "1", "s", "m"]
    assert found[0].reason == "people must hear it"


BASE = 'name = "it"\nreason = "why"\n'
EVENT = 'pattern = "absence"\nevent = "{}"\n'
CONDITION = 'pattern = "universality"\ncondition = "{}"\n'
ONE = 'pattern = "exactly_one"\n'
TWO = 'of = ["tilt_deg < 3", "height_m > 5"]\n'
ANSWER = 'pattern = "response"\nwhen = "apogee"\nthen = "touchdown"\n'

# what stands below [[requirements]] (line 1), the line to blame, words of the message, the hint
BAD = {
    "no pattern": (BASE, 1, "'pattern' is missing", None),
    "no reason": ('name = "it"\n' + EVENT.format("apogee"), 1, "'reason' is missing", None),
    "no name": ('reason = "x"\n' + EVENT.format("apogee"), 1, "'name' is missing", None),
    "empty name": ('name = ""\nreason = "x"\n' + EVENT.format("apogee"), 2, "name", None),
    "unknown pattern": (BASE + 'pattern = "respons"\n', 4, "not one of", "response"),
    "unknown key": (BASE + EVENT.format("apogee") + "withn_s = [0, 1]\n", 6, "unknown key",
                    "within_s"),
    "unknown kind": (BASE + EVENT.format("fird flight.x"), 5, "unknown kind of event 'fird'",
                     "fired"),
    "unknown kind, no name": (BASE + EVENT.format("apoge"), 5, "unknown kind", "apogee"),
    "name where none belongs": (BASE + EVENT.format("liftoff A1"), 5, "'liftoff' takes no name",
                                "liftoff"),
    "name is missing": (BASE + EVENT.format("fired"), 5, "'fired' needs a name", "fired *"),
    "two names": (BASE + EVENT.format("fired flight.a flight.b"), 5, "one word", None),
    "condition for an event": (BASE + EVENT.format("tilt_deg > 20"), 5, "is a condition",
                               None),
    "empty list of events": (BASE + 'pattern = "absence"\nevent = []\n', 5,
                             "an empty list of events never comes", None),
    "number for an event": (BASE + 'pattern = "absence"\nevent = 3\n', 5, "must be", None),
    "unknown signal": (BASE + CONDITION.format("tlt_deg < 20"), 5, "unknown name 'tlt_deg'",
                       "tilt_deg"),
    "no condition at all": (BASE + CONDITION.format("tilt_deg + 20"), 5, "a condition is needed",
                            None),
    "syntax": (BASE + CONDITION.format("tilt_deg < "), 5, "is no expression", None),
    "units mixed": (BASE + CONDITION.format("tilt_deg < height_m"), 5, "mixes", None),
    "two units": (BASE + CONDITION.format("height_m > 5 and speed_m_s < 3"), 5,
                  "compares m and m/s", None),
    "not equal": (BASE + CONDITION.format("height_m != 5"), 5, "'!=' has no margin", None),
    "call": (BASE + CONDITION.format("open(tilt_deg)"), 5, "unknown function 'open'", None),
    "becomes nonsense": (BASE + EVENT.format("becomes tilt_dg > 3"), 5, "unknown name 'tilt_dg'",
                         "tilt_deg"),
    "nothing to be absent": (BASE + 'pattern = "absence"\n', 4, "needs event or condition", None),
    "both": (BASE + EVENT.format("apogee") + 'condition = "tilt_deg < 3"\n', 6,
             "give either event or condition", None),
    "key of another pattern": (BASE + EVENT.format("apogee") + 'then = "touchdown"\n', 6,
                               "'then' does not belong to 'absence'", None),
    "response without answer": (BASE + 'pattern = "response"\nwhen = "apogee"\n', 4,
                                "needs then or then_condition or then_throughout", None),
    "two answers": (BASE + ANSWER + 'then_condition = "tilt_deg < 3"\n', 7, "give either", None),
    "event answers a condition": (
        BASE + 'pattern = "response"\nwhen_condition = "tilt_deg > 3"\nthen = "apogee"\n', 5,
        'write when = "becomes tilt_deg > 3"', None),
    "condition precedes by event": (
        BASE + 'pattern = "precedence"\ncondition = "tilt_deg > 3"\nonly_after = "apogee"\n', 5,
        'write event = "becomes tilt_deg > 3"', None),
    "window backwards": (BASE + ANSWER + "within_s = [2, 1]\n", 7, "runs backwards", None),
    "window before zero": (BASE + ANSWER + "within_s = [-1, 1]\n", 7, "within_s", None),
    "window of one": (BASE + ANSWER + "within_s = [1]\n", 7, "within_s", None),
    "window of three": (BASE + ANSWER + "within_s = [1, 2, 3]\n", 7, "within_s", None),
    "window of words": (BASE + ANSWER + 'within_s = ["1", 2]\n', 7, "must be a number", None),
    "window of nan": (BASE + ANSWER + "within_s = [0, nan]\n", 7, "within_s", None),
    "window begins nowhere": (BASE + ANSWER + "within_s = [inf, inf]\n", 7, "within_s", None),
    "no bound": (BASE + 'pattern = "bounded_existence"\nevent = "apogee"\n', 4,
                 "needs at_least or at_most, or both", None),
    "bounds cross": (
        BASE + 'pattern = "bounded_existence"\nevent = "apogee"\nat_least = 3\nat_most = 2\n', 6,
        "at_least is 3, more than at_most (2)", None),
    "bound is no number": (
        BASE + 'pattern = "bounded_existence"\nevent = "apogee"\nat_most = 1.5\n', 6,
        "must be a whole number", None),
    "scope is empty": (BASE + ANSWER + "scope = {}\n", 7, "given: nothing", None),
    "scope until alone": (BASE + ANSWER + 'scope = { until = "apogee" }\n', 7, "given: until",
                          None),
    "scope of two kinds": (BASE + ANSWER + 'scope = { before = "apogee", after = "liftoff" }\n',
                           7, "given: before, after", None),
    "scope between one": (BASE + ANSWER + 'scope = { between = ["liftoff"] }\n', 7, "between",
                          None),
    "scope between is misspelt": (
        BASE + ANSWER + 'scope = { between = ["lift_off", "apogee"] }\n', 7,
        "unknown kind of event 'lift_off'", "liftoff"),
    "scope unknown": (BASE + ANSWER + 'scope = { betwen = ["liftoff", "apogee"] }\n', 7,
                      "unknown key 'betwen'", "between"),
    "scope is text": (BASE + ANSWER + 'scope = "globally"\n', 7, "must be a table", None),
    "same name twice": (BASE + EVENT.format("apogee") + "[[requirements]]\n" + BASE
                        + EVENT.format("liftoff"), 7, "two requirements named 'it'", None),
    "one of nothing": (BASE + ONE + "of = []\n", 5, "'requirements[1].of' must not be empty", None),
    "one of one": (BASE + ONE + 'of = ["tilt_deg < 3"]\n', 5,
                   "'requirements[1].of' must have at least 2 entries, not 1", None),
    "one of text": (BASE + ONE + 'of = "tilt_deg < 3"\n', 5,
                    "'requirements[1].of' must be a list, not 'tilt_deg < 3'", None),
    "one of what": (BASE + ONE, 4, "'exactly_one' needs of", None),
    "one of the same": (BASE + ONE + 'of = ["tilt_deg < 3", "tilt_deg  <  3"]\n', 5,
                        "'tilt_deg < 3' stands here twice", None),
    "one of the unknown": (BASE + ONE + 'of = ["tilt_deg < 3", "tlt_deg > 3"]\n', 5,
                           "unknown name 'tlt_deg'", "tilt_deg"),
    "one of events": (BASE + ONE + 'of = ["apogee", "liftoff"]\n', 5, "unknown name 'apogee'",
                      None),
    "gap before zero": (BASE + ONE + TWO + "gap_s = -0.1\n", 6,
                        "'requirements[1].gap_s' must be at least 0, not -0.1", None),
    "gap without end": (BASE + ONE + TWO + "gap_s = inf\n", 6, "gap_s", None),
    "gap elsewhere": (BASE + EVENT.format("apogee") + "gap_s = 0.1\n", 6,
                      "'gap_s' does not belong to 'absence', which takes event, condition", None),
    "may rest in words": (BASE + EVENT.format("apogee") + 'may_rest = "yes"\n', 6,
                          "'requirements[1].may_rest' must be true or false, not 'yes'", None),
    "not TOML": (BASE + 'pattern = "absence\n', 4, "not valid TOML", None),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_bad_file(case, tmp_path):
    text, line, words, hint = BAD[case]
    path = tmp_path / "bad.requirements.toml"
    path.write_text("[[requirements]]\n" + text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_requirements(path)
    shown = str(caught.value)
    assert "\n" not in shown
    assert shown.startswith(f"{path}:{line}: ")
    assert words in shown
    assert caught.value.nearest == hint


@pytest.mark.parametrize("text", ["", "requirements = []\n", "[requirements]\n"])
def test_file_without_requirements(text, tmp_path):
    with pytest.raises(InputError, match="requirements"):
        load_requirements(write(tmp_path, text))


def test_missing_file(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        load_requirements(tmp_path / "none.requirements.toml")


def test_events_that_can_never_come(tmp_path):
    known = ["fired flight.landing_1", "fired pad.horn", "entered flight.safe", "apogee"]
    path = write(tmp_path, "[[requirements]]\n" + BASE + EVENT.format("fired flight.landng_1"))
    with pytest.raises(InputError) as caught:
        load_requirements(path, known_events=known)
    assert "'fired flight.landng_1' can never come here" in str(caught.value)
    assert caught.value.nearest == "fired flight.landing_1"
    assert load_requirements(path)  # nothing known of the names: any is possible
    for label in ("fired flight.*", "apogee", "ended flight", "becomes tilt_deg > 20"):
        path = write(tmp_path, "[[requirements]]\n" + BASE + EVENT.format(label))
        assert load_requirements(path, known_events=known)


def test_names_taken_by_a_shared_file():
    table = RequirementTable.model_validate_json(
        '{"name": "it", "reason": "x", "pattern": "absence", "event": "apogee"}'
    )
    places = []

    def error(loc, what, *, nearest=None):
        places.append(loc)
        return InputError(what, nearest=nearest)

    with pytest.raises(InputError, match="two requirements named 'it'"):
        build_requirements([table], error, {}, taken=["it"])
    assert places == [(0, "name")]


def test_signals_of_computers_come_with_the_caller(tmp_path):
    text = "[[requirements]]\n" + BASE + CONDITION.format("flight.climb < 30 and flight.baro < 9")
    path = write(tmp_path, text)
    with pytest.raises(InputError, match=r"unknown name 'flight\.climb'"):
        load_requirements(path)
    with pytest.raises(InputError, match="compares m/s and m"):
        load_requirements(path, {"flight.climb": "m/s", "flight.baro": "m"})
    assert load_requirements(path, {"flight.climb": "m", "flight.baro": "m"})[0].unit == "m"


def test_record_in_another_unit_is_refused(tmp_path):
    import numpy as np

    path = write(tmp_path, "[[requirements]]\n" + BASE + CONDITION.format("tilt_deg < 20"))
    signals = {"tilt_deg": Signal("tilt_deg", "rad", np.zeros(3))}
    flown = FlightRecord("x", 10, 3, (), signals, "landed")
    with pytest.raises(UsageError, match="'tilt_deg' is recorded in rad"):
        judge(flown, load_requirements(path))


def test_every_pattern_of_the_schema_has_its_keys():
    assert set(RequirementTable.model_fields["pattern"].annotation.__args__) == set(KEYS)
    fields = set(RequirementTable.model_fields)
    for groups, beside in KEYS.values():
        assert {*beside, *(key for group in groups for key in group)} <= fields


def test_examples_of_the_documentation_load(tmp_path):
    page = (Path(__file__).parents[2] / "docs" / "requirements.md").read_text(encoding="utf-8")
    examples = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    signals = {name: signal.unit for name, signal in SIGNALS.items()}
    signals |= {"pad_owns_abort": "bool", "flight_owns_abort": "bool"}
    found = load_requirements(write(tmp_path, "\n".join(examples)), signals)
    assert len(found) == page.count("[[requirements]]\n")
    for pattern in KEYS:
        assert f"| `{pattern}` |" in page
