"""What is wrong with a file, in our own words: pydantic's and tomllib's are about their insides."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["WANTED", "demand", "shown", "some", "syntax"]

# names that a message lists where no name comes near
_LISTED = 8

#: type of pydantic's error -> what should have been there
WANTED: Mapping[str, str] = {
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


def demand(kind: str, value: object, context: Mapping[str, Any]) -> str:
    """What is demanded of a value that breaks a rule, and what it is instead."""
    if kind in _BOUNDS:
        bounds = {key: _plain(bound) for key, bound in context.items()}
        return f"{_BOUNDS[kind].format(**bounds)}, not {shown(value)}"
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
        return f"{words}, not {shown(value)}"
    if "error" in context:  # raised by a validator of ours, in our words
        return str(context["error"])
    return f"cannot be {shown(value)}"


# what tomllib says -> what we say; braces take the names that it lists
_SYNTAX: Mapping[str, str] = {
    r"Cannot declare (\(.*\)) twice": "the table [{}] is declared twice",
    r"Cannot (?:mutate immutable|redefine) namespace (\(.*\))": "'{}' is complete already",
    r"Duplicate inline table key (.*)": "the key '{}' is given twice",
    "Cannot overwrite a value": "a key has a value already, and is given again",
    "Invalid statement": "this is neither KEY = VALUE nor a [table] nor a # comment",
    "Invalid initial character for a key part": "a name in quotes or letters is missing here",
    "Invalid value": 'no value (a number, "text", true, false, [list] or {{ table }}) is here',
    "Unterminated string|Illegal character '\\\\n'": "a text is not closed by its quotation mark",
}


def some(names: Sequence[str]) -> str:
    """Names in a row, not more than fit on a line."""
    rest = len(names) - _LISTED
    return ", ".join(names[:_LISTED]) + (f" and {rest} more" if rest > 0 else "")


def _plain(bound: object) -> str:
    """A bound without the ".0" that it has only because the field is a float."""
    return str(int(bound)) if isinstance(bound, float) and bound.is_integer() else str(bound)


def shown(value: object) -> str:
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


def syntax(said: str) -> str:
    """The parser's message in words that need no knowledge of its insides."""
    for pattern, words in _SYNTAX.items():
        found = re.fullmatch(pattern, said)
        if found:
            return words.format(
                *(".".join(re.findall(r"'([^']*)'", part)) for part in found.groups())
            )
    return said[:1].lower() + said[1:]
