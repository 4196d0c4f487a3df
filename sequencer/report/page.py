"""The terminal's pages as text, for reports that other programs print."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Iterator

from rich.console import Console

from sequencer.flight.result import Result
from sequencer.report.summary import quantity
from sequencer.report.terminal import print_shortfalls
from sequencer.report.timeline import in_order_of_weight, print_events

__all__ = ["shortfalls_as_text", "timeline_as_text"]


def shortfalls_as_text(result: Result, width: int) -> str:
    """Where a flight fell short, its first wrong event, and the verdict of every requirement.

    width   no line is longer, in characters
    """
    out = _page(width)
    print_shortfalls(result, out)
    return "\n".join([_text(out), "", *_verdicts(result, width)])


def timeline_as_text(result: Result, width: int) -> str:
    """Events of a flight in order of time, by column; `width` as above."""
    out = _page(width)
    print_events(result, out)
    return _text(out)


def _verdicts(result: Result, width: int) -> Iterator[str]:
    if result.record is None:
        return
    told = [v for v in result.record.verdicts if v.status != "not exercised"]
    margins = {v.requirement: quantity(v.margin, v.unit) for v in told}
    wide = max((len(margin) for margin in margins.values()), default=0)
    yield "verdicts"
    for verdict in in_order_of_weight(told):
        lead = f"  {verdict.status:<11}  {margins[verdict.requirement]:>{wide}}  "
        yield from textwrap.wrap(
            verdict.requirement, width, initial_indent=lead, subsequent_indent=" " * len(lead)
        )
    rest = len(result.record.verdicts) - len(told)
    if rest:
        yield f"  and {rest} not exercised"


def _page(width: int) -> Console:
    return Console(
        file=io.StringIO(),
        width=width,
        force_terminal=True,  # lines are folded at its width
        color_system=None,
        highlight=False,
        markup=False,
        emoji=False,
    )


def _text(out: Console) -> str:
    assert isinstance(out.file, io.StringIO)  # noqa: S101 - see _page
    return out.file.getvalue().rstrip()
