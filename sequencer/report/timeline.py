"""One flight in order of time: the world and each computer in a column, faults, broken
requirements and divergences from the model across all of them.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from rich.console import Console
from rich.text import Text

from sequencer.flight.result import Result
from sequencer.record import Event, FlightRecord, Verdict
from sequencer.record.vocabulary import FLIGHT_OVER
from sequencer.report.summary import at, quantity, tied
from sequencer.report.terminal import UNBOUND

__all__ = ["Row", "in_order_of_weight", "print_events", "print_timeline", "rows"]

#: width of a column where the lines may be as long as they like
PIPE_COLUMN = 34
WORLD = "world"
ACROSS = ""

#: verdicts are listed in this order: what matters most when somebody reads from the top
_RANKS = {"broken": 0, "not decided": 1, "met": 2, "not exercised": 3}

_Say = Callable[..., None]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the timeline. `column` is "world", a computer's name, or "" for across all."""

    tick: int
    column: str
    text: str
    style: str = ""


def rows(record: FlightRecord) -> list[Row]:
    """Events, requirements where they broke, and where the model would have done something else.

    In order of time; on a tick events come first.
    """
    computers = columns(record)[1:]
    found = [_event_row(event, computers) for event in record.events]
    found += [
        Row(
            verdict.start,
            ACROSS,
            f"> {verdict.requirement} is broken from here: "
            f"{quantity(verdict.margin, verdict.unit)}; {verdict.because}",
            "bold red",
        )
        for verdict in record.verdicts
        if verdict.status == "broken" and verdict.start is not None
    ]
    found += [
        Row(each.tick, ACROSS, f"> {each.sentence}", "bold red") for each in record.divergences
    ]
    return sorted(found, key=lambda row: row.tick)


def columns(record: FlightRecord) -> list[str]:
    """The world, then every computer that entered a state, as they appear."""
    names = dict.fromkeys(
        event.name.partition(".")[0]
        for event in record.events
        if event.kind == "entered" and "." in event.name
    )
    return [WORLD, *names]


def _event_row(event: Event, computers: list[str]) -> Row:
    detail = f" ({event.detail})" if event.detail else ""
    kind = event.kind.replace("_", " ")
    if event.kind.startswith("fault"):
        return Row(event.tick, ACROSS, f"! {kind}: {event.name}{detail}", "bold yellow")
    computer, _, rest = event.name.partition(".")
    if computer in computers and event.label != FLIGHT_OVER:
        return Row(event.tick, computer, f"{kind} {rest}".strip() + detail)
    return Row(event.tick, WORLD, f"{kind} {event.name}".strip() + detail)


def print_timeline(result: Result, out: Console) -> None:
    """Print one flight: its events by column, then the verdict of every requirement."""
    if result.record is not None:
        print_events(result, out)
        width = out.width if out.is_terminal else UNBOUND
        say = partial(_say, out)
        say()
        _print_verdicts(result.record, width, say)
        say()


def print_events(result: Result, out: Console) -> None:
    """Print the events of one flight by column."""
    record = result.record
    if record is None:
        return
    names = columns(record)
    stamp = max(len(at(record, record.ticks)), 4)
    width = out.width if out.is_terminal else UNBOUND
    cell = min(PIPE_COLUMN, max((width - stamp - 2 * len(names)) // len(names), 8))

    say = partial(_say, out)
    say(f"{result.name}: {record.outcome} after {at(record, record.ticks)}", "bold")
    say("  ".join([f"{'time':>{stamp}}", *(f"{name:<{cell}}" for name in names)]), "underline")
    before = None
    for row in rows(record):
        time = "" if row.tick == before else at(record, row.tick)
        before = row.tick
        for i, piece in enumerate(_cells(row, names, cell, width - stamp - 2)):
            say(f"{time if i == 0 else '':>{stamp}}  {piece}", row.style)


def in_order_of_weight(verdicts: Sequence[Verdict]) -> list[Verdict]:
    """What is broken first, then what was not decided; else as they come."""
    return sorted(verdicts, key=lambda verdict: _RANKS.get(verdict.status, len(_RANKS)))


def _say(out: Console, text: str = "", style: str = "") -> None:
    out.print(Text(text.rstrip().replace("\xa0", " "), style=style), soft_wrap=True)


def _cells(row: Row, names: list[str], cell: int, room: int) -> Iterator[str]:
    """The lines of one row, without the time."""
    if row.column == ACROSS:
        yield from textwrap.wrap(tied(row.text), max(room, 20), subsequent_indent="  ")
        return
    indent = " " * ((cell + 2) * names.index(row.column))
    # the last column may use all the room that is left
    space = max(room - len(indent), 8) if row.column == names[-1] else cell
    for piece in textwrap.wrap(row.text, space, subsequent_indent=" "):
        yield indent + piece


def _print_verdicts(record: FlightRecord, width: int, say: _Say) -> None:
    if not record.verdicts:
        return
    state = max(len(verdict.status) for verdict in record.verdicts)
    verdicts = in_order_of_weight(record.verdicts)
    margins = [quantity(verdict.margin, verdict.unit) for verdict in verdicts]
    wide = max(len(margin) for margin in margins)
    for verdict, margin in zip(verdicts, margins, strict=True):
        lead = f"{verdict.status:<{state}}  {margin:>{wide}}  "
        text = tied(f"{verdict.requirement}: {verdict.because}")
        pieces = textwrap.wrap(text, max(width - len(lead), 20))
        for i, piece in enumerate(pieces):
            style = "bold red" if verdict.status == "broken" else ""
            say((lead if i == 0 else " " * len(lead)) + piece, style)
