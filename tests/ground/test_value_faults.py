"""What a value that breaks a rule is told: short sentences in our own words."""

from __future__ import annotations

from typing import Annotated

import pytest
from pydantic import AfterValidator, Field

from sequencer.documents import Strict, parse_document
from sequencer.errors import InputError


def _even(number: int) -> int:
    if number % 2:
        raise ValueError(f"must be even, not {number}")
    return number


class Rig(Strict):
    seed: Annotated[int, Field(ge=0, lt=100)] = 0
    step: Annotated[int, Field(multiple_of=5)] = 5
    pair: Annotated[int, AfterValidator(_even)] = 0
    mass_kg: Annotated[float, Field(gt=0, le=2.5)] = 1.0
    title: Annotated[str, Field(min_length=2, max_length=5)] = "abc"
    note: Annotated[str, Field(min_length=1)] = "x"
    code: Annotated[str, Field(pattern="^[A-Z]+$")] = "A"
    marks: Annotated[tuple[int, ...], Field(min_length=2, max_length=3)] = (1, 2)
    only: Annotated[tuple[int, ...], Field(max_length=1)] = ()
    parts: Annotated[dict[str, int], Field(min_length=1, max_length=2)] = {"a": 1}
    names: dict[
        Annotated[str, Field(pattern="^[A-Za-z][A-Za-z0-9_]*$", max_length=4)], Rig | None
    ] = {}


def told(text: str) -> InputError:
    with pytest.raises(InputError) as caught:
        parse_document(text, "rig.toml").validate(Rig)
    return caught.value


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("seed = -7", "'seed' must be at least 0, not -7"),
        ("seed = 100", "'seed' must be less than 100, not 100"),
        ("step = 7", "'step' must be a multiple of 5, not 7"),
        ("pair = 7", "'pair' must be even, not 7"),
        ("mass_kg = 0", "'mass_kg' must be greater than 0, not 0"),
        ("mass_kg = -0.5", "'mass_kg' must be greater than 0, not -0.5"),
        ("mass_kg = 3", "'mass_kg' must be at most 2.5, not 3"),
        ("title = 'a'", "'title' must have at least 2 characters, not 1"),
        ("title = 'abcdef'", "'title' must have at most 5 characters, not 6"),
        ("note = ''", "'note' must not be empty"),
        ("code = 'a'", "'code' must have the form ^[A-Z]+$, not 'a'"),
        ("marks = [1]", "'marks' must have at least 2 entries, not 1"),
        ("marks = []", "'marks' must not be empty"),
        ("marks = [1, 2, 3, 4]", "'marks' must have at most 3 entries, not 4"),
        ("only = [1, 2]", "'only' must have at most 1 entry, not 2"),
        ("parts = {}", "'parts' must not be empty"),
        ("parts = {a = 1, b = 2, c = 3}", "'parts' must have at most 2 entries, not 3"),
        ("parts = 3", "'parts' must be a table, not 3"),
        ("[names.x]\nseed = -1", "'names.x.seed' must be at least 0, not -1"),
        (
            "[names.'a b']\nseed = 1",
            "the name must be made of letters, digits and _, a letter first, not 'a b'",
        ),
        ("[names.abcde]\nseed = 1", "the name must have at most 4 characters, not 5"),
    ],
)
def test_a_broken_rule_is_told_in_one_short_sentence(text, what):
    error = told(text)
    assert error.what == what
    assert error.nearest is None


def test_a_broken_rule_is_told_with_its_line():
    assert str(told("\ntitle = 'ab'\nseed = -7\n")).startswith("rig.toml:3: 'seed' must be")
