"""The comparison behind `make soak`: a short run of it, and what it does when it is disturbed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time

import pytest
from click.testing import CliRunner

from sequencer.execute import CompiledExecutor
from sequencer.testing.agreement import first_difference
from sequencer.testing.soak import compare_pairs, main, pair


def soak(folder, pairs, **options):
    said = []
    agree = compare_pairs(pairs, 7, folder, 1, said.append, **options)
    return agree, said


def test_a_hundred_pairs_agree(tmp_path):
    agree, said = soak(tmp_path, 100)
    assert agree
    assert said[-1] == (
        "100 pairs of sequence and stream: every event, output and register is the same"
    )


def counting(seen, wrong=()):
    """Stands for the comparison: notes which pairs it was asked for."""
    numbers = {repr(pair(7, number)): number for number in range(250)}

    def compare(ride):
        seen.append(numbers[repr(ride)])
        return "it is not" if seen[-1] in wrong else None

    return compare


def test_it_goes_on_where_it_stopped_and_a_finished_one_compares_nothing(tmp_path):
    seen = []
    compare = counting(seen)
    assert soak(tmp_path, 100, compare=compare)[0]
    assert seen == list(range(100))
    agree, said = soak(tmp_path, 230, compare=compare)
    assert agree
    assert seen == list(range(230))
    assert said[0] == "100 of 230 pairs have been compared; going on from there"
    assert soak(tmp_path, 230, compare=compare)[0]
    assert len(seen) == 230


@pytest.mark.parametrize("content", ['{"done": 100, "seed": 8, "sources": ""}', "{", "[]", "null"])
def test_what_was_compared_in_another_way_counts_for_nothing(tmp_path, content):
    (tmp_path / "progress.json").write_text(content)
    seen = []
    assert soak(tmp_path, 3, compare=counting(seen))[0]
    assert seen == [0, 1, 2]


def test_a_pair_that_differs_is_told_with_how_to_repeat_it_and_is_met_again(tmp_path):
    for _ in range(2):
        agree, said = soak(tmp_path, 250, compare=counting([], wrong={120}))
        assert not agree
        assert said[-2:] == [
            "pair 120 differs: it is not",
            "alone: python -m sequencer.testing.soak --seed 7 --only 120",
        ]


def test_a_comparison_that_breaks_down_is_a_difference(tmp_path):
    def compare(_):
        raise ZeroDivisionError("once")

    agree, said = soak(tmp_path, 5, compare=compare)
    assert not agree
    assert said[0] == "pair 0 differs: ZeroDivisionError: once"


def test_one_pair_alone_and_a_folder_that_is_none(tmp_path):
    alone = CliRunner().invoke(main, ["--seed", "7", "--only", "120"])
    assert (alone.exit_code, alone.output) == (0, "pair 120: the same\n")
    (tmp_path / "file").touch()
    refused = CliRunner().invoke(
        main, ["--pairs", "1", "--jobs", "1", "--folder", str(tmp_path / "file")]
    )
    assert refused.exit_code == 2
    assert "not a directory" in refused.output


class _OneBitOff(CompiledExecutor):
    """Its fifth look at the registers finds one of them a bit off."""

    looks = 0

    def registers(self):
        found = super().registers()
        self.looks += 1
        if self.looks == 5:
            found["entered"] = -found["entered"] if found["entered"] == 0.0 else found["entered"]
        return found


def test_a_single_bit_of_a_register_is_a_difference():
    found = [first_difference(pair(7, number), _OneBitOff) for number in range(20)]
    assert any(each and each.endswith("register entered is -0.0, not 0.0") for each in found)


class _Louder(CompiledExecutor):
    """Fires once too often."""

    def tick(self, clock, values, fresh):
        out = super().tick(clock, values, fresh)
        if clock < 6:
            return out
        return type(out)(out.state, (*out.events, ("fired", "x", "")), *self._rest(out))

    @staticmethod
    def _rest(out):
        return out.on, out.demands, out.message


def test_an_event_too_many_is_a_difference():
    found = [first_difference(pair(7, number), _Louder) for number in range(5)]
    assert any(each and "events" in each and "('fired', 'x', '')" in each for each in found)


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs signals")
def test_a_run_that_is_killed_goes_on(tmp_path):
    command = [sys.executable, "-m", "sequencer.testing.soak", "--folder", str(tmp_path)]
    run = subprocess.Popen([*command, "--jobs", "1"], stdout=subprocess.DEVNULL)
    kept = tmp_path / "progress.json"
    deadline = time.monotonic() + 120.0
    while not kept.exists() and time.monotonic() < deadline:
        time.sleep(0.05)
    os.kill(run.pid, signal.SIGKILL)
    run.wait()
    again = subprocess.run([*command, "--pairs", "50"], capture_output=True, text=True, check=False)
    assert again.returncode == 0
    assert "50 of 50 pairs have been compared; going on from there" in again.stdout
