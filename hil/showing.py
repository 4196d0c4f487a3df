"""Lines for people that boards send: shown as they come, on standard error."""

from __future__ import annotations

import logging
from typing import Final

from hil.messages import Text
from sequencer.errors import printable

__all__ = ["Showing"]

_LOG: Final = logging.getLogger(__name__)
#: of one session; a board that says more says no more than that
_MOST: Final = 50
#: level -> word; traces are kept, and not shown
_WORDS: Final = {1: "note", 2: "warning", 3: "error"}


class Showing:
    """Shows the lines of one board, whatever is in them.

    Python's own handler of last resort writes warnings to standard error, from workers too.
    """

    def __init__(self, name: str) -> None:
        self._name = name
        self._shown = 0

    def __call__(self, text: Text) -> None:
        """Show one line."""
        if text.level == 0 or self._shown > _MOST:
            return
        self._shown += 1
        if self._shown > _MOST:
            _LOG.warning("%s: says more than %d lines; the others are not shown", self._name, _MOST)
            return
        word = _WORDS.get(text.level, f"level {text.level}")
        _LOG.warning("%s: %s: %s", word, self._name, printable(text.text))
