"""Measure what drycount promises to be fast at: `make bench`.

Every file bench_*.py beside this one has a function `measure()` that returns rows
(name, value, unit, target): with a target such as "<= 0.5" or ">= 20" it is told whether it is met.
Prints a table and writes bench.json with facts about the machine. Timing is never asserted in
tests: machines differ, and are busy; this is where it is looked at.

Run one of them alone with its name: python bench/run.py flight. What the others measured before on
this machine stays in bench.json. One that takes long says BY_NAME_ONLY and is left out otherwise.
"""

from __future__ import annotations

import importlib.util
import json
import operator
import os
import platform
import sys
from collections.abc import Callable, Iterable, Mapping
from importlib.metadata import version
from pathlib import Path
from types import ModuleType
from typing import Any

from rich.console import Console
from rich.table import Table

HERE = Path(__file__).parent
OUTPUT = HERE.parent / "bench.json"

#: name, value, unit, target ("" for none)
Row = tuple[str, float, str, str]

_COMPARE: Mapping[str, Callable[[float, float], bool]] = {
    "<=": operator.le,
    ">=": operator.ge,
    "<": operator.lt,
    ">": operator.gt,
}


def met(value: float, target: str) -> bool | None:
    """Whether `value` keeps a target such as "<= 0.5"; None without one.

    Raises ValueError for a target that says something else.
    """
    if not target:
        return None
    sign, _, bound = target.partition(" ")
    if sign not in _COMPARE:
        raise ValueError(f"a target reads like '<= 0.5', not '{target}'")
    return _COMPARE[sign](value, float(bound))


def machine() -> dict[str, str | int | None]:
    """What the figures depend on."""
    return {
        "python": platform.python_version(),
        "numpy": version("numpy"),
        "numba": version("numba"),
        "system": platform.platform(),
        "processor": _processor(),
        "cores": os.cpu_count(),
    }


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.processor()
    names = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.machine()


def _load(file: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(file.stem, file)
    if spec is None or spec.loader is None:
        raise ImportError(f"{file} is no Python file")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _kept(facts: Mapping[str, Any]) -> list[Any]:
    """Results of an earlier run on the same machine."""
    try:
        before = json.loads(OUTPUT.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return []
    if before.get("machine") != facts:
        return []
    return [result for result in before["results"] if "from" in result]


def run(words: Iterable[str]) -> int:
    """Run the measurements whose file names hold one of `words`; without any, all short ones."""
    wanted = list(words)
    files = [
        file
        for file in sorted(HERE.glob("bench_*.py"))
        if not wanted or any(word in file.stem for word in wanted)
    ]
    if not files:
        print(f"no bench_*.py in {HERE} holds {', '.join(wanted)}", file=sys.stderr)
        return 2
    facts = machine()
    rows: list[Row] = []
    results: list[Any] = []
    for file in files:
        module = _load(file)
        if not wanted and getattr(module, "BY_NAME_ONLY", False):
            continue
        print(f"measuring {file.stem} ...", file=sys.stderr)
        found = module.measure()
        rows += found
        results += [
            {
                "from": file.stem,
                "name": name,
                "value": value,
                "unit": unit,
                "target": target,
                "met": met(value, target),
            }
            for name, value, unit, target in found
        ]
    measured = {result["from"] for result in results}
    results += [kept for kept in _kept(facts) if kept["from"] not in measured] if wanted else []
    OUTPUT.write_text(
        json.dumps({"machine": facts, "results": results}, indent=1) + "\n", encoding="utf-8"
    )
    table = Table(box=None)
    for title in ("measured", "value", "unit", "target", "met"):
        table.add_column(title, justify="right" if title == "value" else "left")
    for name, value, unit, target in rows:
        word = {None: "", True: "yes", False: "NO"}[met(value, target)]
        table.add_row(name, f"{value:.4g}", unit, target, word)
    console = Console(highlight=False)
    console.print(table)
    shown = ", ".join(f"{name} {fact}" for name, fact in facts.items())
    console.print(f"\n{shown}", soft_wrap=True)
    return 0


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
