"""The report on a terminal or in a pipe: first what fell short, then every flight, then the total.

Written for somebody who is tired and cold: a word says what a colour says, the first line tells
whether to go on, and nothing is cut off: what does not fit goes on the next line.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from sequencer.flight.result import Result, Shortfall
from sequencer.record import FlightRecord
from sequencer.report.divergence import divergence_lines
from sequencer.report.summary import (
    Total,
    about,
    at,
    count,
    event_text,
    folded,
    quantity,
    tightest,
)

__all__ = ["Page", "console", "print_report", "print_shortfalls"]

#: shortfalls of one flight that are shown unless all are asked for
SHOWN = 3
#: in a pipe a line is as long as it needs to be, so that one flight stays on one line
UNBOUND = 100_000

#: stands for a space at which no line may end
_TIED = "\xa0"

_STYLES = {"ok": "green", "SHORT": "bold red", "ERROR": "bold red"}


class _Console(Console):
    """A console that leaves it to the command line what happens when nobody reads any more."""

    def on_broken_pipe(self) -> None:
        """The base class would end the program, with the status of a flight that fell short."""
        raise BrokenPipeError


def console(*, stderr: bool = False) -> Console:
    """Where reports go: nothing is coloured, guessed at or cut that we did not ask for."""
    return _Console(stderr=stderr, highlight=False, markup=False, emoji=False)


def print_shortfalls(result: Result, out: Console) -> None:
    """Print where one flight fell short, all of it: the first wrong events and the margins."""
    width = out.width if out.is_terminal else UNBOUND
    _problem(Page(out, width), result, everything=True)


def print_report(results: Sequence[Result], out: Console, *, everything: bool = False) -> None:
    """Print the report of a number of flights.

    What could not be flown is only marked and counted: why not is told on standard error.

    everything   show all shortfalls of a flight, not only the first three
    """
    page = Page.on(out)
    total = count(results)
    if total.status:
        page.line(_headline(total), "bold red")
        page.line()
        for result in results:
            if result.shortfalls:
                _problem(page, result, everything=everything)
    _table(page, results)
    page.line()
    page.line(_closing(total), "bold red" if total.status else "bold green")
    hashes = about(results)
    if hashes:
        named = (f"{what} {digest}".replace(" ", _TIED) for what, digest in hashes)
        page.wrapped("about: ", "; ".join(named), "dim")


class Page:
    """Writes lines no longer than `width`."""

    def __init__(self, out: Console, width: int) -> None:
        self._out = out
        self.width = max(width, 40)

    @classmethod
    def on(cls, out: Console) -> Page:
        """A page as wide as the terminal; in a pipe a line may be as long as it likes."""
        return cls(out, out.width if out.is_terminal else UNBOUND)

    def line(self, text: str = "", style: str = "") -> None:
        """One line as it is."""
        self._out.print(Text(text, style=style), soft_wrap=True)

    def wrapped(self, lead: str, text: str, style: str = "") -> None:
        """Text behind a lead; further lines are indented as far as the lead reaches."""
        for line in folded(lead, text, self.width):
            self.line(line, style)

    def marked(self, mark: str, rest: str) -> None:
        """A line that begins with a word in its colour."""
        text = Text.assemble((f"{mark:<5}", _STYLES[mark]), f"  {rest}")
        self._out.print(text, soft_wrap=True)


def _headline(total: Total) -> str:
    parts = []
    if total.short:
        parts.append(f"{total.short} of {total.all} {_flights(total.all)} fell short")
    if total.failed:
        parts.append(f"{total.failed} of {total.all} could not be flown")
    return "; ".join(parts)


def _closing(total: Total) -> str:
    parts = [f"{total.expected} as expected"]
    if total.short:
        parts.append(f"{total.short} fell short")
    if total.failed:
        parts.append(f"{total.failed} could not be flown")
    return f"{total.all} {_flights(total.all)}: {', '.join(parts)}"


def _flights(number: int) -> str:
    return "flight" if number == 1 else "flights"


def _problem(page: Page, result: Result, *, everything: bool) -> None:
    page.line(result.name, "bold")
    page.wrapped("  file         ", str(result.path), "dim")
    if result.record is not None:
        if result.reason:
            page.wrapped("  flown to see ", result.reason, "dim")
        shown = len(result.shortfalls) if everything else SHOWN
        for shortfall in result.shortfalls[:shown]:
            _shortfall(page, shortfall, result.record)
        rest = len(result.shortfalls) - shown
        if rest > 0:
            page.line(f"  and {rest} more; -v shows them all")
    page.line()


def _shortfall(page: Page, shortfall: Shortfall, record: FlightRecord) -> None:
    page.wrapped("  fell short   ", shortfall.what, "red")
    if shortfall.divergence is not None:
        for line in divergence_lines(shortfall.divergence, page.width):
            page.line(line)
    if shortfall.first_wrong is not None:
        event = shortfall.first_wrong
        page.wrapped("    first wrong  ", f"{at(record, event.tick)}  {event_text(event)}")
    verdict = shortfall.verdict
    if verdict is not None and verdict.margin is not None:
        span = ""
        if verdict.start is not None and verdict.end is not None:
            span = f", {at(record, verdict.start)}"
            if verdict.end != verdict.start:
                span += f" to {at(record, verdict.end)}"
        page.wrapped(
            "    margin       ",
            f"{quantity(verdict.margin, verdict.unit)}  {verdict.requirement} "
            f"({verdict.status}{span})",
        )
    if verdict is not None and verdict.reason:
        page.wrapped("    required     ", verdict.reason, "dim")


def _table(page: Page, results: Sequence[Result]) -> None:
    """One line for each flight: mark, name, outcome, tightest margin and whose it is.

    On a narrow terminal a long name, or the requirement, gets a line of its own.
    """
    rows = [_row(result) for result in results]
    widths = [max((len(row[i]) for row in rows), default=0) for i in range(1, 4)]
    widths[0] = min(widths[0], page.width * 2 // 5)
    for mark, name, outcome, margin, requirement in rows:
        rest = f"{outcome:<{widths[1]}}  {margin:>{widths[2]}}"
        aside = 7 + widths[0] + 2 + len(rest) + 2 + len(requirement) > page.width
        if not aside:
            rest += f"  {requirement}"
        if len(name) <= widths[0]:
            page.marked(mark, f"{name:<{widths[0]}}  {rest}".rstrip())
        else:
            page.marked(mark, name)
            page.line(f"{'':{7 + widths[0]}}  {rest}".rstrip())
        if aside:
            page.wrapped(" " * 9, requirement)


def _row(result: Result) -> tuple[str, str, str, str, str]:
    if result.record is None:
        return ("ERROR", result.name, "not flown", "-", "")
    verdict = tightest(result.record)
    margin, requirement = "-", ""
    if verdict is not None:
        margin = quantity(verdict.margin, verdict.unit)
        requirement = verdict.requirement
        if verdict.status == "broken":
            # in a flight that came out as expected its scenario demands that it breaks
            requirement += " (must break)" if result.as_expected else " (broken)"
    mark = "ok" if result.as_expected else "SHORT"
    return (mark, result.name, result.record.outcome, margin, requirement)
