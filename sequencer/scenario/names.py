"""What the parts of a scenario file may refer to, and where to complain when they do not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase

from sequencer.checks.happenings import read_happening
from sequencer.documents import Document, Loc
from sequencer.errors import InputError, nearest
from sequencer.sequence import Sequence

__all__ = ["Names"]


@dataclass(frozen=True, slots=True)
class Names:
    """Signals (name -> unit), labels of events and sequences of one scenario.

    flies    false where the inputs come from a log
    """

    document: Document
    signals: Mapping[str, str]
    labels: frozenset[str]
    sequences: Mapping[str, Sequence]
    flies: bool

    def label(self, place: Loc, label: str) -> None:
        """Refuse an event that can never come here."""
        try:
            read_happening(label, self.signals, self.labels)
        except InputError as error:
            raise self.document.error(place, error.what, nearest=error.nearest) from None

    def pattern(self, place: Loc, pattern: str) -> None:
        """Refuse a pattern over whole labels that none can match."""
        if not any(fnmatchcase(label, pattern) for label in self.labels):
            raise self.document.error(
                place, f"'{pattern}' can never come here", nearest=nearest(pattern, self.labels)
            )

    def state(self, place: Loc, text: str) -> tuple[str, str]:
        """(computer, state) of "flight.coast"; refuse a state that no sequence has."""
        known = [
            f"{computer}.{state}"
            for computer, logic in self.sequences.items()
            for state in logic.states
        ]
        if text not in known:
            raise self.document.error(
                place, f"no computer has a state '{text}'", nearest=nearest(text, known)
            )
        computer, _, state = text.partition(".")
        return computer, state
