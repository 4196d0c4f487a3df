"""What rules are made of, and what they find.

A rule is a function over a subject that yields claims: "this, there, is so". `sequencer.lint.lint`
runs the rules and makes findings of the claims: with the file's name, the line, the rule's reason,
and the acceptance that the author of the file has written beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from sequencer.documents import Loc
from sequencer.sequence import Sequence

if TYPE_CHECKING:
    from sequencer.lint.subject import Subject

__all__ = ["Claim", "Finding", "Report", "Rule", "Skipped", "Undecided", "rule"]


@dataclass(frozen=True, slots=True)
class Claim:
    """What a rule says of one place.

    logic     the sequence that it is about: its [[accepted]] tables count
    at        place in that file: keys and indices, or a line
    sentence  what is so, for a reader who knows the file
    names     what it is about, most important first: an acceptance must name one or more of them
    details   further lines, for instance the steps of a path
    file      another file than that of the sequence which `at` is a place of
    """

    logic: Sequence
    at: Loc | int
    sentence: str
    names: tuple[str, ...]
    details: tuple[str, ...] = ()
    file: Path | None = None


@dataclass(frozen=True, slots=True)
class Undecided:
    """A question of a rule that could not be answered; `why` says what stood in the way."""

    logic: Sequence
    at: Loc | int
    sentence: str
    why: str


@dataclass(frozen=True, slots=True)
class Rule:
    """One thing to look for.

    id          words of ours, kebab-case: what stands in reports and in [[accepted]]
    meaning     one line: what is found
    reason      why it matters
    check       yields claims (and what it could not decide) about one subject
    needs       says what a subject lacks to be looked at, or None if it lacks nothing
    everywhere  of a file that flies in several sets, only what is so in all of them is found
    """

    id: str
    meaning: str
    reason: str
    check: Callable[[Subject], Iterable[Claim | Undecided]]
    needs: Callable[[Subject], str | None]
    everywhere: bool = False


def _nothing(subject: Subject) -> None:
    del subject


def rule(
    id: str,  # noqa: A002 - it is called so in reports
    meaning: str,
    reason: str,
    *,
    needs: Callable[[Subject], str | None] = _nothing,
    everywhere: bool = False,
) -> Callable[[Callable[[Subject], Iterable[Claim | Undecided]]], Rule]:
    """Decorator that makes a `Rule` of its check."""

    def made(check: Callable[[Subject], Iterable[Claim | Undecided]]) -> Rule:
        return Rule(id, meaning, reason, check, needs, everywhere)

    return made


@dataclass(frozen=True, slots=True)
class Finding:
    """What a rule has found, as it is reported.

    sequence  file whose [[accepted]] tables count for it
    reason    why it matters
    accepted  why its author means to keep it, or None
    """

    rule: str
    sentence: str
    file: Path
    line: int
    names: tuple[str, ...]
    details: tuple[str, ...]
    reason: str
    sequence: Path
    accepted: str | None = None

    def with_acceptance(self, why: str) -> Finding:
        """The same, accepted."""
        return replace(self, accepted=why)


@dataclass(frozen=True, slots=True)
class Skipped:
    """A rule that had nothing to look at in any subject with these sequences, and why."""

    rule: str
    why: str


@dataclass(frozen=True, slots=True)
class Report:
    """What came out, in the order of files and lines.

    open        findings that nobody has accepted
    undecided   (rule, file, line, sentence with what stood in the way)
    skipped     rules that had nothing to look at
    sequences   files that were looked at
    """

    findings: tuple[Finding, ...]
    undecided: tuple[tuple[str, Path, int, str], ...]
    skipped: tuple[Skipped, ...]
    sequences: tuple[Path, ...]

    @property
    def open(self) -> tuple[Finding, ...]:
        """Findings that nobody has accepted."""
        return tuple(finding for finding in self.findings if finding.accepted is None)

    @property
    def accepted(self) -> tuple[Finding, ...]:
        """Findings that are meant, with the reason in the file."""
        return tuple(finding for finding in self.findings if finding.accepted is not None)
