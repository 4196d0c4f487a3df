"""TOML files the user wrote: their data, the line of every key, and errors that point there.

`tomllib` gives the values, `tree-sitter-toml` the positions; pydantic models say what may stand in
a file. Whatever is wrong becomes one `InputError` with file, line and the nearest valid choice.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from sequencer import schema_words
from sequencer.errors import InputError, nearest
from sequencer.toml_lines import Place, lines_of_keys

__all__ = [
    "MAX_BYTES",
    "Document",
    "Line",
    "Loc",
    "Strict",
    "decoded",
    "located",
    "parse_document",
    "read_bytes",
    "read_document",
]

#: Place of a value in a document: keys of tables and indices of arrays, from the root.
Loc = Place

#: Files above this size are refused: no file written by hand comes near.
MAX_BYTES = 1 << 20

# Tables and arrays nested deeper than this are refused: nothing that we read comes near.
_MAX_DEPTH = 40

# the table that says what kind of file it stands in
_HEADS = {
    "vehicle": "a vehicle",
    "sequence": "a sequence",
    "scenario": "a scenario",
    "requirements": "a list of requirements",
    "cells": "a list of cells of faults and phases",
}

_ModelT = TypeVar("_ModelT", bound=BaseModel)


def _printable(text: str) -> str:
    if not text.isprintable():
        raise ValueError("must be one line of printable text")
    return text


#: Text that stands in reports as it is: a name, a title.
Line = Annotated[str, AfterValidator(_printable)]


class Strict(BaseModel):
    """Base of every schema: no unknown keys, no text for numbers, no NaN, nothing mutable.

    Whole numbers are accepted where a number is asked for. Documents are validated in pydantic's
    JSON mode, so arrays may be declared as `tuple[X, ...]`; a `mode="before"` validator on a whole
    model would switch that off (pydantic then sees a Python list), so use "after" ones.
    """

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        strict=True,
        allow_inf_nan=False,
        populate_by_name=False,
        defer_build=True,  # most are only ever part of a file: its schema holds theirs
    )


@dataclass(frozen=True, slots=True)
class Document:
    """One parsed TOML file.

    data     the parsed tables, as tomllib gives them
    digest   SHA-256 (hex) of the data in canonical form: comments, white space and the way a
             table is written do not count, the order of keys does (estimates and exits have one)
    """

    path: Path
    data: dict[str, Any]
    digest: str
    _lines: Mapping[Loc, int] = field(default_factory=dict, repr=False)

    def line(self, loc: Iterable[str | int]) -> int | None:
        """Line (from 1) of the key at `loc`, or of its nearest parent that has one, or None."""
        known = tuple(loc)
        while known:
            if known in self._lines:
                return self._lines[known]
            known = known[:-1]
        return None

    def error(
        self, loc: Iterable[str | int], what: str, *, nearest: str | None = None
    ) -> InputError:
        """An error that points at `loc`; raise it."""
        return InputError(what, file=self.path, line=self.line(loc), nearest=nearest)

    def validate(self, model: type[_ModelT]) -> _ModelT:
        """The data as an instance of `model`.

        Raises InputError for the first fault in file order.
        """
        try:
            return model.model_validate_json(json.dumps(self.data, default=str))
        except ValidationError as failure:
            errors = failure.errors(include_url=False, include_context=True)
            # a misspelt key is both unknown and missing: say the former
            strange = {e["loc"][:-1] for e in errors if e["type"] == "extra_forbidden"}
            faults = [
                self._fault(model, details)
                for details in errors
                if details["type"] != "missing" or details["loc"][:-1] not in strange
            ]
            # what has no line is missing from the file as a whole: told last; of two ways to see
            # one line (text, or a list of texts) the one that got further fits better
            _, fault = min(faults, key=lambda found: (found[1].line or math.inf, -len(found[0])))
            raise fault from None

    def _fault(self, model: type[BaseModel], details: ErrorDetails) -> tuple[Loc, InputError]:
        """Where something is wrong, and the error that says so."""
        loc = self._existing(details["loc"])
        kind = details["type"]
        if kind == "missing":
            key = details["loc"][-1]
            if isinstance(key, int):
                return loc, self.error(loc, f"'{dotted(loc)}' has too few entries")
            if loc:
                return loc, self.error(loc, f"'{key}' is missing in [{dotted(loc)}]")
            shape = model.model_json_schema()["properties"].get(key, {})
            inner = f"{key}.NAME" if "additionalProperties" in shape else key
            table = f"[[{key}]]" if shape.get("type") == "array" else f"[{inner}]"
            return loc, self.error(loc, f"there is no table {table}")
        if kind == "extra_forbidden":
            key = str(loc[-1])
            valid = _schema_keys(model, loc[:-1], self.data)
            free = [name for name in valid if name not in self._table(loc[:-1])]
            near = nearest(key, free) or nearest(key, valid)
            wanted = [head for head in _HEADS if head in valid]
            if wanted and not loc[:-1] and key in _HEADS:
                return loc, self.error(loc, f"this is {_HEADS[key]}, {_HEADS[wanted[0]]} is wanted")
            where = f" in [{dotted(loc[:-1])}]" if loc[:-1] else ""
            known = f" (known: {schema_words.some(valid)})" if near is None and valid else ""
            return loc, self.error(
                loc, f"unknown key {schema_words.shown(key)}{where}{known}", nearest=near
            )
        return loc, self._bad_value(loc, details)

    def _bad_value(self, loc: Loc, details: ErrorDetails) -> InputError:
        name = f"'{dotted(loc)}'" if loc else "the file"
        value, context = details["input"], details.get("ctx", {})
        message = schema_words.WANTED.get(details["type"])
        if message is not None:
            return self.error(loc, f"{name} must be {message}, not {schema_words.shown(value)}")
        if details["type"] in ("literal_error", "union_tag_invalid"):
            listed = str(context.get("expected", context.get("expected_tags", "")))
            if listed in ("True", "False"):
                return self.error(
                    loc, f"{name} must be {listed.lower()}, not {schema_words.shown(value)}"
                )
            given = str(context.get("tag", value))
            choices = re.findall(r"'([^']*)'", listed)
            near = nearest(given, choices)
            if details["type"] == "union_tag_invalid":
                key = str(context.get("discriminator", "")).strip("'()")
                loc, name = (*loc, key), f"'{dotted((*loc, key))}'"
            shown = schema_words.shown(context.get("tag", value))
            return self.error(loc, f"{name} is {shown}, not one of {listed}", nearest=near)
        if details["type"] == "union_tag_not_found":
            key = str(context.get("discriminator", "")).strip("'")
            return self.error(loc, f"'{key}' is missing in [{dotted(loc)}]")
        if details["loc"] and details["loc"][-1] == "[key]":
            name = "the name"
        return self.error(loc, f"{name} {schema_words.demand(details['type'], value, context)}")

    def _existing(self, loc: Iterable[str | int]) -> Loc:
        """`loc` without the marks that pydantic adds (union tags, "[key]") and missing keys."""
        here: Any = self.data
        found: list[str | int] = []
        for part in loc:
            entries = dict(enumerate(here)) if isinstance(here, list) else here
            if isinstance(entries, dict) and part in entries:
                here = entries[part]
                found.append(part)
        return tuple(found)

    def _table(self, loc: Loc) -> Mapping[str, Any]:
        here: Any = self.data
        for part in loc:
            here = here[part]
        return here if isinstance(here, dict) else {}


def read_document(path: str | Path) -> Document:
    """Reads one TOML file.

    Raises InputError if it is missing, not a regular file, larger than MAX_BYTES, not UTF-8 or not
    valid TOML.
    """
    path = Path(path)
    return parse_document(decoded(read_bytes(path, MAX_BYTES), path), path)


def read_bytes(path: Path, most: int) -> bytes:
    """The bytes of a file that the user named.

    Raises InputError if it is missing, not a regular file, or larger than `most` bytes.
    """
    try:
        if path.is_dir():
            raise InputError("is a directory, not a file", file=path)
        if path.exists() and not path.is_file():
            raise InputError("is not a regular file", file=path)
        with path.open("rb") as stream:
            raw = stream.read(most + 1)
    except FileNotFoundError:
        what = "is a link to nothing" if path.is_symlink() else "no such file"
        raise InputError(what, file=path, nearest=_near_file(path)) from None
    except (OSError, ValueError) as failure:
        reason = getattr(failure, "strerror", None) or str(failure)
        raise InputError(f"cannot be read: {reason}", file=path) from None
    if len(raw) > most:
        raise InputError(f"is larger than {most} bytes", file=path)
    return raw


def decoded(raw: bytes, path: Path) -> str:
    """The text that a file's bytes stand for. Raises InputError, with the line, if not UTF-8."""
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as failure:
        line = raw.count(b"\n", 0, failure.start) + 1
        raise InputError("is not UTF-8 text", file=path, line=line) from None


def located(path: Path, loc: Loc, what: str, nearest: str | None = None) -> InputError:
    """An error at `loc` of a file that was read before; without a line if it is there no more."""
    try:
        return read_document(path).error(loc, what, nearest=nearest)
    except InputError:  # also what was built, not read, has no file
        return InputError(what, file=path, nearest=nearest)


def parse_document(text: str, path: str | Path) -> Document:
    """The document that `text` holds; `path` is only named in errors.

    Raises InputError if it is not valid TOML.
    """
    path = Path(path)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as failure:
        what, line = _syntax_error(str(failure), text)
        raise InputError(f"not valid TOML: {what}", file=path, line=line) from None
    except RecursionError:
        raise InputError("is nested too deeply", file=path) from None
    except ValueError as failure:  # a number with thousands of digits, an impossible date
        what = "a number has too many digits" if "digits" in str(failure) else str(failure)
        raise InputError(f"not valid TOML: {what}", file=path) from None
    if _is_deeper(data, _MAX_DEPTH):
        raise InputError("is nested too deeply", file=path)
    try:
        canonical = json.dumps(data, default=str, separators=(",", ":"))
    except ValueError:  # a hexadecimal number with thousands of digits
        raise InputError("not valid TOML: a number has too many digits", file=path) from None
    digest = hashlib.sha256(canonical.encode()).hexdigest()
    return Document(path, data, digest, lines_of_keys(text))


def _is_deeper(data: object, most: int) -> bool:
    level: list[object] = [data]
    for _ in range(most):
        level = [
            inner
            for value in level
            if isinstance(value, dict | list)
            for inner in (value.values() if isinstance(value, dict) else value)
        ]
        if not level:
            return False
    return any(isinstance(value, dict | list) for value in level)


def dotted(loc: Iterable[str | int]) -> str:
    """`loc` as a person would write it: ``states.safe.exits[2].when`` (entries count from 1)."""
    text = ""
    for part in loc:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += f".{part}" if text else part
    return text


def _near_file(path: Path) -> str | None:
    try:
        names = [
            entry.name
            for entry in path.parent.iterdir()
            # "x.sequence.toml" is no stand-in for "x.vehicle.toml", nor a broken link for itself
            if entry.suffixes[-2:] == path.suffixes[-2:] and entry.is_file()
        ]
    except OSError:
        return None
    near = nearest(path.name, sorted(names))
    return None if near is None else str(path.parent / near)


def _syntax_error(message: str, text: str) -> tuple[str, int]:
    """The parser's message without its place, and the line."""
    bare = re.search(r"\r(?!\n)", text)
    if bare:
        line = text.count("\n", 0, bare.start()) + 1
        return "a line ends in CR alone, instead of LF or CR LF", line
    found = re.fullmatch(
        r"(.*) \(at (?:line (\d+), column \d+|end of document)\)", message, re.DOTALL
    )
    if found is None:
        return message, 1
    last = max(1, len(text.rstrip().splitlines()))
    return schema_words.syntax(found[1]), int(found[2]) if found[2] else last


def _schema_keys(model: type[BaseModel], loc: Loc, data: object) -> list[str]:
    """Keys that `model` allows in the table at `loc`, read off its JSON Schema."""
    schema = model.model_json_schema()
    nodes = [schema]
    here: Any = data
    for part in loc:
        here = here[part]
        nodes = [child for node in _alternatives(nodes, schema) for child in _children(node, part)]
    found = list(_alternatives(nodes, schema))
    kept = [node for node in found if _tag_fits(node, here)] or found
    return list(dict.fromkeys(key for node in kept for key in node.get("properties", {})))


def _alternatives(
    nodes: Iterable[dict[str, Any]], root: dict[str, Any]
) -> Iterator[dict[str, Any]]:
    for node in nodes:
        if "$ref" in node:
            target = root["$defs"][node["$ref"].rsplit("/", 1)[-1]]
            yield from _alternatives([target], root)
        elif "anyOf" in node or "oneOf" in node:
            yield from _alternatives(node.get("anyOf") or node.get("oneOf") or (), root)
        else:
            yield node


def _children(node: dict[str, Any], part: str | int) -> Iterator[dict[str, Any]]:
    if isinstance(part, int):
        entry = node.get("items")
    else:
        patterns = node.get("patternProperties", {})  # keys of a mapping with a pattern
        other = next(iter(patterns.values()), node.get("additionalProperties"))
        entry = node.get("properties", {}).get(part, other)
    if isinstance(entry, dict):
        yield entry


def _tag_fits(node: dict[str, Any], table: object) -> bool:
    """Whether the constants that a schema demands (the tag of a union) agree with the table."""
    entries = node.get("properties", {}).items()
    return isinstance(table, dict) and all(
        table.get(key, entry.get("default")) == entry["const"]
        for key, entry in entries
        if "const" in entry
    )
