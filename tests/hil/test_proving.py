"""`make firmware`: what it counts as the same, and that it notices what is not."""

from __future__ import annotations

import shutil
from dataclasses import replace

import pytest
from kit_rig import need

from hil import demo_firmware
from hil.building import build_program
from hil.demo_firmware import build_demo
from hil.proofs import Flown, Mistake, Way, fly_all, notice_all
from hil.proving import Table, main
from sequencer.errors import UsageError
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import load_sequence

FLIGHT = load_sequence(demo_folder() / "flight.sequence.toml")
SHORT = demo_folder() / "start_refused_by_igniters.scenario.toml"


@pytest.fixture(scope="module")
def program(tmp_path_factory):
    """The exported flight computer, for this host."""
    need("cc")
    return build_program(tmp_path_factory.mktemp("program") / "flight", FLIGHT)


def test_a_folder_on_ones_own_firmware(program, capsys):
    assert main([str(SHORT), "--on", f"flight=exec:{program}", "--jobs", "1"]) == 0
    *_, model, mine, last = capsys.readouterr().out.splitlines()
    assert model.split() == ["model", "1", "8", "-", "0", model.split()[-1]]
    # 8.1 s of a computer that ticks a hundred times a second
    assert mine.split()[:5] == [f"flight=exec:{program}", "1", "8", "810", "0"]
    assert last == "2 passed, 0 failed"


def test_firmware_that_is_none_fails(capsys):
    assert main([str(SHORT), "--on", "flight=exec:cat", "--jobs", "1"]) == 1
    out = capsys.readouterr().out
    assert "FAILED flight=exec:cat, start_refused_by_igniters: program 'cat' only returns" in out
    assert out.endswith("\n1 passed, 1 failed\n")


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["nowhere"], "nowhere"),
        ([str(SHORT), "--on", "flight=exe:x"], "unknown target 'exe:x'; did you mean 'exec'?"),
        ([str(SHORT), "--only", "croe"], "no firmware of the demo is called 'croe'"),
    ],
)
def test_bad_words_are_told_in_one_line(words, complaint, capsys, tmp_path):
    with pytest.raises(SystemExit) as ended:
        main([*words, "--jobs", "1", "--build", str(tmp_path)])
    assert ended.value.code == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert complaint in line


def test_what_is_the_same_and_what_is_not():
    model = Flown("x", SHORT, fingerprint="a")
    assert model.differs(model) == ""
    assert "and yet the flight" in replace(model, fingerprint="b").differs(model)
    # single precision moves events by a tick, and with them every sample behind
    assert replace(model, fingerprint="b", tolerance_s=0.01).differs(model) == ""
    assert replace(model, tolerance_s=0.01, diverges="took another").differs(model)
    assert replace(model, error="is silent").differs(model) == "is silent"


def test_two_flights_have_one_fingerprint_only_if_they_are_the_same():
    other = demo_folder() / "start_refused_by_switches.scenario.toml"
    one, again, another = fly_all([SHORT, SHORT, other], Way("model"), 1)
    assert one == again
    assert one.fingerprint != another.fingerprint
    assert not one.fell_short


def test_firmware_without_the_mistake_is_told(program):
    mistake = Mistake("HOLD_SHORT", f"flight=exec:{program}", SHORT, 1.0, "safe", "took")
    assert notice_all([mistake], 1) == ["HOLD_SHORT: was not noticed"]


@pytest.mark.parametrize(("strict", "failed"), [("0", 0), ("1", 6)])
def test_a_tool_that_is_missing_is_told(strict, failed, monkeypatch, tmp_path, capsys):
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setenv("DRYCOUNT_NO_SKIP", strict)
    assert main([str(SHORT), "--jobs", "1", "--build", str(tmp_path / "b")]) == (failed > 0)
    out = capsys.readouterr().out
    assert "exported, qemu is left out: `arm-none-eabi-gcc` is not on the path" in out
    assert out.count("LEFT OUT") == (0 if failed else 6)
    assert out.endswith(f"\n1 passed, {failed} failed\n")


def test_each_sequence_that_a_scenario_names_is_built_once(monkeypatch, tmp_path):
    """Two sequences of the demo have the same name."""
    built = []
    each = replace(
        demo_firmware.BUILDS[0], build=lambda _, logic: built.append(logic), lacking=lambda: ""
    )
    monkeypatch.setattr(demo_firmware, "BUILDS", (each,))
    names = ("calm_landing", "motor_beside_unverified", "hold_before_launch")
    paths = [demo_folder() / f"{name}.scenario.toml" for name in names]
    (way,) = build_demo(paths, tmp_path).ways
    assert sorted(logic.name for logic in built) == ["flight", "pad", "pad"]
    assert set(way.instead) == {logic.digest for logic in built}
    target = way.target({"flight": FLIGHT.digest, "other": "0" * 64})
    assert target == f"flight=exec:{tmp_path}/flight_{FLIGHT.digest[:8]}"


def test_firmware_written_by_hand_is_for_one_sequence(monkeypatch, tmp_path):
    """What is flown of somebody else's folder is his sequences, exported."""
    monkeypatch.setattr(demo_firmware, "_way", lambda each, *_: each.name)
    monkeypatch.setattr(demo_firmware, "_mistakes", lambda _: ["one"])
    monkeypatch.setattr(demo_firmware, "_no", lambda _: "")
    shutil.copytree(demo_folder(), tmp_path, dirs_exist_ok=True)
    file = tmp_path / "flight.sequence.toml"
    file.write_text(file.read_text().replace("value = 0.4,", "value = 0.5,"))
    theirs = build_demo([tmp_path / SHORT.name], tmp_path / "build")
    assert all("by hand" not in name for name in theirs.ways)
    assert not theirs.mistakes
    ours = build_demo([SHORT], tmp_path / "build")
    assert set(theirs.ways) < set(ours.ways)
    assert ours.mistakes


def test_only_words_that_are_known(tmp_path):
    with pytest.raises(UsageError, match=r"is called 'qmeu'; did you mean 'qemu'\?"):
        build_demo([SHORT], tmp_path, ["qmeu"])


def test_many_failures_are_counted_and_the_first_are_told():
    said = []
    table = Table(said.append)
    table.count(100, [f"flight {number}" for number in range(30)])
    assert (table.passed, table.failed) == (70, 30)
    assert said[-1] == "FAILED 10 more like these"
    assert len(said) == 21
