"""The valid name that a message suggests."""

from __future__ import annotations

import pytest

from sequencer.errors import nearest


@pytest.mark.parametrize(
    ("word", "choices", "found"),
    [
        ("arm_kye", ["arm_key", "launch"], "arm_key"),
        ("zzz", ["arm_key", "launch"], None),
        ("F4", ["pad.P1", "flight.F3", "flight.F4"], "flight.F4"),
        ("flight.F4", ["F1", "F3", "F4"], "F4"),
        ("flight.", ["F1"], None),
    ],
)
def test_what_comes_close(word, choices, found):
    assert nearest(word, choices) == found
