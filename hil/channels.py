"""What a board measures on its channels, by their names."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from hil.link import Link
from hil.messages import Ability, NameList
from sequencer.errors import printable

__all__ = ["Channels", "measure_channels"]


@dataclass(frozen=True, slots=True)
class Channels:
    """One look at all channels of a board.

    test_current_a   the largest current that it measured with, A
    ohm              name -> resistance: inf for an open channel, NaN for one that was not measured
    """

    test_current_a: float
    ohm: Mapping[str, float]

    def words(self) -> tuple[str, ...]:
        """Each channel in words, in order: ``F1 1.52 ohm``, ``F2 open``, ``F3 not measured``."""
        return tuple(f"{printable(name)} {_told(ohm)}" for name, ohm in self.ohm.items())


def measure_channels(link: Link) -> Channels:
    """Ask a board that is configured. Raises LinkError, also where it measures nothing."""
    board = link.board
    if board is None or not board.abilities & Ability.MEASURES:
        raise link.error("measures no channels")
    names = link.names(NameList.CHANNELS)
    found = link.channels()
    if not len(names) == len(found.ohm) == board.channels:
        raise link.error(
            f"says that it has {board.channels} channels, names {len(names)} and measures "
            f"{len(found.ohm)}"
        )
    if len(set(names)) < len(names):
        raise link.error("has two channels of the same name")
    return Channels(found.test_current_a, dict(zip(names, found.ohm, strict=True)))


def _told(ohm: float) -> str:
    if math.isnan(ohm):
        return "not measured"
    return "open" if math.isinf(ohm) else f"{ohm:.3g} ohm"
