"""Boards and ports that cannot be used, from the command line: one line, exit status 2."""

from __future__ import annotations

import os
import pty
import shlex
import sys
from pathlib import Path

import pytest
from wires import DEMO

from hil.streams import PortStream, ProgramStream
from sequencer.cli.main import main

BOARD = shlex.quote(str(Path(__file__).parent / "reference_board.py"))
PROGRAM = f"flight=exec:{shlex.quote(sys.executable)} {BOARD} {DEMO}"


@pytest.fixture(autouse=True)
def hurry(monkeypatch):
    monkeypatch.setattr("hil.streams._GRACE_S", 0.2)


def lines_of(on, capsys):
    """What flying on this target says on standard error."""
    assert main(["fly", str(DEMO / "calm_landing.scenario.toml"), "--on", on]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    return said.err.splitlines()


@pytest.mark.parametrize(
    ("on", "words"),
    [
        ("serial:/dev/ttyNONE", "port '/dev/ttyNONE' does not exist"),
        (f"{PROGRAM}/flight.sequence.toml version=7", "speaks version 7 of the link"),
        (f"{PROGRAM}/flight.sequence.toml digest={'ab' * 32}", "executes sequence abababab, but"),
        (f"{PROGRAM}/pad.sequence.toml", "has no input 'plan_chute', sequence 'flight' has"),
        (f"{PROGRAM}/nothing.toml", "ended with status 1: "),
    ],
)
def test_what_cannot_be_flown_on_is_told_in_one_line(on, words, capsys):
    (line,) = lines_of(on, capsys)
    assert line.startswith("drycount: ")
    assert words in line


@pytest.mark.parametrize(("program", "word"), [("sleep 60", "is silent"), ("yes", "babbles")])
def test_what_does_not_answer_is_told_in_one_line(program, word, capsys, monkeypatch):
    monkeypatch.setattr("hil.targets._PROGRAM_PATIENCE_S", 0.2)
    (line,) = lines_of(f"pad=exec:{program}", capsys)
    assert line.startswith(f"drycount: program '{program.split()[0]}' {word}")
    assert line.endswith(" (does it speak the link on its standard output?)")


def test_a_program_that_babbles_without_end_is_not_listened_to_for_long(capsys, monkeypatch):
    """As many seconds as a program has to answer would be gigabytes."""
    taken = []
    read = ProgramStream.read

    def counted(self, timeout_s):
        taken.append(read(self, timeout_s))
        return taken[-1]

    monkeypatch.setattr(ProgramStream, "read", counted)
    (line,) = lines_of("pad=exec:yes", capsys)
    assert "babbles" in line
    assert sum(map(len, taken)) < 5_000_000


def test_a_busy_port_is_told_in_one_line(capsys):
    mine, its = pty.openpty()
    name = os.ttyname(its)
    holder = PortStream(name)
    (line,) = lines_of(f"flight=serial:{name}", capsys)
    assert line == (
        f"drycount: port '{name}' is in use by another program, or by another computer of the "
        "scenario"
    )
    holder.close()
    os.close(its)
    os.close(mine)
