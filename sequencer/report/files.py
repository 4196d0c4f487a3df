"""Where a report goes: a file, or standard output under the name "-"."""

from __future__ import annotations

import sys
from pathlib import Path

from sequencer.errors import UsageError

__all__ = ["STANDARD_OUTPUT", "check_writable", "write"]

STANDARD_OUTPUT = "-"


def check_writable(target: str | None) -> None:
    """Raise UsageError where `target` plainly cannot be written, before long work begins."""
    if target is None or target == STANDARD_OUTPUT:
        return
    if not target:
        raise UsageError("an empty name is no file to write to")
    path = Path(target)
    if path.is_dir():
        raise UsageError(f"{target}: is a folder, not a file to write to")
    if not path.parent.is_dir():
        raise UsageError(f"{target}: there is no folder '{path.parent}' to write to")


def write(target: str, text: str) -> None:
    """Write `text` as UTF-8 with plain newlines. Raises UsageError where that fails."""
    if target == STANDARD_OUTPUT:
        sys.stdout.write(text)
        return
    try:
        Path(target).write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise UsageError(f"{target}: cannot be written: {error.strerror or error}") from error
