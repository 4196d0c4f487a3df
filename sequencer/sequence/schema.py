"""What may stand in a sequence file, before names are resolved and units checked.

The JSON Schema that `drycount export` writes is made from `SequenceFile`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from sequencer.documents import Strict
from sequencer.sequence.blocks import AnyEstimate, LoopFile

__all__ = [
    "AcceptedFile",
    "CommonExitFile",
    "ExitFile",
    "FlagFile",
    "FunctionFile",
    "InhibitFile",
    "InputFile",
    "LimitFile",
    "PublishFile",
    "PulsedFile",
    "SequenceFile",
    "ServoFile",
    "StateFile",
]

#: A day is longer than any flight; it keeps every count of ticks far inside 32 bits.
Seconds = Annotated[float, Field(ge=0, le=86_400)]
PositiveSeconds = Annotated[float, Field(gt=0, le=86_400)]


class HeaderFile(Strict):
    """[sequence]"""

    name: str
    about: str = ""
    rate_hz: int = Field(ge=1, le=1000)
    boot_s: Seconds
    start: str


class InputFile(Strict):
    """An entry of [inputs]; `from` names a field of another computer's message."""

    unit: str
    period_s: PositiveSeconds | None = None
    message: str | None = Field(default=None, alias="from")


class LimitFile(Strict):
    """An entry of [limits]; `tolerance` is in the same unit."""

    value: float
    unit: str
    tolerance: float = Field(ge=0)
    reason: str


class FlagFile(Strict):
    """An entry of [flags]."""

    initial: bool = False
    retained: bool = False


class InhibitFile(Strict):
    """An entry of [inhibits]."""

    in_place_when: str
    reason: str


class PulsedFile(Strict):
    """An entry of [functions] that is on for a time."""

    kind: Literal["igniter", "separation", "parachute", "release", "horn", "light"]
    pulse_s: PositiveSeconds
    inhibits: tuple[str, ...] = ()


class ServoFile(Strict):
    """An entry of [functions] that takes positions: angles, or 0 to 1 for a mechanism."""

    kind: Literal["servo"]
    positions_deg: dict[str, Annotated[float, Field(ge=-180, le=180)]] | None = None
    positions: dict[str, Annotated[float, Field(ge=0, le=1)]] | None = None
    start: str


FunctionFile = Annotated[PulsedFile | ServoFile, Field(discriminator="kind")]


class PublishFile(Strict):
    """[publish]"""

    period_s: PositiveSeconds
    fields: tuple[str, ...] = Field(min_length=1)


class _HoldFile(Strict):
    to: str
    when: str
    hold_s: Seconds | None = None
    fresh: str | None = None
    hold_samples: int | None = Field(default=None, ge=1, le=1_000_000)
    do: tuple[str, ...] = ()


class ExitFile(_HoldFile):
    """An entry of [[states.NAME.exits]]."""

    name: str | None = None


class CommonExitFile(_HoldFile):
    """An entry of [[common_exits]]."""

    name: str
    sources: tuple[str, ...] = Field(alias="from", min_length=1)


class StateFile(Strict):
    """[states.NAME]"""

    phase: Literal["ground", "flight", "after"]
    on_entry: tuple[str, ...] = ()
    on_leave: tuple[str, ...] = ()
    loops: tuple[str, ...] = ()
    exits: tuple[ExitFile, ...] = ()


class AcceptedFile(Strict):
    """An entry of [[accepted]]: something that `drycount lint` finds and that is meant."""

    rule: str
    about: str | tuple[str, ...]
    reason: str


class SequenceFile(Strict):
    """A whole sequence file."""

    sequence: HeaderFile
    inputs: dict[str, InputFile] = {}
    limits: dict[str, LimitFile] = {}
    flags: dict[str, FlagFile] = {}
    estimates: dict[str, AnyEstimate] = {}
    inhibits: dict[str, InhibitFile] = {}
    functions: dict[str, FunctionFile] = {}
    loops: dict[str, LoopFile] = {}
    publish: PublishFile | None = None
    states: dict[str, StateFile] = Field(min_length=1)
    common_exits: tuple[CommonExitFile, ...] = ()
    accepted: tuple[AcceptedFile, ...] = ()
