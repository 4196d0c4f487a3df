"""The demo's flight logic written by hand in C99: its program, and variants with a mistake each.

The sources and the list of variants lie beside the demo's scenarios, in ``firmware``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from hil.building import HOST, link_image, link_program
from sequencer.errors import UsageError
from sequencer.scenario.starter import demo_folder

__all__ = ["COMPUTER", "Variant", "build", "build_board", "firmware_folder", "sources", "variants"]

#: whose logic it is
COMPUTER: Final = "flight"


@dataclass(frozen=True, slots=True)
class Variant:
    """A mistake that is built in by ``-DVARIANT_NAME``, and where it is noticed.

    scenario   of the demo, its file's name without the ending
    time_s     of the first divergence from the model, s
    state      in which the model began that tick
    told       part of the sentence that tells it
    """

    name: str
    mistake: str
    scenario: str
    time_s: float
    state: str
    told: str


def firmware_folder() -> Path:
    """Where the sources lie."""
    return demo_folder() / "firmware"


def variants() -> tuple[Variant, ...]:
    """All known mistakes, in the order of their file."""
    text = (firmware_folder() / "variants.toml").read_text(encoding="utf-8")
    return tuple(Variant(**each) for each in tomllib.loads(text)["variants"])


def sources() -> tuple[Path, ...]:
    """The firmware's own files; the link and the face to a host or a board come from the kit."""
    return tuple(sorted(firmware_folder().glob("*.c")))


def build(
    program: Path,
    variant: str = "",
    *,
    compiler: Sequence[str] = (HOST,),
    flags: Sequence[str] = (),
) -> Path:
    """Compile the firmware into a program for ``exec:``; returns its path.

    variant    name of a mistake to build in; without it the firmware as it should be

    Raises UsageError for an unknown variant and without the compiler; InternalError where the
    compiler does not take the sources.
    """
    known = [each.name for each in variants()]
    if variant and variant not in known:
        raise UsageError(f"unknown variant '{variant}' (known: {', '.join(known)})")
    mistake = (f"-DVARIANT_{variant}",) if variant else ()
    words = (*flags, *mistake, f"-I{firmware_folder()}")
    return link_program(program, sources(), words, compiler=compiler)


def build_board(image: Path) -> Path:
    """Compile the firmware into an image for ``core:`` and ``qemu:``; raises as `build` does."""
    return link_image(image, sources(), (f"-I{firmware_folder()}",))
