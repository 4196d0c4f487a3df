"""The public suite for targets: what passes it, and what it finds."""

from __future__ import annotations

import re
import shlex
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from reference_board import ReferenceBoard
from wires import DEMO, Wire, sequence_in

from hil.targets import LinkTarget
from hil.testing import NotConformingError, check_target, inputs_for
from sequencer.errors import UsageError
from sequencer.flight.model import ModelTarget
from sequencer.flight.target import Capability
from sequencer.sequence import load_sequence

FLIGHT = load_sequence(DEMO / "flight.sequence.toml")
PAD = load_sequence(DEMO / "pad.sequence.toml")
BOARD = shlex.quote(str(Path(__file__).parent / "reference_board.py"))


@pytest.fixture
def sequence(tmp_path):
    return sequence_in(tmp_path)


@pytest.mark.parametrize("executor", ["reference", "compiled"])
@pytest.mark.parametrize("logic", [FLIGHT, PAD], ids=lambda logic: logic.name)
def test_the_model_conforms(logic, executor):
    found = check_target(
        "model", logic, ticks=600, opener=lambda logic: ModelTarget(logic, "", executor)
    )
    assert found[0] == "opens, and says what it is"
    assert found[-1] == "brings no sequence of its own"
    states = int(found[1].split()[-2])
    assert states >= 3  # the inputs lead somewhere


def test_a_program_conforms():
    found = check_target(f"exec:{shlex.quote(sys.executable)} {BOARD} {PAD.path}", PAD)
    assert found[-1] == "refuses another sequence"


@pytest.mark.parametrize(
    "otherwise", [{}, {"value": "f"}, {"name": "a\x1b\nb"}, {"abilities": 0}, {"max_payload": 256}]
)
def test_the_reference_board_conforms(otherwise):
    assert len(check_target("board", FLIGHT, ticks=150, opener=on_board(**otherwise))) == 7


def on_board(kind=ReferenceBoard, **otherwise):
    """Opens a target on a board in memory that executes what the sequence's file says."""

    def opener(logic):
        built = load_sequence(logic.path) if logic.path.exists() else logic
        wire = Wire(kind(built, **otherwise))
        return LinkTarget(logic, wire, clock=wire.clock)

    return opener


def wrong(**methods):
    """The model with methods of its own."""
    return lambda logic: type("Wrong", (ModelTarget,), methods)(logic, "", "reference")


def changed(at, **fields):
    """`exchange` with fields of its outputs changed from one tick on."""

    def exchange(self, tick, values, fresh):
        outputs = ModelTarget.exchange(self, tick, values, fresh)
        return replace(outputs, **fields) if tick >= at else outputs

    return exchange


def cold(self, boot):
    del boot
    self._executor.boot()


@pytest.mark.parametrize(
    ("opener", "line"),
    [
        (wrong(capabilities={"reboot"}), "no frozenset of Capability"),
        (wrong(tolerance_s=-1.0), "its tolerance is -1.0 s"),
        (wrong(describe=lambda _: {}), "does not describe what it is"),
        (wrong(describe=lambda _: {"target": "a\nb"}), "something else than a line of text"),
        (wrong(exchange=changed(9, state="nowhere")), "tick 9: there is no state 'nowhere'"),
        (wrong(exchange=changed(9, on=(True,))), "tick 9: 1 entries in 'on'"),
        (wrong(exchange=changed(9, demands=(float("nan"),))), "tick 9: a demand is no finite"),
        (wrong(exchange=changed(9, message=None)), "tick 9: a message is due, and missing"),
        (wrong(exchange=changed(9, message=(0.0,))), "tick .*: a message is not due"),
        (wrong(exchange=changed(9, events=(("set", "seen", ""),))), "tick 9: .*it set 'seen'"),
        (wrong(reset=cold), "tick .*: the model .*, it "),
        (wrong(reset=lambda *_: None), "tick 0: "),
        (wrong(registers=dict), "register 'state' is None"),
        (
            wrong(describe=lambda _: {"target": "me", "sequence": "mine"}),
            "takes a sequence that it does not execute",
        ),
    ],
)
def test_what_the_suite_finds(sequence, opener, line):
    """Each is one way to be wrong; `small` publishes on every third tick."""
    with pytest.raises(NotConformingError, match=line) as caught:
        check_target("mine", sequence, opener=opener)
    assert str(caught.value).startswith("target 'mine', sequence 'small': ")
    assert "\n" not in str(caught.value)


def test_a_target_that_does_not_open_raises_its_own_error(sequence):
    with pytest.raises(UsageError, match="unknown target 'modle'"):
        check_target("modle", sequence)


def test_a_target_without_claims_is_not_asked_for_them(sequence):
    plain = wrong(capabilities=frozenset({Capability.LOCK_STEP}))
    found = check_target("mine", sequence, opener=plain)
    assert found[3:5] == ("does not claim to reboot", "does not claim to show registers")


def test_inputs_repeat_by_seed(sequence):
    one, other, third = (list(inputs_for(sequence, 50, seed)) for seed in (1, 1, 2))
    assert repr(one) == repr(other)
    assert repr(one) != repr(third)


def test_the_example_of_the_page_runs(monkeypatch, capsys):
    root = Path(__file__).parents[2]
    text = (root / "docs/targets.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    monkeypatch.chdir(root)
    exec(compile(example, "targets.md", "exec"), {})  # noqa: S102 - our own text
    assert "300 ticks from a cold boot" in capsys.readouterr().out
