"""Hypothesis strategies for property tests of flight logic, the user's own and ours.

    from hypothesis import given, settings
    from sequencer.testing import Rehearsal, faults

    CALM = Rehearsal("calm_landing.scenario.toml")

    @settings(deadline=None)
    @given(faults(CALM))
    def test_comes_home(fault):
        assert CALM.fly(faults=[fault]).outcome != "crashed"

Needs the extra `testing`. docs/testing.md tells the rest.
"""

from __future__ import annotations

try:
    import hypothesis as _hypothesis
except ImportError:
    raise ImportError(
        "sequencer.testing needs hypothesis: pip install 'drycount[testing]'"
    ) from None

from sequencer.testing.agreement import first_difference
from sequencer.testing.inputs import InputStream, input_streams, run
from sequencer.testing.outside import links, weather
from sequencer.testing.planned import crew, faults
from sequencer.testing.rehearsal import Rehearsal, fly_with
from sequencer.testing.sequences import sequences
from sequencer.testing.streams import Step

__all__ = [
    "InputStream",
    "Rehearsal",
    "Step",
    "crew",
    "faults",
    "first_difference",
    "fly_with",
    "input_streams",
    "links",
    "run",
    "sequences",
    "weather",
]

del _hypothesis
