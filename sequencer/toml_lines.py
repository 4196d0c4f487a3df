"""On which line of a TOML text every key and array element stands."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable

import tree_sitter
import tree_sitter_toml

__all__ = ["Place", "lines_of_keys"]

#: Place of a value in a document: keys of tables and indices of arrays, from the root.
Place = tuple[str | int, ...]


def lines_of_keys(text: str) -> dict[Place, int]:
    """Line of every key and array element of a valid TOML text."""
    parser = tree_sitter.Parser(tree_sitter.Language(tree_sitter_toml.language()))
    lines: dict[Place, int] = {}
    lengths: dict[Place, int] = {}  # entries so far of every [[array of tables]]
    for node in parser.parse(text.encode()).root_node.named_children:
        if node.type == "pair":
            _note_pair(node, (), lines)
        elif node.type in ("table", "table_array_element"):
            head, *rest = [child for child in node.named_children if child.type != "comment"]
            base = _resolve(_key(head), lengths, repeated=node.type == "table_array_element")
            line = node.start_point[0] + 1
            # a later header of the same array or table must not move its parents
            for length in range(1, len(base) + 1):
                lines.setdefault(base[:length], line)
            lines[base] = line
            for pair in rest:
                if pair.type == "pair":
                    _note_pair(pair, base, lines)
    return lines


def _resolve(keys: Iterable[str], lengths: dict[Place, int], *, repeated: bool) -> Place:
    """Place that a table header names: arrays of tables stand for their last entry."""
    parts = list(keys)
    place: Place = ()
    for number, part in enumerate(parts, start=1):
        place = (*place, part)
        if repeated and number == len(parts):
            lengths[place] = lengths.get(place, 0) + 1
        if place in lengths:
            place = (*place, lengths[place] - 1)
    return place


def _note_pair(pair: tree_sitter.Node, base: Place, lines: dict[Place, int]) -> None:
    parts = [child for child in pair.named_children if child.type != "comment"]
    if len(parts) != 2:  # the two parsers disagree; the parent's line will have to do
        return
    head, value = parts
    line = pair.start_point[0] + 1
    place = base
    for part in _key(head):
        place = (*place, part)
        lines.setdefault(place, line)
    _note_value(value, place, lines)


def _note_value(value: tree_sitter.Node, place: Place, lines: dict[Place, int]) -> None:
    children = [child for child in value.named_children if child.type != "comment"]
    if value.type == "array":
        for index, child in enumerate(children):
            lines[(*place, index)] = child.start_point[0] + 1
            _note_value(child, (*place, index), lines)
    elif value.type == "inline_table":
        for child in children:
            if child.type == "pair":
                _note_pair(child, place, lines)


def _key(node: tree_sitter.Node) -> list[str]:
    if node.type == "dotted_key":
        return [part for child in node.named_children for part in _key(child)]
    text = (node.text or b"").decode(errors="replace")
    if node.type == "quoted_key":  # let tomllib undo the quotes and escapes
        return list(tomllib.loads(f"{text} = 0"))
    return [text]
