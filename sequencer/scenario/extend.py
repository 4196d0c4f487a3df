"""Scenario files that build on another one, so that twenty of them do not repeat one day's weather.

`extends` in [scenario] names the file. Tables are merged key by key, anything else (numbers, text,
lists, [[crew]], [[faults]]) is replaced whole. What makes a scenario itself is never inherited:
title, reason, covers, tags and everything under [expect].
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sequencer.documents import Document, read_document
from sequencer.errors import InputError

__all__ = ["read_extended", "with_tables"]

_OWN = ("title", "reason", "covers", "tags", "extends")
_DEEPEST = 8


@dataclass(frozen=True, slots=True)
class _Layered(Document):
    """A document whose missing keys come from another; errors point to whoever wrote the key."""

    upper: Document | None = None
    lower: Document | None = None

    def _owner(self, loc: tuple[str | int, ...]) -> Document:
        assert self.upper is not None and self.lower is not None  # noqa: S101, PT018 - see read_extended
        return self.lower if not _has(self.upper, loc) and _has(self.lower, loc) else self.upper

    def line(self, loc: Iterable[str | int]) -> int | None:
        """Line of the key, in the file that `error` would name."""
        place = tuple(loc)
        return self._owner(place).line(place)

    def error(
        self, loc: Iterable[str | int], what: str, *, nearest: str | None = None
    ) -> InputError:
        """An error that points at `loc` in the file that wrote it."""
        place = tuple(loc)
        return self._owner(place).error(place, what, nearest=nearest)


def read_extended(path: Path) -> Document:
    """Read a scenario file and what it extends, as one document.

    Raises InputError for a file that cannot be read, or that extends itself in the end.
    """
    return _read(path, ())


def with_tables(document: Document, tables: Mapping[str, Any]) -> Document:
    """The same document with whole tables replaced, as if somebody had edited the file."""
    text = json.dumps(tables, allow_nan=False, default=str)
    digest = hashlib.sha256((document.digest + text).encode()).hexdigest()
    return replace(document, data={**document.data, **tables}, digest=digest)


def _read(path: Path, above: tuple[Path, ...]) -> Document:
    document = read_document(path)
    table = document.data.get("scenario")
    base_name = table.get("extends") if isinstance(table, dict) else None
    if base_name is None:
        return document
    place = ("scenario", "extends")
    if not isinstance(base_name, str):
        raise document.error(place, "'scenario.extends' must be text: a scenario file")
    if not base_name.isprintable():
        raise document.error(place, f"'{base_name}' is no name of a file")
    base_path = path.parent / base_name
    chain = (*above, path.resolve())
    if base_path.resolve() in chain:
        raise document.error(place, f"'{base_name}' extends this file again")
    if len(chain) > _DEEPEST:
        raise document.error(place, f"more than {_DEEPEST} scenarios extend each other in a row")
    try:
        base = _read(base_path, chain)
    except InputError as error:
        if error.file == str(base_path) and error.line is None:
            near = error.nearest and str(Path(base_name).with_name(Path(error.nearest).name))
            what = f"extends '{base_name}': {error.what}"
            raise document.error(place, what, nearest=near) from None
        raise
    if "scenario" not in base.data:
        raise InputError("there is no table [scenario]", file=base_path)
    own = {key: value for key, value in document.data["scenario"].items() if key != "extends"}
    head = base.data["scenario"]
    if not isinstance(head, dict):
        raise base.error(("scenario",), "'scenario' must be a table")
    inherited = {k: v for k, v in head.items() if k not in _OWN}
    lower = {k: v for k, v in base.data.items() if k != "expect"} | {"scenario": inherited}
    merged = _merge(lower, document.data | {"scenario": own})
    return _Layered(path, merged, document.digest + base.digest, upper=document, lower=base)


def _merge(lower: dict[str, Any], upper: dict[str, Any]) -> dict[str, Any]:
    merged = dict(lower)
    for key, value in upper.items():
        below = merged.get(key)
        if isinstance(below, dict) and isinstance(value, dict):
            merged[key] = _merge(below, value)
        else:
            merged[key] = value
    return merged


def _has(document: Document, loc: tuple[str | int, ...]) -> bool:
    here: Any = document.data
    for part in loc:
        entries = dict(enumerate(here)) if isinstance(here, list) else here
        if not isinstance(entries, dict) or part not in entries:
            return False
        here = entries[part]
    return True
