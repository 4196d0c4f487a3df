"""What can go wrong, as one small tree; every message is one line.

DrycountError                 exit status 2
├── InputError                a file the user wrote: file, line, what, nearest valid choice
├── UsageError                a command line, or a call of the Python API
│   └── TargetError           what executes a sequence cannot be used
│       ├── UnreachableError  it is not there, or not free, just now: that may change
│       ├── UnfitError        it was made for something else than this scenario; others may fit
│       └── LostError         it was lost in a flight, which is void; others need not be
└── InternalError             our own fault; please report it
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path

__all__ = [
    "DrycountError",
    "InputError",
    "InternalError",
    "LostError",
    "TargetError",
    "UnfitError",
    "UnreachableError",
    "UsageError",
    "nearest",
    "printable",
]


class DrycountError(Exception):
    """Root of all errors that drycount raises on purpose."""

    exit_status = 2


class InputError(DrycountError):
    """A file holds something that cannot be used.

    `str()` gives ``file:line: what; did you mean 'nearest'?`` on one line; the parts stay
    available as attributes for programs.
    """

    def __init__(
        self,
        what: str,
        *,
        file: str | Path | None = None,
        line: int | None = None,
        nearest: str | None = None,
    ) -> None:
        self.what = printable(" ".join(what.split()))
        self.file = None if file is None else str(file)
        self.line = line
        self.nearest = nearest
        super().__init__(self.what)

    def __str__(self) -> str:
        place = "" if self.file is None else f"{self.file}:"
        if self.file is not None and self.line is not None:
            place += f"{self.line}:"
        hint = "" if self.nearest is None else f"; did you mean '{self.nearest}'?"
        return printable(f"{place} {self.what}{hint}".strip())

    def at(self, file: str | Path, line: int | None) -> InputError:
        """The same error with its place filled in where it was not known yet."""
        return InputError(
            self.what,
            file=self.file if self.file is not None else file,
            line=self.line if self.line is not None else line,
            nearest=self.nearest,
        )


class UsageError(DrycountError):
    """A command line or a call of the Python API that cannot be carried out."""


class TargetError(UsageError):
    """What executes a sequence cannot be used."""


class UnreachableError(TargetError):
    """It is not there, or not free, just now; asking again later makes sense."""


class UnfitError(TargetError):
    """It was made for something else than this scenario; others may fit."""


class LostError(TargetError):
    """It was lost while it flew: that flight is void, others need not be."""


class InternalError(DrycountError):
    """A broken promise inside drycount itself; never the user's fault."""


def printable(text: str) -> str:
    """`text` with whatever a terminal would obey instead of showing it written out."""
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


def nearest(word: str, choices: Iterable[str]) -> str | None:
    """The valid choice that looks most like `word`, or None if none comes close.

    A name without its computer ("F4") comes close to the one with it ("flight.F4"); so does the
    reverse.
    """
    known = list(choices)
    found = difflib.get_close_matches(word, known, n=1, cutoff=0.5)
    last = word.rpartition(".")[2]
    found += [choice for choice in known if word == choice.rpartition(".")[2] or last == choice]
    return found[0] if found else None
