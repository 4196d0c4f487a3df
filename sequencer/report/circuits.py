"""What one flight asked of its firing circuits, and how much they had to spare."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from rich.console import Console
from rich.text import Text

from sequencer.flight.result import Result
from sequencer.record import FlightRecord
from sequencer.report.summary import at
from sequencer.world.margins import Margin

__all__ = ["circuit_lines", "print_circuits"]

#: what the columns hold; all but the first are of the circuits as built, in that weather
_LEGEND = (
    "flown: most in this flight. As built, faults apart: alone, or joint with all of",
    "its kind on its computer; margin: the lesser over all-fire; test: of continuity,",
    "and its share of no-fire.",
)

#: (text, style)
_Line = tuple[str, str]
_HEADS = ("flown", "alone", "joint", "all-fire", "margin", "test", "no-fire")
_UNITS = ("A", "A", "A", "A", "", "mA", "%")


def print_circuits(result: Result, out: Console) -> None:
    """Print currents, voltages and margins of one flight; nothing for one that was not flown."""
    if result.record is None or not result.margins:
        return
    for text, style in circuit_lines(result.record, result.margins):
        out.print(Text(text, style=style), soft_wrap=True)
    out.print()


def circuit_lines(record: FlightRecord, margins: Sequence[Margin]) -> Iterator[_Line]:
    """The lines of the report.

    Columns: largest current in this flight; current when its channel fires alone, and jointly
    with all channels of its computer that have a load of its kind; all-fire current and how many
    times it the smaller of those two is; test current and what share it is of the no-fire current.
    """
    rows = [_row(record, margin) for margin in margins]
    widths = [
        max(len(cell) for cell in column) for column in zip(_HEADS, _UNITS, *rows, strict=True)
    ]
    name = max(len(margin.load) for margin in margins)
    plug = max(len(margin.channel) for margin in margins)
    lead = f"{'load':<{name}}  {'channel':<{plug}}"
    # on a narrow screen the figures stand under the name
    aside = len(lead) + sum(widths) + 2 * len(widths) > 80
    yield "firing circuits", "bold"
    if aside:
        yield lead, ""
        lead = " " * 4
    yield _line(lead, _HEADS, widths), ""
    yield _line(" " * len(lead), _UNITS, widths), "underline"
    for margin, row in zip(margins, rows, strict=True):
        style = "bold red" if margin.is_short else ""
        own = f"{margin.load:<{name}}  {margin.channel:<{plug}}"
        if aside:
            yield own, style
            own = lead
        yield _line(own, row, widths), style
    yield from ((text, "dim") for text in _LEGEND)
    short = [margin.load for margin in margins if margin.is_short]
    if short:
        yield f"short of their all-fire current: {', '.join(short)}", "bold red"
    yield from _batteries(record)


def _line(lead: str, cells: Sequence[str], widths: Sequence[int]) -> str:
    fitted = (f"{cell:>{width}}" for cell, width in zip(cells, widths, strict=True))
    return "  ".join([lead, *fitted]).rstrip()


def _row(record: FlightRecord, margin: Margin) -> tuple[str, ...]:
    ratio, share = margin.firing_ratio, margin.test_share
    return (
        f"{np.max(record[f'current_{margin.load}_a'], initial=0.0):.2f}",
        f"{margin.alone_a:.2f}",
        f"{margin.together_a:.2f}" if margin.together > 1 else "-",
        "-" if margin.all_fire_a is None else f"{margin.all_fire_a:.2f}",
        "-" if ratio is None else f"{ratio:.1f} x",
        f"{1000.0 * margin.test_a:.2f}" if margin.test_a else "-",
        "-" if share is None else f"{100.0 * share:.2f}",
    )


def _batteries(record: FlightRecord) -> Iterator[_Line]:
    for signal in record.signals:
        computer = signal.removeprefix("battery_").removesuffix("_v")
        if signal != f"battery_{computer}_v" or f"battery_{computer}_a" not in record.signals:
            continue
        volts, amps = record[signal], record[f"battery_{computer}_a"]
        if volts.size == 0:
            continue
        lowest = int(np.argmin(volts))
        least = f"lowest {volts[lowest]:.2f} V at {at(record, lowest)}"
        yield f"battery of {computer}: {least}, largest current {np.max(amps):.2f} A", ""
