"""How far a long run over numbered things has come, kept in a small file, so that it can go on."""

from __future__ import annotations

import contextlib
import hashlib
import json
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

__all__ = ["Progress", "hash_of"]


class Progress:
    """How many things, from number 0 on, are done.

    path    of the file; its folder is made when it is written
    about   what a thing's result hangs on: a file about something else counts for nothing
    """

    def __init__(self, path: Path, about: dict[str, object]) -> None:
        self.path = path
        self.about = about

    def read(self, say: Callable[[str], None]) -> int:
        """0 where nothing is known, or only of something else. Raises OSError."""
        with contextlib.suppress(FileNotFoundError, ValueError, KeyError, TypeError):
            found = json.loads(self.path.read_bytes())
            if {name: found[name] for name in self.about} == self.about:
                return int(found["done"])
            say("what has been done was of another version or seed; starting again")
        return 0

    def write(self, done: int) -> None:
        """Keep it; a run that is ended meanwhile finds the old number. Raises OSError."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        part = self.path.with_suffix(".part")
        part.write_text(json.dumps({**self.about, "done": done}) + "\n", encoding="utf-8")
        part.replace(self.path)


def hash_of(files: Iterable[Path], base: Path, *more: str) -> str:
    """SHA-256 (hex) of files with their names below `base`, of Python's version and of `more`."""
    whole = hashlib.sha256(" ".join((sys.version, *more)).encode())
    for path in files:
        whole.update(path.relative_to(base).as_posix().encode() + path.read_bytes())
    return whole.hexdigest()
