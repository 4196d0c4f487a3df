"""Kinds of arguments that the commands share, with complaints in our own words."""

from __future__ import annotations

import os
from abc import ABC, abstractmethod
from pathlib import Path
from typing import Any

import click

__all__ = ["FilePath", "Share", "Tolerance", "WholeNumber", "json_option", "seed_option"]


class FilePath(click.Path):
    """A path. An empty one is refused: it comes from a variable that nobody has set."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(
        self,
        value: str | os.PathLike[str],
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> Any:  # noqa: ANN401 - as click declares it
        """`value` as a Path. Raises click.BadParameter for an empty one."""
        if not os.fspath(value):
            self.fail("an empty name is no file or folder", param, ctx)
        return super().convert(value, param, ctx)


class _Number(click.ParamType[float], ABC):
    """A number that is refused, in words of ours, unless it is the kind that is wanted."""

    name = "number"
    wanted = ""

    @abstractmethod
    def read(self, text: Any) -> float | None:  # noqa: ANN401 - click hands over what it has
        """The number, or None where it is not wanted. Raises ValueError where it is none."""

    def convert(
        self,
        value: Any,  # noqa: ANN401 - as click declares it
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> float:
        """The number. Raises click.BadParameter for anything that is not wanted."""
        try:
            number = self.read(value)
        except ValueError:
            number = None
        if number is None:
            self.fail(f"'{value}' is not {self.wanted}", param, ctx)
        return number


class WholeNumber(_Number):
    """A whole number from `least` to `most`."""

    def __init__(self, least: int, most: int) -> None:
        self._least, self._most = least, most
        self.wanted = f"a whole number from {least} to {most}"

    def read(self, text: Any) -> int | None:  # noqa: ANN401 - as declared above
        """The number, where it lies in the range."""
        number = int(text)
        return number if self._least <= number <= self._most else None


class Share(_Number):
    """A number above 0 and below 1."""

    wanted = "a number between 0 and 1"

    def read(self, text: Any) -> float | None:  # noqa: ANN401 - as declared above
        """The number, where it lies between."""
        number = float(text)
        return number if 0.0 < number < 1.0 else None


class Tolerance(_Number):
    """A number from 0 to `most`."""

    def __init__(self, most: float) -> None:
        self._most = most
        self.wanted = f"a number from 0 to {most:g}"

    def read(self, text: Any) -> float | None:  # noqa: ANN401 - as declared above
        """The number, where it lies in the range."""
        number = float(text)
        return number if 0.0 <= number <= self._most else None


seed_option = click.option(
    "--seed",
    type=WholeNumber(0, 2**63 - 1),
    metavar="S",
    help="Seed of all chance; default: that of the scenario.",
)
json_option = click.option(
    "--json", "json_file", metavar="FILE", help="Write the results as JSON ('-': only that)."
)
