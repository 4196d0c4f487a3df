"""Events of the interpreter in words."""

from __future__ import annotations

from collections.abc import Mapping

from sequencer.execute.layout import NONE, EventKind
from sequencer.execute.tables import Tables

__all__ = ["Words"]


class Words:
    """The words of one sequence.

    about   kind of an event -> its word, and the names that it may be about by index
    """

    def __init__(self, tables: Tables) -> None:
        sequence = tables.sequence
        functions = sequence.functions.values()
        pulses = tuple(each.name for each in functions if each.kind != "servo")
        servos = tuple(each.name for each in functions if each.kind == "servo")
        flags = tuple(sequence.flags)
        self._inhibits = tuple(sequence.inhibits)
        self._positions = tables.positions
        self.about: Mapping[int, tuple[str, tuple[str, ...]]] = {
            EventKind.ENTERED: ("entered", tuple(sequence.states)),
            EventKind.TOOK: ("took", tables.exits),
            EventKind.SET: ("set", flags),
            EventKind.CLEARED: ("cleared", flags),
            EventKind.ENDED: ("ended", pulses),
            EventKind.CUT: ("cut", pulses),
            EventKind.FIRED: ("fired", pulses),
            EventKind.IGNORED: ("ignored", pulses),
            EventKind.BLOCKED: ("blocked", pulses),
            EventKind.MOVED: ("moved", servos),
            EventKind.MOVE_BLOCKED: ("blocked", servos),
        }

    def tell(self, kind: int, about: int, detail: int) -> tuple[str, str, str]:
        """Word, name and detail of an event that is given in numbers."""
        word, names = self.about[kind]
        return word, names[about], self.detail(kind, detail)

    def detail(self, kind: int, detail: int) -> str:
        """The detail of an event of this kind."""
        if kind == EventKind.IGNORED:
            return "already on"
        if kind == EventKind.MOVED:
            return self._positions[detail]
        return "" if detail == NONE else self._inhibits[detail]
