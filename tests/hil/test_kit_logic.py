"""The C kit against the reference executor: every event, output and register, to the last bit."""

from __future__ import annotations

import itertools
import math
import struct
from dataclasses import replace
from functools import partial
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from kit_rig import KitExecutor, build_host

from sequencer.execute import ReferenceExecutor, values
from sequencer.sequence import load_sequence
from sequencer.testing.agreement import first_difference
from sequencer.testing.soak import pair

#: design: nearer than this, single precision may come to the other side of a comparison
CLOSE = 1e-5


@pytest.fixture(scope="module")
def kit():
    # what the language leaves undefined ends the program here
    undefined = ("-fsanitize=undefined", "-fno-sanitize-recover=undefined")
    return build_host("-O2", *undefined)


@pytest.fixture(scope="module")
def single():
    return build_host("-DDC_SINGLE")


seeds = st.integers(0, 2**64 - 1)


@given(seeds)
@settings(max_examples=100)
def test_random_sequences_give_the_reference_s_bits(kit, seed):
    """All blocks and commands; inputs that are stale, jump, or are no numbers; reboots."""
    ride = pair(seed, 0)
    assert first_difference(ride, partial(KitExecutor, library=kit)) is None


def test_wide_tables_do_the_same():
    """A hold of 33 s at 1 kHz does not fit 16 bits."""
    wide = partial(KitExecutor, library=build_host("-DDC_CODE_BITS=32"), bits=32)
    for number in range(10):
        assert first_difference(pair(1, number), wide) is None, number


def _doubles(rng):
    yield from (
        0.0,
        -0.0,
        1.0,
        2.0,
        0.5,
        4.0,
        5e-324,
        2.2250738585072014e-308,
        1.7976931348623157e308,
    )
    yield from (math.nextafter(base, to) for base in (1.0, 4.0, 2.0**-1022) for to in (0.0, 9.0))
    for _ in range(20_000):
        found = struct.unpack("<d", rng.randbytes(8))[0]
        if math.isfinite(found):
            yield abs(found)


def test_the_root_is_rounded_correctly(kit, single):
    """Against IEEE 754's square root as the processor has it."""
    rng = Random(1)  # noqa: S311 - nothing to keep secret
    for x in _doubles(rng):
        assert kit.host_root(x).hex() == math.sqrt(x).hex()
    singles = np.frombuffer(rng.randbytes(80_000), dtype=np.float32)
    for x in np.abs(singles[np.isfinite(singles)]).tolist():
        assert single.host_root(x) == float(np.sqrt(np.float32(x))), x


_ZEROS = """
[sequence]
name = "zeros"
rate_hz = 100
boot_s = 0
start = "on"
[inputs]
x = { unit = "1" }
y = { unit = "1" }
[estimates]
size = { expression = "abs(x)", unit = "1" }
root = { expression = "sqrt(x)", unit = "1" }
less = { expression = "-x", unit = "1" }
low = { expression = "min(x, y)", unit = "1" }
high = { expression = "max(x, y)", unit = "1" }
ratio = { expression = "x / y", unit = "1" }
top = { block = "peak", of = "x", unit = "1" }
middle = { block = "median3", of = "x", unit = "1" }
[states.on]
phase = "ground"
"""


def test_both_zeros_and_the_smallest_numbers_come_out_alike(kit, tmp_path):
    (tmp_path / "zeros.sequence.toml").write_text(_ZEROS)
    sequence = load_sequence(tmp_path / "zeros.sequence.toml")
    reference, ours = ReferenceExecutor(sequence), KitExecutor(sequence, kit)
    numbers = (0.0, -0.0, 5e-324, -5e-324, 1.0, math.nan)
    for clock, sides in enumerate(itertools.product(numbers, numbers)):
        wanted, got = (each.tick(clock, sides, (True, True)) for each in (reference, ours))
        assert repr(got) == repr(wanted)
        registers = ours.registers()
        assert repr({key: registers[key] for key in reference.registers()}) == repr(
            reference.registers()
        ), sides


class _Closest:
    """How close the reference's comparisons were so far, relative to the largest number in them.

    Operands that are equal to the last bit come from numbers that both precisions hold.
    """

    def __init__(self):
        self.gap = math.inf
        self.largest = 0.0

    def comparison(self, compare):
        def run(a, b):
            self.largest = max(self.largest, abs(a), abs(b))
            if not isinstance(a, bool) and a != b:
                self.gap = min(self.gap, abs(a - b) / self.largest)
            return compare(a, b)

        return run


def _tame(rng, steps):
    """The same, with values that single precision holds too, and seldom on a limit."""

    def value(given):
        if not math.isfinite(given):
            return given
        return float(np.float32(rng.uniform(-4.0, 4.0)))

    return [replace(step, values=tuple(value(each) for each in step.values)) for step in steps]


def _told(outputs):
    return outputs.state, outputs.events, outputs.on


def _ticks_alike(single, seed):
    """Ticks until the first close comparison, and how many there were in all."""
    rng = Random(seed)  # noqa: S311 - nothing to keep secret
    aboard = pair(seed, 0)[0]
    closest = _Closest()
    with pytest.MonkeyPatch.context() as patch:
        for operator, compare in values._COMPARISONS.items():
            patch.setitem(values._COMPARISONS, operator, closest.comparison(compare))
        reference = ReferenceExecutor(aboard.sequence)
    ours = KitExecutor(aboard.sequence, single, single=True)
    steps = _tame(rng, aboard.steps)
    for number, step in enumerate(steps):
        given = (step.clock, step.values, step.fresh)
        wanted, got = reference.tick(*given), ours.tick(*given)
        if closest.gap < CLOSE:
            return number, len(steps)
        assert _told(got) == _told(wanted), (seed, number)
        assert got.demands == pytest.approx(wanted.demands, abs=1e-4), (seed, number)
    return len(steps), len(steps)


def test_single_precision_agrees_until_a_comparison_is_close(single):
    """Design: operands that differ by less than 1e-5 relative may be told apart wrongly."""
    runs = [_ticks_alike(single, seed) for seed in range(150)]
    assert sum(alike for alike, _ in runs) > 0.95 * sum(ticks for _, ticks in runs) > 3000
