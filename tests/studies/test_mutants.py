"""Mutants of a sequence so small that who notices what can be said by hand."""

from __future__ import annotations

import io
import json
import shutil
from pathlib import Path

import pytest
from rich.console import Console

from sequencer.cli.main import main
from sequencer.errors import InputError, UsageError
from sequencer.lint.solving import NOT_INSTALLED
from sequencer.report.mutants import print_mutants
from sequencer.sequence import load_sequence
from sequencer.studies.mutants import Fate, Summary, fly_mutants, mutants_of
from sequencer.studies.mutants.crew import Crew

SEQUENCE = Path(__file__).parent / "data" / "chute.sequence.toml"

HEAD = """\
[scenario]
title = "made for a test"
reason = "made for a test"
covers = { fault = "replay", phase = "any" }
sequences = ["chute.sequence.toml"]

[stream]
file = "climb.log.csv"
time = { column = "t", unit = "s" }
[stream.columns]
height = { column = "h", unit = "m" }
[stream.constants]
spare = false
"""
#: one row a tick: above 10 m from tick 3 on, at the top on tick 6, 4 m below it on tick 8
HEIGHTS = (0, 5, 10, 15, 20, 25, 30, 28, 26, 24, 22, 20, 18, 16)
FLOWN = """\
key = true

[expect]
outcome = "replayed"
order = ["fired flight.horn", "ended flight.horn", "took flight.liftoff", "fired flight.chute"]
events = [
  { event = "entered flight.ascent", between_s = [0.4, 0.4] },
  { event = "entered flight.descent", between_s = [0.8, 0.8] },
  { event = "ended flight.horn", between_s = [0.2, 0.2] },
]
never = ["cut *", "blocked *", "ignored *"]
"""
KEY_OUT = """\
key = false

[expect]
outcome = "replayed"
order = ["blocked flight.chute"]
never = ["fired flight.chute"]
"""
#: 'spare' is on: the top comes with the liftoff
MORE = """\
key = true

[expect]
outcome = "replayed"
order = ["took flight.liftoff", "took flight.top", "fired flight.chute"]
events = [{ event = "entered flight.descent", between_s = [0.5, 0.5] }]
never = ["took flight.lost"]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "mine"
    made.mkdir()
    shutil.copy(SEQUENCE, made)
    rows = [f"{i / 10},{height}" for i, height in enumerate(HEIGHTS)]
    (made / "climb.log.csv").write_text("\n".join(["t,h", *rows]) + "\n")
    (made / "flown.scenario.toml").write_text(HEAD + FLOWN)
    (made / "key_out.scenario.toml").write_text(HEAD + KEY_OUT)
    return made


def flown(folder: Path, kept: str = "kept", **options) -> Summary:
    options = {"folder": folder.parent / kept, "jobs": 1} | options
    return fly_mutants(folder / SEQUENCE.name, **options)


def test_it_says_who_notices_what(folder):
    summary = flown(folder)
    assert summary.scenarios == ("flown", "key_out")
    killers = {fate.id: tuple(fate.killers) for fate in summary.fates if fate.killers}
    # the log goes up in steps of 5 m, and down in steps of 2 m: only 10 m itself is near a limit
    assert killers == dict.fromkeys(
        (
            "limit lowered: up",
            "tolerance below: up",
            "term negated of inhibit key_out: not key",
            "pulse halved: horn",
            "pulse doubled: horn",
            "hold removed of 'liftoff'",
            "hold doubled of 'liftoff'",
            "comparison flipped of 'liftoff': height > up",
            "exit removed of 'liftoff'",
            "wrong target of 'liftoff'",
            "term dropped of 'top': below > drop",
            "comparison flipped of 'top': below > drop",
            "term negated of 'top': spare",
            "exit removed of 'top'",
            "wrong target of 'top'",
            "action removed: fire chute ('top')",
            "action removed: sound horn (entering pad)",
        ),
        ("flown",),
    ) | {"inhibit removed: key_out of chute": ("key_out",)}


def test_survivors_tell_whether_anything_was_different(folder):
    fates = {fate.id: fate for fate in flown(folder).fates}
    assert fates["pulse halved: chute"].differs == ("flown",)  # nobody asks how long it is on
    assert fates["term dropped of 'lost': spare"].differs == ("key_out",)  # it goes back to the pad
    assert fates["inhibit removed: again of chute"].differs == ()  # 'spare' is never on


def test_what_can_make_no_difference_is_proved(folder):
    proved = {fate.id: fate.proof for fate in flown(folder).fates if fate.status == "equivalent"}
    # 'spare' takes it to the descent before it could be lost; and 'out' is never set
    lost = {"exit removed of 'lost'", "wrong target of 'lost'"}
    never = {"inhibit removed: again of chute", "action removed: set out (leaving descent)"}
    assert lost | never <= proved.keys()
    assert all(proved.values())
    assert "pulse halved: chute" not in proved


def test_lines_and_sentences(folder):
    fates = {fate.id: fate for fate in flown(folder).fates}
    text = SEQUENCE.read_text().splitlines()
    hold = fates["hold doubled of 'liftoff'"]
    assert hold.change == "'liftoff' of pad waits 0.4 s instead of 0.2 s"
    assert text[hold.line - 1] == "hold_s = 0.2"
    limit = fates["tolerance below: drop"]
    assert limit.change == "drop is 2.5 m instead of 3 m"
    assert text[limit.line - 1].startswith("drop =")
    assert not limit.critical
    action = fates["action removed: set out (leaving descent)"]
    assert text[action.line - 1] == 'on_leave = ["set out"]'
    assert action.critical  # an inhibit reads the flag


def test_every_change_is_made_once():
    mutants = mutants_of(load_sequence(SEQUENCE))
    assert len({mutant.id for mutant in mutants}) == len(mutants)


def test_a_second_run_flies_nothing(folder, monkeypatch):
    first = flown(folder)
    monkeypatch.setattr(Crew, "fly", lambda _crew, groups: iter([_none(groups)]))
    monkeypatch.setattr(Crew, "baselines", lambda _crew, groups: iter([_none(groups)] * 0))
    assert flown(folder) == first


def _none(tasks) -> list:
    assert not list(tasks)
    return []


def test_only_what_a_new_scenario_could_change_is_flown_again(folder, monkeypatch):
    before = flown(folder)
    asked = []
    fly = Crew.fly

    def watched(crew, groups):
        groups = list(groups)
        asked.extend(found.id for group in groups for found in group.known if not found.killers)
        return fly(crew, groups)

    monkeypatch.setattr(Crew, "fly", watched)
    (folder / "more.scenario.toml").write_text(HEAD.replace("spare = false", "spare = true") + MORE)
    after = flown(folder)
    assert {fate.id for fate in before.fates if fate.killers}.isdisjoint(asked)
    fates = {fate.id: fate for fate in after.fates}
    assert tuple(fates["exits swapped 'top' and 'lost'"].killers) == ()
    assert tuple(fates["term dropped of 'top': spare"].killers) == ("more",)


def test_what_is_found_before_it_is_stopped_is_kept(folder, monkeypatch):
    fly, seen = Crew.fly, []

    def stopped(crew, groups):
        for found in fly(crew, groups):
            yield found
            seen.extend(each.id for each in found)
            if len(seen) > 10:
                raise KeyboardInterrupt

    monkeypatch.setattr(Crew, "fly", stopped)
    with pytest.raises(KeyboardInterrupt):
        flown(folder)
    monkeypatch.setattr(Crew, "fly", fly)
    whole = flown(folder, kept="other")
    asked = []

    def watched(crew, groups):
        groups = list(groups)
        asked.extend(found.id for group in groups for found in group.known if not found.killers)
        return fly(crew, groups)

    monkeypatch.setattr(Crew, "fly", watched)
    assert flown(folder) == whole
    killed = {fate.id for fate in whole.fates if fate.killers}
    assert killed & set(seen)
    assert not killed & set(seen) & set(asked)


def test_jobs_change_nothing(folder):
    one = flown(folder, alone=True)
    assert flown(folder, kept="other", jobs=2, alone=True) == one
    assert one.alone
    assert tuple(
        next(fate for fate in one.fates if fate.id == "exit removed of 'top'").killers
    ) == ("flown", "key_out")


def test_a_sample_is_the_same_every_time(folder):
    first = flown(folder, draw=(5, 3))
    assert [fate.id for fate in flown(folder, draw=(5, 3)).fates] == [f.id for f in first.fates]
    assert len(first.fates) == 5
    assert [fate.id for fate in flown(folder, draw=(5, 4)).fates] != [f.id for f in first.fates]


def test_where_there_is_nothing_to_notice_no_share_is_told():
    out = io.StringIO()
    nothing = Summary("flight", Path("a.sequence.toml"), "0" * 16, ("calm",), (), alone=False)
    print_mutants(nothing, Console(file=out, width=200))
    assert out.getvalue().splitlines()[:4] == [
        "flight: no mutant to notice",
        "touching firing, inhibits or aborts: no mutant to notice",
        "limits moved by 10 %: none to notice",
        "limits moved by their own tolerance: none to notice",
    ]
    assert "%" not in out.getvalue().replace("10 %", "")


@pytest.mark.parametrize(("proof", "told"), [(NOT_INSTALLED, 1), ("it is too large", 0)])
def test_that_no_solver_looked_is_told_once(proof, told):
    fate = Fate("1", "term dropped", 7, "a change", False, "survived", {}, (), proof)
    found = Summary("f", Path("a.toml"), "0" * 16, ("calm",), (fate, fate), alone=False)
    out = io.StringIO()
    print_mutants(found, Console(file=out, width=200))
    said = f"no solver looked whether these can make a difference: {NOT_INSTALLED}\n"
    assert out.getvalue().count(said) == told


def test_command(folder, capsys):
    kept = str(folder.parent / "kept")
    line = ["mutants", str(folder / SEQUENCE.name), "--out", kept, "--jobs", "1"]
    assert main(line) == 0
    out = capsys.readouterr().out
    assert "flight: 16 of 24 mutants noticed (66.6 %), 8 more proved equivalent" in out
    assert "nothing notices if" in out
    assert "chute.sequence.toml:30  chute is on for 0.8 s instead of 0.4 s" in out
    assert main([*line, "--least", "90"]) == 1
    capsys.readouterr()
    assert main([*line, "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["format"] == "drycount mutants results 1"
    assert document["structural"]["killed"] == 16
    assert len(document["mutants"]) == len(mutants_of(load_sequence(SEQUENCE)))


def test_nothing_on_a_terminal_is_wider_than_it(folder):
    summary = flown(folder, alone=True)
    for width in (80, 120):
        out = io.StringIO()
        page = Console(file=out, width=width, force_terminal=True, color_system=None)
        print_mutants(summary, page, everything=True)
        assert max(map(len, out.getvalue().splitlines())) <= width


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["chute.sequence.toml", "none.scenario.toml"], "none.scenario.toml: no such file"),
        (["none.sequence.toml"], "none.sequence.toml: no such file"),
        (["flown.scenario.toml"], "flown.scenario.toml:"),
        (["chute.sequence.toml", "--seed", "3"], "--seed goes with --sample"),
        (["chute.sequence.toml", "--sample", "0"], "'0' is not a whole number from 1"),
        (["chute.sequence.toml", "--least", "101"], "'101' is not a whole number from 0 to 100"),
        (["chute.sequence.toml", "--out", "climb.log.csv"], "cannot be written: "),
        (["other.sequence.toml", "flown.scenario.toml"], "none of 1 scenarios flies it"),
    ],
)
def test_bad_input_is_told_in_one_line(folder, monkeypatch, capsys, arguments, told):
    monkeypatch.chdir(folder)
    shutil.copy(SEQUENCE, folder / "other.sequence.toml")
    assert main(["mutants", *arguments]) == 2
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1


def test_a_damaged_file_of_results_is_told(folder):
    flown(folder, draw=(1, 1))
    (path,) = (folder.parent / "kept").iterdir()
    path.write_text("{}")
    with pytest.raises(UsageError, match="holds no results of mutants; remove it"):
        flown(folder)


def test_a_scenario_that_is_broken_is_told(folder):
    (folder / "broken.scenario.toml").write_text("[scenario]\n")
    with pytest.raises(InputError, match=r"broken\.scenario\.toml"):
        flown(folder)


def test_a_scenario_that_falls_short_as_it_is_is_told(folder):
    (folder / "short.scenario.toml").write_text(HEAD + FLOWN.replace("key = true", "key = false"))
    with pytest.raises(UsageError, match="short falls short as it is"):
        flown(folder)
