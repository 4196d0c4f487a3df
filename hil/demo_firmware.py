"""The firmware of the demo, built: what `make firmware` flies its scenarios on."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from hil.building import CROSS, HOST, build_image, build_program
from hil.emulated import QEMU
from hil.proofs import Mistake, Way
from sequencer.errors import UsageError, nearest
from sequencer.scenario import load_scenario
from sequencer.sequence import Sequence as FlightLogic

__all__ = ["BUILDS", "Built", "build_demo"]


@dataclass(frozen=True, slots=True)
class Built:
    """Ways to fly, mistakes that have to be noticed, and what a tool lacks for."""

    ways: tuple[Way, ...]
    mistakes: tuple[Mistake, ...]
    left_out: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class _Build:
    """One way the exported sequences are flown.

    lacking   the tool that is not there, or nothing
    """

    name: str
    scheme: str
    ending: str
    build: Callable[[Path, FlightLogic], object]
    lacking: Callable[[], str]


def _no(program: str) -> str:
    return "" if shutil.which(program) else f"`{program}` is not on the path"


BUILDS: Final = (
    _Build("exported, program", "exec", "", build_program, lambda: _no(HOST)),
    _Build(
        *("exported, core", "core", ".elf", build_image),
        lambda: _no(CROSS) or ("" if find_spec("unicorn") else "unicorn is not installed"),
    ),
    _Build(*("exported, qemu", "qemu", ".elf", build_image), lambda: _no(CROSS) or _no(QEMU[0])),
)


def build_demo(paths: Sequence[Path], folder: Path, only: Sequence[str] = ()) -> Built:
    """Build for all sequences that the scenarios name, into `folder`.

    only   words of which the name of what is flown must hold one; all without any

    Raises UsageError for a word that no name holds.
    """
    names = [each.name for each in BUILDS]
    for word in only:
        if not any(word in name for name in names):
            guess = nearest(word, [part for name in names for part in name.split(", ")])
            hint = f"; did you mean '{guess}'?" if guess else f" (there: {'; '.join(names)})"
            raise UsageError(f"no firmware of the demo is called '{word}'{hint}")
    logics = _sequences(paths)
    ways, left_out = [], {}
    folder.mkdir(parents=True, exist_ok=True)
    for each in BUILDS:
        if only and not any(word in each.name for word in only):
            continue
        lacking = each.lacking()
        if lacking:
            left_out[each.name] = lacking
        else:
            ways.append(_way(each, logics, folder))
    return Built(tuple(ways), (), left_out)


def _way(each: _Build, logics: Sequence[FlightLogic], folder: Path) -> Way:
    instead = {}
    for logic in logics:
        made = folder / f"{logic.name}_{logic.digest[:8]}{each.ending}"
        each.build(made, logic)
        instead[logic.digest] = f"{each.scheme}:{made}"
    return Way(each.name, next(iter(instead.values())), instead)


def _sequences(paths: Sequence[Path]) -> list[FlightLogic]:
    """Each once."""
    found = {}
    for path in paths:
        for logic in load_scenario(path).sequences.values():
            found[logic.digest] = logic
    return list(found.values())
