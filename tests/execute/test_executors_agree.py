"""The compiled executor does what the reference does, on every tick, to the last bit."""

from __future__ import annotations

import struct

from hypothesis import given
from hypothesis import strategies as st

from sequencer.execute import CompiledExecutor, ReferenceExecutor
from sequencer.testing.sequences import sequences, streams


def bits(values):
    """Floats as their bytes: 0.0 is not -0.0, and NaN equals itself."""
    return {name: struct.pack("<d", value) for name, value in values.items()}


@st.composite
def flights(draw):
    sequence = draw(sequences())
    return sequence, draw(streams(sequence)), draw(st.integers(0, 60))


@given(flights())
def test_every_event_output_and_register_is_the_same(flight):
    """With a reboot somewhere in between, which keeps the retained flags."""
    sequence, stream, reboot = flight
    reference, compiled = ReferenceExecutor(sequence), CompiledExecutor(sequence)
    assert bits(compiled.registers()) == bits(reference.registers())
    start = 0
    for number, step in enumerate(stream):
        if number == reboot:
            assert compiled.flags() == reference.flags()
            reference.boot(reference.flags())
            compiled.boot(compiled.flags())
            start = step.clock
        given_ = (step.clock - start, step.values, step.fresh)
        expected, got = reference.tick(*given_), compiled.tick(*given_)
        assert repr(got) == repr(expected)
        assert bits(compiled.registers()) == bits(reference.registers())
