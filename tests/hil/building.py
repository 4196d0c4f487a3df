"""What compilers make of the kit, made once for all workers of a run and for runs to come."""

from __future__ import annotations

import fcntl
import hashlib
import os
import shutil
import tempfile
import time
from functools import cache
from pathlib import Path

import pytest

from hil.layout_header import KIT

#: what nobody has used for so long is cleared away, s
_KEPT_S = 3 * 24 * 3600.0


def need(compiler):
    """Path of a compiler; skips, loudly, without it."""
    found = shutil.which(compiler)
    if found is None:
        pytest.skip(f"no C compiler: `{compiler}` is not on the path")
    return found


def once(parts, make):
    """A folder that `make(folder)` has filled; nobody may write to it afterwards.

    parts   all that the result hangs on besides the kit's own files: words (those that name a
            program stand for the very file), and paths, which stand for what is in the files
    """
    told = hashlib.sha256(_kit())
    for part in parts:
        told.update(b"\0" + (part.read_bytes() if isinstance(part, Path) else _word(str(part))))
    folder = _store() / told.hexdigest()[:32]
    with folder.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            _clear_away()
            begun = Path(tempfile.mkdtemp(dir=_store(), prefix="begun-"))
            make(begun)
            begun.rename(folder)
    os.utime(folder)
    return folder


@cache
def _store():
    folder = Path(tempfile.gettempdir()) / f"drycount-builds-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    assert folder.stat().st_uid == os.getuid(), f"{folder} belongs to somebody else"
    return folder


@cache
def _kit():
    files = sorted(path for path in KIT.rglob("*") if path.suffix in {".c", ".h", ".ld"})
    named = (path.relative_to(KIT).as_posix().encode() + path.read_bytes() for path in files)
    return b"\0".join(named)


@cache
def _word(word):
    """A word; of a program also which one it is: a compiler that was renewed makes other code."""
    found = shutil.which(word)
    if found is None:
        return word.encode()
    its = Path(found).resolve().stat()
    return f"{word} {its.st_size} {its.st_mtime_ns}".encode()


def _clear_away():
    for old in _store().iterdir():
        if time.time() - old.stat().st_mtime > _KEPT_S and old.suffix != ".lock":
            shutil.rmtree(old, ignore_errors=True)
