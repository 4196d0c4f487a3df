"""Which scenario files a command is about."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from sequencer.errors import InputError, UsageError
from sequencer.scenario.load import SUFFIX

__all__ = ["find_scenarios"]


def find_scenarios(paths: Iterable[str | Path], keyword: str | None = None) -> list[Path]:
    """Scenario files among `paths` and in the folders among them, sorted, each once.

    keyword   keeps those whose name contains it (upper and lower case alike)

    Raises UsageError where a path does not exist, a folder holds no scenario or none is left.
    """
    found: dict[Path, None] = {}
    for given in paths:
        path = Path(given)
        if path.is_dir():
            inside = sorted(_inside(path))
            if not inside:
                raise UsageError(f"{path}: no *{SUFFIX} in this folder")
            found.update(dict.fromkeys(inside))
        elif path.is_symlink() or path.exists():  # a link to nothing is told when it is read
            if not path.name.endswith(SUFFIX):
                raise UsageError(f"{path}: not a scenario (its name must end in {SUFFIX})")
            found[path] = None
        else:
            raise InputError("no such file or folder", file=path)
    chosen = [
        path
        for path in found
        if keyword is None or keyword.lower() in path.name.removesuffix(SUFFIX).lower()
    ]
    if not chosen:
        raise UsageError(f"no scenario has '{keyword}' in its name ({len(found)} looked at)")
    return chosen


def _inside(folder: Path) -> list[Path]:
    """Scenario files anywhere in a folder. Raises InputError if it cannot be read."""
    try:
        next(folder.iterdir(), None)  # rglob passes over what it may not read
        return list(folder.rglob(f"*{SUFFIX}"))
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", file=folder) from None
