"""What `drycount lint` has found, on a terminal or in a pipe."""

from __future__ import annotations

import os
import textwrap
from collections.abc import Iterable
from pathlib import Path

from rich.console import Console
from rich.text import Text

from sequencer.errors import printable
from sequencer.lint import Finding, Report, Rule

__all__ = ["print_findings", "print_rules"]

#: in a pipe a line is as long as it needs to be
UNBOUND = 100_000


def print_findings(report: Report, out: Console) -> None:
    """Print what is open first, then what is accepted, then what could not be looked at."""
    page = _Page(out)
    told: set[str] = set()
    for finding in report.open:
        _finding(page, finding, told)
    for rule, file, line, sentence in report.undecided:
        page.head(f"{_shown(file)}:{line}", rule, "yellow")
        page.text(f"not decided: {sentence}")
        page.blank()
    if report.accepted:
        page.line("Accepted in the files", "bold")
        for finding in report.accepted:
            page.text(f"{_place(finding)}  {finding.rule}: {finding.sentence}", hang="    ")
            page.text(f"because: {finding.accepted}", indent="    ", style="dim")
        page.blank()
    for skipped in _together(report):
        page.text(skipped, indent="", hang="  ", style="dim")
    if report.skipped:
        page.blank()
    page.text(_closing(report), indent="", style="bold red" if report.open else "bold green")


def print_rules(rules: Iterable[Rule], out: Console) -> None:
    """Print every rule: its name, what it finds and why that matters."""
    page = _Page(out)
    for number, rule in enumerate(rules):
        if number:
            page.blank()
        page.line(rule.id, "bold")
        page.text(rule.meaning)
        page.text(rule.reason, style="dim")


def _finding(page: _Page, finding: Finding, told: set[str]) -> None:
    """One finding; why its rule matters is told once."""
    page.head(_place(finding), finding.rule, "bold red")
    page.text(finding.sentence)
    for detail in finding.details:
        page.text(detail, indent="    ", hang="      ")
    if finding.rule not in told:
        page.text(f"why it matters: {finding.reason}", style="dim")
        told.add(finding.rule)
    page.blank()


def _place(finding: Finding) -> str:
    return f"{_shown(finding.file)}:{finding.line}"


def _shown(file: Path) -> str:
    """A path as short as it can be from here."""
    if not file.is_absolute():
        return os.fspath(file)
    try:
        return os.fspath(file.relative_to(Path.cwd()))
    except ValueError:
        return os.fspath(file)


def _together(report: Report) -> list[str]:
    """Rules that had nothing to look at, by what was missing."""
    found: dict[str, list[str]] = {}
    for skipped in report.skipped:
        found.setdefault(skipped.why, []).append(skipped.rule)
    return [f"Not looked at, since {why}: {', '.join(rules)}." for why, rules in found.items()]


def _closing(report: Report) -> str:
    found, files = len(report.open), len(report.sequences)
    text = "nothing found" if not found else "1 finding" if found == 1 else f"{found} findings"
    text += f" in {files} {'sequence' if files == 1 else 'sequences'}"
    if report.accepted:
        text += f", {len(report.accepted)} accepted"
    if report.undecided:
        text += f", {len(report.undecided)} not decided"
    return text


class _Page:
    """Lines that are never longer than the terminal, and never cut."""

    def __init__(self, out: Console) -> None:
        self._out = out
        self._width = max(out.width, 40) if out.is_terminal else UNBOUND

    def line(self, text: str, style: str = "") -> None:
        self._out.print(Text(printable(text), style=style), soft_wrap=True)

    def blank(self) -> None:
        self._out.print()

    def head(self, place: str, rule: str, style: str) -> None:
        """Where, and which rule: on two lines where one would be too long."""
        if len(place) + 2 + len(rule) <= self._width:
            line = Text(printable(place) + "  ")
            self._out.print(line.append(rule, style=style), soft_wrap=True)
        else:
            self.text(place, indent="")
            self.line(f"  {rule}", style)

    def text(
        self, text: str, *, indent: str = "  ", hang: str | None = None, style: str = ""
    ) -> None:
        pieces = textwrap.wrap(
            printable(text),
            self._width,
            initial_indent=indent,
            subsequent_indent=indent if hang is None else hang,
            break_on_hyphens=False,
        )
        for piece in pieces:
            self.line(piece, style)
