"""The scenario file as typed tables; names in it are resolved by `sequencer.scenario.load`."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from sequencer.checks import RequirementTable
from sequencer.documents import Line, Strict
from sequencer.scenario.dispersion_tables import CorrelationTable, DispersionTable
from sequencer.scenario.outcome import Outcome
from sequencer.world.weather import Weather

__all__ = [
    "LONGEST_S",
    "ColumnTable",
    "CrewTable",
    "ExpectTable",
    "FaultTable",
    "LinkTable",
    "ScenarioFile",
    "ScenarioTable",
    "StreamTable",
    "Timed",
]

#: no record is longer than this, s
LONGEST_S = 1800

Share = Annotated[float, Field(ge=0, le=1)]
Seconds = Annotated[float, Field(ge=0, le=3600)]
#: keys of which whatever is planned has exactly one
MOMENTS = ("at_s", "event", "state", "above_m", "below_m")
Word = Annotated[Line, Field(min_length=1, max_length=200)]


class CoversTable(Strict):
    """A cell of the table "fault by phase" that this scenario fills."""

    fault: Word
    phase: Word


class ScenarioTable(Strict):
    """[scenario]: what is flown, and why."""

    title: Word
    reason: Annotated[str, Field(min_length=1, max_length=1000)]
    covers: CoversTable | list[CoversTable]
    vehicle: Word | None = None
    sequences: Annotated[list[Word], Field(min_length=1)]
    requirements: list[Word] = []
    tags: list[Word] = []
    seed: Annotated[int, Field(ge=0, lt=2**63)] = 1
    stop_s: Annotated[float, Field(gt=0, le=LONGEST_S)] | None = None
    after_touchdown_s: Seconds = 4.0


class TimeTable(Strict):
    """[stream.time]: the column that says when."""

    column: Word
    unit: Word = "s"


class ColumnTable(Strict):
    """[stream.columns]: which column of the log one input reads, and how it is converted."""

    column: Word
    unit: Word
    scale: float = 1.0
    offset: float = 0.0
    taken_as: Literal["height"] | None = Field(default=None, alias="as")
    empty: Literal["bad", "no_answer"] = "bad"


class StreamTable(Strict):
    """[stream]: a recorded log in place of the world."""

    file: Word
    separator: Literal[",", ";", "\t"] = ","
    time: TimeTable
    columns: Annotated[dict[str, ColumnTable], Field(min_length=1)]
    constants: dict[str, bool | float] = {}


class LinkTable(Strict):
    """[link]: between the computers."""

    delay_s: Annotated[float, Field(ge=0, le=10)] = 0.0
    loses: Share = 0.0
    repeats: Share = 0.0
    parts_at_m: Annotated[float, Field(gt=0, le=100)] | None = None


class Timed(Strict):
    """What a crew action and a fault have in common: when they begin."""

    at_s: Seconds | None = None
    event: Word | None = None
    state: Word | None = None
    above_m: float | None = None
    below_m: float | None = None
    after_s: Seconds = 0.0

    @model_validator(mode="after")
    def _one_moment(self) -> Timed:
        given = [key for key in MOMENTS if getattr(self, key) is not None]
        if len(given) != 1:
            listed = ", ".join(given) if given else "none"
            raise ValueError(f"needs exactly one of {', '.join(MOMENTS)} (has {listed})")
        return self


class CrewTable(Timed):
    """[[crew]]: somebody at the pad operates a switch."""

    switch: Word
    on: bool


class FaultTable(Timed):
    """[[faults]]: something that goes wrong."""

    name: Word
    kind: Word
    place: Word
    size: float | None = None
    other: Word | None = None
    for_s: Annotated[float, Field(gt=0, le=3600)] | None = None
    until: Word | None = None
    while_in: bool = False

    @model_validator(mode="after")
    def _one_end(self) -> FaultTable:
        given = [key for key in ("for_s", "until") if getattr(self, key) is not None]
        given += ["while_in"] if self.while_in else []
        if len(given) > 1:
            raise ValueError(f"has at most one of for_s, until, while_in (has {', '.join(given)})")
        if self.while_in and self.state is None:
            raise ValueError("has while_in, which needs a state to be in")
        return self


class WindowTable(Strict):
    """[[expect.events]]: an event and when it must first come."""

    event: Word
    between_s: Annotated[list[Seconds], Field(min_length=2, max_length=2)]

    @model_validator(mode="after")
    def _ordered(self) -> WindowTable:
        if self.between_s[0] > self.between_s[1]:
            raise ValueError(
                f"has a window that runs backwards ({self.between_s[0]:g} > {self.between_s[1]:g})"
            )
        return self


class ExpectTable(Strict):
    """[expect]: what must come out."""

    outcome: Outcome
    order: list[Word] = []
    events: list[WindowTable] = []
    never: list[Word] = []
    breaks: list[Word] = []
    not_exercised: list[Word] = []
    not_decided: list[Word] = []


class ScenarioFile(Strict):
    """The whole file."""

    scenario: ScenarioTable
    stream: StreamTable | None = None
    weather: Weather = Weather()
    link: LinkTable = LinkTable()
    wiring: dict[Word, dict[Word, Word | tuple[Word, ...]]] = {}
    plugs: dict[Word, Word] = {}
    crew: list[CrewTable] = []
    faults: Annotated[list[FaultTable], Field(max_length=8)] = []
    requirements: list[RequirementTable] = []
    dispersions: list[DispersionTable] = []
    correlations: list[CorrelationTable] = []
    expect: ExpectTable
