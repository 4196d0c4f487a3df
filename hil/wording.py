"""What a board says in indices, in the words of the sequence."""

from __future__ import annotations

import math
from collections.abc import Mapping

from hil.messages import NO_DETAIL, MalformedError, Output
from sequencer.execute import Outputs
from sequencer.sequence import Sequence as FlightLogic

__all__ = ["Wording"]


class Wording:
    """The words of one sequence, by the numbers of docs/link.md."""

    def __init__(self, sequence: FlightLogic) -> None:
        self._states = states = tuple(sequence.states)
        functions = sequence.functions.values()
        pulses = tuple(each.name for each in functions if each.kind != "servo")
        servos = tuple(each for each in functions if each.kind == "servo")
        names = tuple(each.name for each in servos)
        flags, inhibits = tuple(sequence.flags), tuple(sequence.inhibits)
        own = [way.name for state in sequence.states.values() for way in state.exits]
        exits = (*(way.name for way in sequence.common_exits), *own)
        self._positions = tuple(tuple(name for name, _ in each.positions) for each in servos)
        #: kind -> word, names of subjects, details: by index, and without one ("" or None: never)
        self._kinds: Mapping[int, tuple[str, tuple[str, ...], tuple[str, ...], str | None]] = {
            0: ("entered", states, (), ""),
            1: ("took", exits, (), ""),
            2: ("set", flags, (), ""),
            3: ("cleared", flags, (), ""),
            4: ("ended", pulses, (), ""),
            5: ("cut", pulses, inhibits, ""),
            6: ("fired", pulses, (), ""),
            7: ("ignored", pulses, (), "already on"),
            8: ("blocked", pulses, inhibits, None),
            9: ("moved", names, (), None),
            10: ("blocked", names, inhibits, None),
        }

    def tell(self, output: Output) -> Outputs:
        """Raises MalformedError for an index or a demand that cannot be."""
        if output.state >= len(self._states):
            raise MalformedError(f"there is no state {output.state}")
        if not all(map(math.isfinite, output.demands)):
            raise MalformedError("a servo's demand is no finite number")
        events = tuple([self._event(*event) for event in output.events]) if output.events else ()
        state = self._states[output.state]
        return Outputs(state, events, output.on, output.demands, output.message)

    def _event(self, kind: int, subject: int, detail: int) -> tuple[str, str, str]:
        known = self._kinds.get(kind)
        if known is None:
            raise MalformedError(f"there is no event of kind {kind}")
        word, names, details, without = known
        if subject >= len(names):
            raise MalformedError(f"event '{word}' is about number {subject}, which does not exist")
        if word == "moved":
            details = self._positions[subject]
        if detail == NO_DETAIL and without is not None:
            return word, names[subject], without
        if detail >= len(details):
            raise MalformedError(f"event '{word} {names[subject]}' has detail {detail}")
        return word, names[subject], details[detail]
