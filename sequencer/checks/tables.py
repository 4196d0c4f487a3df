"""Requirements as they stand in a file: `[[requirements]]` tables.

    [[requirements]]
    name = "parachute soon after apogee"
    reason = "later it opens too fast and tears"
    pattern = "response"
    when = "apogee"
    then = "fired flight.main_chute"
    within_s = [0, 2.0]
    scope = { after = "liftoff" }

docs/requirements.md explains every key; what belongs to which pattern is `KEYS`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import Field

from sequencer.documents import Line, Strict

__all__ = ["KEYS", "RequirementTable", "RequirementsFile", "ScopeTable"]

Text = Annotated[str, Field(min_length=1, max_length=1000)]
Events = Text | list[Text]
Seconds = Annotated[float, Field(ge=0, allow_inf_nan=True)]

#: pattern -> (one of these must be given, these may be given beside it)
KEYS: Mapping[str, tuple[tuple[tuple[str, ...], ...], tuple[str, ...]]] = {
    "absence": ((("event", "condition"),), ("within_s",)),
    "existence": ((("event", "condition"),), ("within_s",)),
    "bounded_existence": ((("event",),), ("at_least", "at_most", "within_s")),
    "universality": ((("condition",),), ("within_s",)),
    "exactly_one": ((("of",),), ("gap_s", "within_s")),
    "precedence": (
        (("event", "condition"), ("only_after", "only_after_condition")),
        ("within_s",),
    ),
    "response": (
        (("when", "when_condition"), ("then", "then_condition", "then_throughout")),
        ("within_s",),
    ),
}


class ScopeTable(Strict):
    """Where it holds: { before }, { after }, { between = [Q, R] } or { after, until }."""

    before: Events | None = None
    after: Events | None = None
    until: Events | None = None
    between: Annotated[list[Events], Field(min_length=2, max_length=2)] | None = None


class RequirementTable(Strict):
    """One requirement."""

    name: Annotated[Line, Field(min_length=1, max_length=100)]
    reason: Text
    pattern: Literal[
        "absence",
        "existence",
        "bounded_existence",
        "universality",
        "exactly_one",
        "precedence",
        "response",
    ]
    event: Events | None = None
    condition: Text | None = None
    of: Annotated[list[Text], Field(min_length=2, max_length=16)] | None = None
    gap_s: Annotated[float, Field(ge=0, le=3600)] | None = None
    only_after: Events | None = None
    only_after_condition: Text | None = None
    when: Events | None = None
    when_condition: Text | None = None
    then: Events | None = None
    then_condition: Text | None = None
    then_throughout: Text | None = None
    at_least: Annotated[int, Field(ge=0, le=1_000_000)] | None = None
    at_most: Annotated[int, Field(ge=0, le=1_000_000)] | None = None
    within_s: Annotated[list[Seconds], Field(min_length=2, max_length=2)] | None = None
    scope: ScopeTable | None = None
    may_rest: bool = False


class RequirementsFile(Strict):
    """A `*.requirements.toml` file: nothing but requirements."""

    requirements: Annotated[list[RequirementTable], Field(min_length=1)]
