"""What must hold in every flight of the demo does break when logic or vehicle is spoilt."""

from __future__ import annotations

from pathlib import Path

import sequencer
from sequencer.record import Verdict

HEAD = """\
[scenario]
extends = "{base}.scenario.toml"
title = "made for a test"
reason = "one thing is spoilt"
covers = {{ fault = "none", phase = "any" }}
stop_s = {stop}
{more}
[expect]
outcome = "landed"
"""


def verdicts(
    folder: Path, stop: float, more: str = "", base: str = "calm_landing"
) -> dict[str, Verdict]:
    path = folder / "spoilt.scenario.toml"
    path.write_text(HEAD.format(stop=stop, more=more, base=base), encoding="utf-8")
    return {verdict.requirement: verdict for verdict in sequencer.load(path).fly().verdicts}


def spoil(folder: Path, name: str, old: str, new: str) -> None:
    path = folder / name
    text = path.read_text(encoding="utf-8")
    assert old in text, "the demo has changed: this test no longer spoils it"
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_nobody_takes_the_abort_over(folder: Path) -> None:
    spoil(folder, "flight.sequence.toml", '"set owns_abort"', '"clear owns_abort"')
    found = verdicts(folder, 16.0)
    one = found["one computer owns the abort"]
    assert one.status == "broken"
    assert "none of pad_owns_abort, flight_owns_abort held from" in one.because
    assert found["no two computers own the abort"].status == "met"


def test_the_pad_does_not_let_go_of_the_abort(folder: Path) -> None:
    spoil(
        folder,
        "pad.sequence.toml",
        'do = ["release hold_down", "set released", "clear owns_abort"]',
        'do = ["release hold_down", "set released"]',
    )
    found = verdicts(folder, 16.0)
    for name in ("one computer owns the abort", "no two computers own the abort"):
        assert found[name].status == "broken"
    assert "held together from" in found["one computer owns the abort"].because


def test_a_channel_that_conducts_by_itself_lights_a_motor_unasked(folder: Path) -> None:
    found = verdicts(
        folder,
        5.0,
        '\n[[faults]]\nname = "P1 shorted"\nkind = "channel_shorted_on"\nplace = "pad.P1"\n'
        "at_s = 3.0\n",
    )
    assert found["no motor lights unasked"].status == "broken"
    assert found["no motor lights without the key"].status == "met"


def test_a_pad_that_fires_again_while_people_wait(folder: Path) -> None:
    spoil(
        folder,
        "pad.sequence.toml",
        '"clear released", "sound horn"]',
        '"clear released", "release hold_down", "sound horn"]',
    )
    spoil(
        folder,
        "pad.sequence.toml",
        'inhibits = ["key_out", "unverified"]',
        'inhibits = ["key_out", "flight_not_ready"]',
    )
    found = verdicts(folder, 20.0, base="motor_beside_verified")
    assert found["held after an abort on the pad"].status == "broken"


def test_a_parachute_that_an_inhibit_keeps_in(folder: Path) -> None:
    spoil(
        folder,
        "flight.sequence.toml",
        'main_chute = { kind = "parachute", pulse_s = 0.6, inhibits = ["key_out"] }',
        'main_chute = { kind = "parachute", pulse_s = 0.6, inhibits = ["key_out", "not_landing"] }',
    )
    found = verdicts(folder, 60.0, base="planned_recovery")
    assert found["a parachute is never kept in"].status == "broken"
    assert found["comes home one way or the other"].status == "broken"
