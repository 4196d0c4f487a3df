"""What keeps a computer's log: how much it holds, and what is lost when the power goes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from sequencer.documents import Strict

__all__ = ["Logger", "LoggerTable", "logger"]

Lasting = Annotated[float, Field(gt=0, le=1_000_000)]


class LoggerTable(Strict):
    """[computers.NAME.logger]"""

    memory_s: Lasting | None = None
    buffer_s: Annotated[float, Field(ge=0, le=1000)] = 0.0
    stall_every_s: Lasting | None = None


@dataclass(frozen=True, slots=True)
class Logger:
    """A logger writes one record in every tick that its computer runs.

    memory_s       how long a log it can hold; None: as long as any flight
    buffer_s       records are collected for so long, then written; what is in the buffer when the
                   power goes is lost
    stall_every_s  once in so long a write keeps the computer from one tick; None: never
    """

    memory_s: float | None
    buffer_s: float
    stall_every_s: float | None


def logger(table: LoggerTable | None) -> Logger | None:
    """The logger that a vehicle file describes, if any."""
    if table is None:
        return None
    return Logger(table.memory_s, table.buffer_s, table.stall_every_s)
