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
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from sequencer.errors import InputError, nearest
from sequencer.toml_lines import Place, lines_of_keys

__all__ = ["MAX_BYTES", "Document", "Loc", "Strict", "parse_document", "read_document"]

#: Place of a value in a document: keys of tables and indices of arrays, from the root.
Loc = Place

#: Files above this size are refused: no file written by hand comes near.
MAX_BYTES = 1 << 20

# Tables and arrays nested deeper than this are refused: nothing that we read comes near.
_MAX_DEPTH = 40

_ModelT = TypeVar("_ModelT", bound=BaseModel)


class Strict(BaseModel):
    """Base of every schema: no unknown keys, no text for numbers, no NaN, nothing mutable.

    Whole numbers are accepted where a number is asked for. Documents are validated in pydantic's
    JSON mode, so arrays may be declared as `tuple[X, ...]`; a `mode="before"` validator on a whole
    model would switch that off (pydantic then sees a Python list), so use "after" ones.
    """

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, populate_by_name=False
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
            # what has no line is missing from the file as a whole: told last
            raise min(faults, key=lambda fault: fault.line or math.inf) from None

    def _fault(self, model: type[BaseModel], details: ErrorDetails) -> InputError:
        loc = self._existing(details["loc"])
        kind = details["type"]
        if kind == "missing":
            key = str(details["loc"][-1])
            if loc:
                return self.error(loc, f"'{key}' is missing in [{dotted(loc)}]")
            shape = model.model_json_schema()["properties"].get(key, {})
            inner = f"{key}.NAME" if "additionalProperties" in shape else key
            table = f"[[{key}]]" if shape.get("type") == "array" else f"[{inner}]"
            return self.error(loc, f"there is no table {table}")
        if kind == "extra_forbidden":
            key = str(loc[-1])
            valid = _schema_keys(model, loc[:-1], self.data)
            near = nearest(key, [name for name in valid if name not in self._table(loc[:-1])])
            where = f" in [{dotted(loc[:-1])}]" if loc[:-1] else ""
            known = f" (known: {', '.join(valid)})" if near is None and valid else ""
            return self.error(loc, f"unknown key {_shown(key)}{where}{known}", nearest=near)
        return self._bad_value(loc, details)

    def _bad_value(self, loc: Loc, details: ErrorDetails) -> InputError:
        name = f"'{dotted(loc)}'" if loc else "the file"
        value, context = details["input"], details.get("ctx", {})
        message = _WORDS.get(details["type"])
        if message is not None:
            return self.error(loc, f"{name} must be {message}, not {_shown(value)}")
        if details["type"] in ("literal_error", "union_tag_invalid"):
            listed = str(context.get("expected", context.get("expected_tags", "")))
            given = str(context.get("tag", value))
            choices = re.findall(r"'([^']*)'", listed)
            near = nearest(given, choices)
            if details["type"] == "union_tag_invalid":
                key = str(context.get("discriminator", "")).strip("'()")
                loc, name = (*loc, key), f"'{dotted((*loc, key))}'"
            shown = _shown(context.get("tag", value))
            return self.error(loc, f"{name} is {shown}, not one of {listed}", nearest=near)
        if details["type"] == "union_tag_not_found":
            key = str(context.get("discriminator", "")).strip("'")
            return self.error(loc, f"'{key}' is missing in [{dotted(loc)}]")
        if details["loc"] and details["loc"][-1] == "[key]":
            name = "the name"
        return self.error(loc, f"{name} {_demand(details['type'], value, context)}")

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
    try:
        if path.is_dir():
            raise InputError("is a directory, not a file", file=path)
        if path.exists() and not path.is_file():
            raise InputError("is not a regular file", file=path)
        with path.open("rb") as stream:
            raw = stream.read(MAX_BYTES + 1)
    except FileNotFoundError:
        what = "is a link to nothing" if path.is_symlink() else "no such file"
        raise InputError(what, file=path, nearest=_near_file(path)) from None
    except (OSError, ValueError) as failure:
        reason = getattr(failure, "strerror", None) or str(failure)
        raise InputError(f"cannot be read: {reason}", file=path) from None
    if len(raw) > MAX_BYTES:
        raise InputError(f"is larger than {MAX_BYTES} bytes", file=path)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as failure:
        line = raw.count(b"\n", 0, failure.start) + 1
        raise InputError("is not UTF-8 text", file=path, line=line) from None
    return parse_document(text, path)


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


_WORDS: Mapping[str, str] = {
    "float_type": "a number",
    "float_parsing": "a number",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "string_type": "text",
    "tuple_type": "a list",
    "list_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "finite_number": "a finite number",
}


# type of error -> what is demanded; braces are filled in from the error's context
_BOUNDS: Mapping[str, str] = {
    "greater_than": "must be greater than {gt}",
    "greater_than_equal": "must be at least {ge}",
    "less_than": "must be less than {lt}",
    "less_than_equal": "must be at most {le}",
    "multiple_of": "must be a multiple of {multiple_of}",
}
_SIZES: Mapping[str, tuple[str, str]] = {
    "too_short": ("min_length", "must have at least {} {}"),
    "too_long": ("max_length", "must have at most {} {}"),
    "string_too_short": ("min_length", "must have at least {} {}"),
    "string_too_long": ("max_length", "must have at most {} {}"),
}
_ENTRIES, _CHARACTERS = ("entry", "entries"), ("character", "characters")

# patterns of the schemas, in words
_PATTERNS: Mapping[str, str] = {
    "^[A-Za-z][A-Za-z0-9_]*$": "must be made of letters, digits and _, a letter first",
}


def _demand(kind: str, value: object, context: Mapping[str, Any]) -> str:
    """What is demanded of a value that breaks a rule, and what it is instead."""
    if kind in _BOUNDS:
        bounds = {key: _plain(bound) for key, bound in context.items()}
        return f"{_BOUNDS[kind].format(**bounds)}, not {_shown(value)}"
    if kind in _SIZES:
        key, text = _SIZES[kind]
        size = len(value) if isinstance(value, str | Sequence | Mapping) else 0
        if size == 0:
            return "must not be empty"
        one, many = _CHARACTERS if isinstance(value, str) else _ENTRIES
        return f"{text.format(context[key], one if context[key] == 1 else many)}, not {size}"
    if kind == "string_pattern_mismatch":
        pattern = str(context["pattern"])
        words = _PATTERNS.get(pattern, f"must have the form {pattern}")
        return f"{words}, not {_shown(value)}"
    if "error" in context:  # raised by a validator of ours, in our words
        return str(context["error"])
    return f"cannot be {_shown(value)}"


def _plain(bound: object) -> str:
    """A bound without the ".0" that it has only because the field is a float."""
    return str(int(bound)) if isinstance(bound, float) and bound.is_integer() else str(bound)


def _shown(value: object) -> str:
    """A value of the file, short enough for one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return "a list"
    try:
        text = f"'{value}'" if isinstance(value, str) else str(value)
    except ValueError:  # an integer with thousands of digits
        return "a very long number"
    return text if len(text) <= 40 else f"{text[:36]}...'" if text[0] == "'" else f"{text[:36]}..."


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
    found = re.fullmatch(
        r"(.*) \(at (?:line (\d+), column \d+|end of document)\)", message, re.DOTALL
    )
    if found is None:
        return message, 1
    last = max(1, len(text.rstrip().splitlines()))
    what = found[1][0].lower() + found[1][1:] if found[1] else found[1]
    return what, int(found[2]) if found[2] else last


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
