"""A project of the user's own, cut out of the demo: it flies at once and is changed from there."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from sequencer.errors import InternalError, UsageError

__all__ = ["STARTERS", "demo_folder", "start_project"]

#: demo scenarios that, with every file they need, make up a new project: both ways home, a flight
#: called off, faults that begin at a time, an event and a state, and one with dispersions
STARTERS = (
    "calm_landing",
    "planned_recovery",
    "scrub",
    "main_charge_open",
    "battery_aged",
    "reboot_in_coast",
    "channel_wears_in_flight",
    "breeze",
)

_README = """\
# {name}

Vehicle, flight logic and scenarios of one rocket. Everything here is a copy of a worked example;
change it into your own, one file at a time, and fly after every change:

    drycount fly .             # -v: timelines, verdicts, currents of the firing circuits
    drycount lint .            # what cannot be right, whatever the weather
    drycount faults .          # which faults are covered, and which are not
    drycount fly . --coverage  # what no scenario exercises, and which to write for it
    drycount mutants flight.sequence.toml  # mistakes that no scenario would notice
    drycount campaign breeze.scenario.toml --flights 200  # probabilities, with intervals
    drycount baseline record . # keep what flights came to; later `compare` tells what moved

| file | holds |
| --- | --- |
| `*.vehicle.toml` | the rocket: masses, motors, mechanisms, channels, battery, sensors, wiring |
| `*.sequence.toml` | the flight logic of one computer: inputs, estimates, limits, states, exits |
| `*.requirements.toml` | what every flight must keep, each with a margin in its own unit |
| `*.scenario.toml` | one flight: weather, crew, faults, and what must come out |
| `*.cells.toml` | which faults must be covered in which phase, and why |

A good order: weigh and measure, igniters and the battery under load too, then the vehicle file;
then the limits of the sequences, each with its reason; then one scenario for every fault
you can name. `first.cells.toml` says which come next.

`sh ci.sh` installs drycount (from the folder or archive that `DRYCOUNT` names, if it is set) and
flies everything, after `lint`; run it for every change of the firmware. Who has pytest can say
`pytest` as well: every scenario is a test (`pytest.ini` has the line that it takes). And

    git config core.hooksPath hooks

makes git do the same before every commit, and refuse the commit where something falls short.

Motors, igniters and ejection charges injure. A flight that comes out as expected here is no
permission to fly: local law, the site's range safety officer and certified practice decide.
"""

_CELLS = """\
# Which faults must be covered in which phase of the flight, and why. `drycount faults .` marks
# every cell that is named here and that no scenario covers, and then has exit status 1.

[[cells]]
faults = ["none"]
phases = ["any", "recovery"]
reason = "both ways home have to work when nothing goes wrong"

[[cells]]
faults = ["crew"]
phases = ["arming", "countdown"]
reason = "people call it off whenever they can"

[[cells]]
faults = ["igniter_open"]
phases = ["recovery"]
reason = "breaks after continuity was asked for the last time"

[[cells]]
faults = ["battery_resistance"]
phases = ["staging"]
reason = "the voltage looks healthy until a hot wire asks for amperes"

[[cells]]
faults = ["channel_resistance"]
phases = ["landing_burn"]
reason = "worn by bench firing, and needed only at the very end"

[[cells]]
faults = ["reboot"]
phases = ["coast"]
reason = "it must know where it is, and what it has fired already"

# Next: take the # away from one, see it marked, and write the scenario that covers it.
#
# [[cells]]
# faults = ["igniter_beside"]
# phases = ["ignition", "landing_burn"]
# reason = "passes every check there is before the flight"
#
# [[cells]]
# faults = ["separation_hung"]
# phases = ["staging"]
# reason = "fired is not parted"
#
# [[cells]]
# faults = ["sensor_silent"]
# phases = ["descent"]
# reason = "the burn is timed by the rangefinder"
#
# [[cells]]
# faults = ["link_lost", "umbilical_pulled"]
# phases = ["countdown", "ignition"]
# reason = "the abort must have one owner, whoever still hears whom"
"""

_IGNORE = """\
.venv/
results.xml
results.json
lint.sarif
"""

_PYTEST = """\
[pytest]
addopts = -p sequencer.pytest_plugin
testpaths = .
"""

_HOOK = """\
#!/bin/sh
# Before every commit, once `git config core.hooksPath hooks` has been said: look through the
# sequences, fly every scenario.
set -eu
cd "$(git rev-parse --show-toplevel)"
PATH="$PWD/.venv/bin:$PATH"
command -v drycount >/dev/null || {
    echo "hooks/pre-commit: drycount is not installed; 'sh ci.sh' does that" >&2
    exit 1
}
drycount lint .
exec drycount fly .
"""

_CI = """\
#!/bin/sh
# For any continuous integration service: look through the sequences, fly every scenario, keep the
# results.
# Status 0: as expected; 1: something fell short; 2: a file cannot be used.
set -eu
cd "$(dirname "$0")"
python3 -m venv .venv
.venv/bin/python -m pip install --quiet "${DRYCOUNT:-drycount}"  # a name, a folder or an archive
lint=0
.venv/bin/drycount lint . --sarif lint.sarif || lint=$?
.venv/bin/drycount fly . --junit results.xml --json results.json
exit "$lint"
"""


def demo_folder() -> Path:
    """The demo's files: inside the installed package, or beside it in a source tree.

    Raises InternalError when they are in neither place.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "demo", package.parent / "scenarios"):
        if folder.is_dir():
            return folder
    raise InternalError("the demo is missing from this installation")


def start_project(folder: Path) -> list[str]:
    """Write a new project into `folder` and return the names of its files, sorted.

    Raises UsageError where the folder is not empty, or cannot be written.
    """
    demo = demo_folder()
    chosen = _chosen(demo)
    texts = {
        "README.md": _README.format(name=folder.resolve().name),
        ".gitignore": _IGNORE,
        "first.cells.toml": _CELLS,
        "ci.sh": _CI,
        "pytest.ini": _PYTEST,
        "hooks/pre-commit": _HOOK,
    }
    try:
        if folder.exists() and not folder.is_dir():
            raise UsageError(f"{folder}: is a file, not a folder")
        if folder.exists() and any(folder.iterdir()):
            raise UsageError(f"{folder}: is not an empty folder; give a new one")
        for file in chosen:
            target = folder / file.relative_to(demo)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(file, target)
        for name, text in texts.items():
            target = folder / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_text(text, encoding="utf-8", newline="\n")
            if text.startswith("#!"):
                target.chmod(0o755)
    except OSError as error:
        raise UsageError(f"{folder}: cannot be written: {error.strerror or error}") from error
    return sorted([*(str(file.relative_to(demo)) for file in chosen), *texts])


def _chosen(demo: Path) -> list[Path]:
    """The starters, and every file that they name, directly or through another."""
    waiting = [demo / f"{name}.scenario.toml" for name in STARTERS]
    missing = [file.name for file in waiting if not file.is_file()]
    if missing:
        raise InternalError(f"the demo lacks {', '.join(missing)}")
    found: dict[Path, None] = {}
    while waiting:
        file = waiting.pop()
        if file not in found:
            found[file] = None
            waiting += _named(file, demo)
    return sorted(found)


def _named(file: Path, demo: Path) -> Iterator[Path]:
    """Files of the demo that the values of a TOML file name, relative to itself."""
    if file.suffix != ".toml":
        return
    for text in _texts(_table(file)):
        target = (file.parent / text).resolve()
        if "\n" not in text and target.is_relative_to(demo) and target.is_file():
            yield target


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from _all_texts(value.values())
    elif isinstance(value, list):
        yield from _all_texts(value)


def _all_texts(values: Iterable[object]) -> Iterator[str]:
    for value in values:
        yield from _texts(value)


def _table(file: Path) -> dict[str, Any]:
    return tomllib.loads(file.read_text(encoding="utf-8"))
