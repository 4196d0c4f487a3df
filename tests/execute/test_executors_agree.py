"""The compiled executor does what the reference does, on every tick, to the last bit."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from sequencer.testing.agreement import first_difference
from sequencer.testing.streams import random_ride

rides = st.builds(random_ride, st.randoms(use_true_random=True))


@given(rides)
def test_every_event_output_and_register_is_the_same(ride):
    """With reboots somewhere in between, and messages from another computer."""
    assert first_difference(ride) is None
