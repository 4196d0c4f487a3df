"""What each scenario of the demo is kept for: the lists of docs/demo.md, and how they are written.

drycount mutants scenarios/flight.sequence.toml --alone --json flight.json
drycount mutants scenarios/pad.sequence.toml --alone --json pad.json
python tests/worth.py flight.json pad.json
"""

from __future__ import annotations

import json
import re
import sys
import tomllib
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path

from sequencer.flight import find_scenarios
from sequencer.scenario.coverage import Coverage, coverage
from sequencer.studies.mutants.model import LIMITS, ROBUSTNESS, STRUCTURAL

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "scenarios"
PAGE = ROOT / "docs" / "demo.md"
BEGIN, END = "<!-- worth: begin -->\n", "<!-- worth: end -->\n"
SUFFIX = ".scenario.toml"

#: reasons that the files show, in the order in which they are looked for
CELL = "it alone covers a fault in a phase that matters"
BREAKS = "it alone shows that a requirement can break"
BUILT_ON = "others build on it"
TIMELINE = "its timeline is kept"
#: and one that only the mutants show
LIMIT = "it alone notices that a limit is moved"


def names() -> list[str]:
    """All scenarios of the demo."""
    return [path.name.removesuffix(SUFFIX) for path in find_scenarios([DEMO])]


@cache
def _tables() -> Mapping[str, dict]:
    return {name: tomllib.loads((DEMO / f"{name}{SUFFIX}").read_text()) for name in names()}


@cache
def _covered() -> Coverage:
    return coverage(find_scenarios([DEMO]), [DEMO / "sandpiper.cells.toml"])


def shown_by_files(name: str) -> tuple[str, str] | None:
    """The first reason to keep a scenario that the files show, and what exactly."""
    covered = _covered()
    for wanted in covered.wanted:
        if covered.by(wanted.cell) == (name,):
            return CELL, f"{wanted.cell.fault}, {wanted.cell.phase}"
    broken = Counter(
        requirement
        for each in _tables().values()
        for requirement in each["expect"].get("breaks", ())
    )
    for requirement in _tables()[name]["expect"].get("breaks", ()):
        if broken[requirement] == 1:
            return BREAKS, requirement
    builders = [
        other
        for other, each in _tables().items()
        if each["scenario"].get("extends") == f"{name}{SUFFIX}"
    ]
    if builders:
        return BUILT_ON, f"{len(builders)} of them"
    if (DEMO / "timelines" / f"{name}.timeline").exists():
        return TIMELINE, ""
    return None


def lists(alone: Mapping[str, int], limits: Mapping[str, str], rest: Iterable[str]) -> str:
    """The generated part of the page.

    alone    scenario -> structural mutants that it alone notices, at least one
    limits   scenario -> a limit, for those that alone notice nothing but that
    rest     the others
    """
    several: dict[int, list[str]] = defaultdict(list)
    for name, count in alone.items():
        several[count].append(name)
    lines = ["| mutants | noticed by nobody but |", "| --- | --- |"]
    lines += [
        f"| {count} | {', '.join(f'`{name}`' for name in sorted(several[count]))} |"
        for count in sorted(several, reverse=True)
    ]
    kept: dict[str, list[str]] = defaultdict(list)
    for name in sorted([*rest, *limits]):
        found = shown_by_files(name)
        if found is None and name in limits:
            found = LIMIT, limits[name]
        if found is not None:
            reason, detail = found
            kept[reason].append(f"`{name}` ({detail})" if detail else f"`{name}`")
    lines += [
        "",
        "No mutant needs these; they are kept, each for the first of these reasons that holds:",
    ]
    for reason in (CELL, BREAKS, BUILT_ON, TIMELINE, LIMIT):
        if kept[reason]:
            lines += ["", f"- {reason}: {', '.join(kept[reason])}"]
    return "\n".join(lines) + "\n"


def read_page() -> tuple[dict[str, int], dict[str, str], set[str], str]:
    """Of the page: counts, limits, those with a reason in words; and the generated part."""
    text = PAGE.read_text(encoding="utf-8")
    part = text.split(BEGIN)[1].split(END)[0]
    counts = {
        name: int(row[1])
        for row in re.finditer(r"^\| (\d+) \| (.*) \|$", part, re.MULTILINE)
        for name in re.findall(r"`(\w+)`", row[2])
    }
    limit = next((line for line in part.splitlines() if line.startswith(f"- {LIMIT}")), "")
    limits = dict(re.findall(r"`(\w+)` \(([^)]*)\)", limit))
    in_words = set(re.findall(r"^\| `(\w+)` \|", text.split(END)[1], re.MULTILINE))
    return counts, limits, in_words, part


def main(paths: list[str]) -> None:
    """Write the generated part anew, and name those that nothing speaks for."""
    alone: Counter[str] = Counter()
    limits: dict[str, str] = {}
    for path in paths:
        for mutant in json.loads(Path(path).read_text())["mutants"]:
            if len(mutant["killers"]) == 1:
                (name,) = mutant["killers"]
                if mutant["kind"] in STRUCTURAL:
                    alone[name] += 1
                elif mutant["kind"] in LIMITS | ROBUSTNESS:
                    limits.setdefault(name, mutant["id"].split(": ")[1])
    limits = {name: limit for name, limit in limits.items() if name not in alone}
    rest = [name for name in names() if name not in alone and name not in limits]
    before, after = PAGE.read_text(encoding="utf-8").split(BEGIN)
    part = lists(alone, limits, rest)
    PAGE.write_text(before + BEGIN + part + END + after.split(END)[1], encoding="utf-8")
    _, _, in_words, _ = read_page()
    for name in rest:
        if f"`{name}`" not in part and name not in in_words:
            sys.stdout.write(f"nothing speaks for {name}\n")


if __name__ == "__main__":
    main(sys.argv[1:])
