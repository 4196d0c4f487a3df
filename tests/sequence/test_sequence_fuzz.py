"""A sequence file damaged at random is good or told in one line; nothing else comes of it."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from sequencer.documents import parse_document
from sequencer.errors import InputError
from sequencer.sequence import Sequence, resolve_sequence

_TOKENS = [
    *("true", "0", "-1", "1e300", "nan", "9" * 40, '""', '"safe"', '"baro"', '"tilt"', '"m"'),
    *(
        "[]",
        "{}",
        '["armed"]',
        "{ unit = 'm' }",
        "[[1]]",
        '"\\u0000"',
        '"motor motor"',
        "1979-05-27",
    ),
]


@st.composite
def damaged(draw, text):
    lines = text.splitlines()
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, len(lines) - 1))
        kind = draw(st.sampled_from(["drop", "double", "swap", "value", "cut"]))
        if kind == "drop":
            del lines[at]
        elif kind == "double":
            lines.insert(at, lines[at])
        elif kind == "swap":
            other = draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
        elif kind == "value" and "=" in lines[at]:
            key = lines[at].partition("=")[0]
            lines[at] = f"{key}= {draw(st.sampled_from(_TOKENS))}"
        else:
            lines[at] = lines[at][: draw(st.integers(0, len(lines[at])))]
    return "\n".join(lines)


@given(st.data())
def test_damage_is_told_in_one_line(good_text, data):
    text = data.draw(damaged(good_text))
    outcome: Sequence | InputError
    try:
        outcome = resolve_sequence(parse_document(text, "x.toml"))
    except InputError as error:
        outcome = error
    if isinstance(outcome, InputError):
        assert str(outcome).startswith("x.toml")
        assert "\n" not in str(outcome)
        assert len(str(outcome)) < 400
    else:
        assert outcome.start in outcome.states
