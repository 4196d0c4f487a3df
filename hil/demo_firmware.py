"""The firmware of the demo, built: what `make firmware` flies its scenarios on."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from hil import by_hand
from hil.building import CROSS, HOST, build_image, build_program
from hil.emulated import QEMU
from hil.proofs import Mistake, Way
from sequencer.errors import UsageError, nearest
from sequencer.scenario import SUFFIX, load_scenario
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import Sequence as FlightLogic
from sequencer.sequence import load_sequence

__all__ = ["BUILDS", "Built", "build_demo"]


@dataclass(frozen=True, slots=True)
class Built:
    """Ways to fly, mistakes that have to be noticed, and what a tool lacks for."""

    ways: tuple[Way, ...]
    mistakes: tuple[Mistake, ...]
    left_out: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class _Build:
    """One way the scenarios are flown.

    build     makes what a sequence is executed by, at a path
    lacking   the tool that is not there, or nothing
    by_hand   written for one sequence, that of the demo's flight computer
    """

    name: str
    scheme: str
    ending: str
    build: Callable[[Path, FlightLogic], object]
    lacking: Callable[[], str]
    by_hand: bool = False


def _no(program: str) -> str:
    return "" if shutil.which(program) else f"`{program}` is not on the path"


def _no_core() -> str:
    return _no(CROSS) or ("" if find_spec("unicorn") else "unicorn is not installed")


def _no_board() -> str:
    return _no(CROSS) or _no(QEMU[0])


BUILDS: Final = (
    _Build("exported, program", "exec", "", build_program, lambda: _no(HOST)),
    _Build("exported, core", "core", ".elf", build_image, _no_core),
    _Build("exported, qemu", "qemu", ".elf", build_image, _no_board),
    _Build(
        *("by hand, program", "exec", "_by_hand", lambda at, _: by_hand.build(at)),
        *(lambda: _no(HOST), True),
    ),
    _Build(
        *("by hand, core", "core", "_by_hand.elf", lambda at, _: by_hand.build_board(at)),
        *(_no_core, True),
    ),
)
MISTAKES: Final = "by hand, mistakes"


def build_demo(paths: Sequence[Path], folder: Path, only: Sequence[str] = ()) -> Built:
    """Build for all sequences that the scenarios name, into `folder`.

    Firmware of ours that was written by hand is for the demo's flight computer only.

    only   words of which the name of what is flown must hold one; all without any

    Raises UsageError for a word that no name holds.
    """
    names = [*(each.name for each in BUILDS), MISTAKES]
    for word in only:
        if not any(word in name for name in names):
            guess = nearest(word, re.findall(r"\w+", " ".join(names)))
            hint = f"; did you mean '{guess}'?" if guess else f" (there: {'; '.join(names)})"
            raise UsageError(f"no firmware of the demo is called '{word}'{hint}")
    logics = _sequences(paths)
    demo = load_sequence(demo_folder() / f"{by_hand.COMPUTER}.sequence.toml")
    mine = [logic for logic in logics if logic.digest == demo.digest]
    ways, left_out = [], {}
    folder.mkdir(parents=True, exist_ok=True)
    for each in BUILDS:
        executed = mine if each.by_hand else logics
        if not executed or (only and not any(word in each.name for word in only)):
            continue
        lacking = each.lacking()
        if lacking:
            left_out[each.name] = lacking
        else:
            ways.append(_way(each, executed, folder))
    mistakes: tuple[Mistake, ...] = ()
    if mine and (not only or any(word in MISTAKES for word in only)):
        lacking = _no(HOST)
        if lacking:
            left_out[MISTAKES] = lacking
        else:
            mistakes = tuple(_mistakes(folder))
    return Built(tuple(ways), mistakes, left_out)


def _mistakes(folder: Path) -> Iterator[Mistake]:
    for each in by_hand.variants():
        made = by_hand.build(folder / f"mistake_{each.name.lower()}", each.name)
        path = demo_folder() / f"{each.scenario}{SUFFIX}"
        on = f"{by_hand.COMPUTER}=exec:{made}"
        yield Mistake(each.name, on, path, each.time_s, each.state, each.told)


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
