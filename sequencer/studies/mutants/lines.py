"""On which line of its file each part of a sequence stands."""

from __future__ import annotations

from sequencer.documents import Document, Loc
from sequencer.sequence import Sequence
from sequencer.sequence.model import Exit

__all__ = ["Lines"]


class Lines:
    """Lines of a sequence's file."""

    def __init__(self, sequence: Sequence, document: Document) -> None:
        self._document = document
        self._exits: dict[str, Loc] = {
            way.name: ("common_exits", i) for i, way in enumerate(sequence.common_exits)
        }
        for state in sequence.states.values():
            for i, way in enumerate(state.exits):
                self._exits[way.name] = ("states", state.name, "exits", i)

    def at(self, *loc: str | int) -> int:
        """Line of a key, or of the nearest that stands above it."""
        return self._document.line(loc) or 0

    def exit(self, way: Exit, *key: str | int) -> int:
        """Line of an exit, or of a key in it."""
        return self.at(*self._exits[way.name], *key)
