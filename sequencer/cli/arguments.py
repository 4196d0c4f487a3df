"""Kinds of arguments that the commands share, with complaints in our own words."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

__all__ = ["FilePath", "WholeNumber"]


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


class WholeNumber(click.types.IntParamType):
    """A whole number from `least` to `most`."""

    def __init__(self, least: int, most: int) -> None:
        self._least, self._most = least, most

    def convert(
        self,
        value: Any,  # noqa: ANN401 - as click declares it
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> int:
        """`value` as an int. Raises click.BadParameter for anything else."""
        try:
            number = int(value)
        except ValueError:
            number = self._least - 1
        if not self._least <= number <= self._most:
            wanted = f"a whole number from {self._least} to {self._most}"
            self.fail(f"'{value}' is not {wanted}", param, ctx)
        return number
