"""Small helpers of the loader: names that must exist, numbers that become SI."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sized
from typing import Any

from sequencer.documents import Document, Loc, Strict
from sequencer.errors import InputError, nearest
from sequencer.units import unit

__all__ = ["at_most", "known", "si", "unknown"]


def unknown(
    document: Document, loc: Loc, what: str, name: str, choices: Collection[str]
) -> InputError:
    """Error for a name that is not among `choices`; lists them where none looks alike."""
    near = nearest(name, choices)
    listed = "" if near else f" (known: {', '.join(choices) or 'none'})"
    return document.error(loc, f"unknown {what} '{name}'{listed}", nearest=near)


def known(document: Document, loc: Loc, what: str, name: str, choices: Collection[str]) -> str:
    """`name`, if it is among `choices`. Raises InputError with the nearest valid one otherwise."""
    if name not in choices:
        raise unknown(document, loc, what, name, choices)
    return name


def at_most(document: Document, loc: Loc, things: Sized, most: int, what: str) -> None:
    """Raises InputError if there are more than `most`, the room that the world has for them."""
    if len(things) > most:
        raise document.error(loc, f"{len(things)} {what}, of which there may be at most {most}")


def si(
    table: Strict, names: Mapping[str, str] | None = None, *, without: Collection[str] = ()
) -> dict[str, Any]:
    """Fields of a table, degrees turned into radians and their keys renamed (`x_deg` -> `x_rad`).

    All other suffixes of the vehicle file are SI already. `names` renames further keys, those of
    the model's fields that carry no unit; `without` are left out.
    """
    degree = unit("deg")
    found: dict[str, Any] = {}
    for key in type(table).model_fields:
        if key in without:
            continue
        value = getattr(table, key)
        name = key
        for angle in ("_deg_s", "_deg"):
            if key.endswith(angle) and value is not None:
                name = key.removesuffix(angle) + angle.replace("deg", "rad")
                value = degree.to_si(value)
                break
        found[(names or {}).get(name, name)] = value
    return found
