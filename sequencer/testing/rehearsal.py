"""A scenario that is flown again and again with something changed."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from functools import cached_property
from pathlib import Path
from typing import Any

from hypothesis import currently_in_test_context, note

from sequencer.flight.batch import fly_compiled
from sequencer.record import FlightRecord
from sequencer.scenario import Scenario
from sequencer.scenario.extend import read_extended, with_tables
from sequencer.scenario.load import Shelf, build_scenario

__all__ = ["Rehearsal", "Table", "fly_with"]

#: a table of a scenario file, as the file has it: {"kind": "igniter_open", "place": "igniter_A1"}
Table = Mapping[str, Any]

_HEAD = """\
[scenario]
extends = {base}
title = "Found by a property test"
reason = "a property did not hold in this flight"
covers = {{ fault = {fault}, phase = "any" }}
"""


class Rehearsal:
    """A scenario file, read once and flown as often as needed.

    path   of the scenario; InputError is raised where it, or a file that it names, cannot be used
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self._document = read_extended(self.path)
        self._shelf = Shelf()
        self.scenario: Scenario = build_scenario(self.path, self._document, self._shelf)

    def __repr__(self) -> str:
        return f"Rehearsal({str(self.path)!r})"

    @cached_property
    def plain(self) -> FlightRecord:
        """The flight with nothing changed. It is flown when somebody first asks."""
        return fly_compiled(self.scenario)

    @property
    def seconds(self) -> float:
        """How long the flight with nothing changed lasts, s."""
        return self.plain.ticks / self.plain.rate_hz

    def planned(
        self,
        *,
        faults: Iterable[Table] = (),
        crew: Iterable[Table] = (),
        weather: Table | None = None,
        link: Table | None = None,
        seed: int | None = None,
    ) -> Scenario:
        """The scenario with something changed.

        faults    [[faults]] beside its own; names are made different where they are not
        crew      [[crew]] beside its own
        weather   [weather] in place of its own
        link      keys of [link] in place of its own
        seed      of all chance

        Raises InputError for what a scenario file could not hold either.
        """
        tables = self._tables(faults, crew, weather, link, seed)
        if not tables:
            return self.scenario
        return build_scenario(self.path, with_tables(self._document, tables), self._shelf)

    def fly(
        self,
        *,
        faults: Iterable[Table] = (),
        crew: Iterable[Table] = (),
        weather: Table | None = None,
        link: Table | None = None,
        seed: int | None = None,
    ) -> FlightRecord:
        """Fly it with something changed (see `planned`) and judge it.

        Within a property test the scenario is noted: of the example that failed Hypothesis prints
        it, as a file that can be kept.
        """
        faults, crew = list(faults), list(crew)
        scenario = self.planned(faults=faults, crew=crew, weather=weather, link=link, seed=seed)
        record = fly_compiled(scenario)
        if currently_in_test_context():
            note(
                self.as_toml(
                    record.outcome, faults=faults, crew=crew, weather=weather, link=link, seed=seed
                )
            )
        return record

    def as_toml(
        self,
        outcome: str,
        *,
        faults: Iterable[Table] = (),
        crew: Iterable[Table] = (),
        weather: Table | None = None,
        link: Table | None = None,
        seed: int | None = None,
    ) -> str:
        """The scenario file that says the same, built on this one; `outcome` is what it expects."""
        tables = self._tables(faults, crew, weather, link, seed)
        planned = tables.get("faults", ())
        fault = json.dumps(planned[-1]["kind"] if planned else "none")
        text = _HEAD.format(base=json.dumps(self.path.name), fault=fault)
        if seed is not None:
            text += f"seed = {seed}\n"
        for name in ("weather", "link"):
            if name in tables:
                text += f"\n[{name}]\n{_lines(tables[name])}"
        for name in ("crew", "faults"):
            for table in tables.get(name, ()):
                text += f"\n[[{name}]]\n{_lines(table)}"
        return f"{text}\n[expect]\noutcome = {json.dumps(outcome)}\n"

    def _tables(
        self,
        faults: Iterable[Table],
        crew: Iterable[Table],
        weather: Table | None,
        link: Table | None,
        seed: int | None,
    ) -> dict[str, Any]:
        """Tables of the file that are not as they were."""
        data = self._document.data
        tables: dict[str, Any] = {}
        for name, more in (("faults", _renamed(data.get("faults", ()), faults)), ("crew", [*crew])):
            if more:
                tables[name] = [*data.get(name, ()), *more]
        if weather is not None:
            tables["weather"] = dict(weather)
        if link is not None:
            tables["link"] = {**data.get("link", {}), **link}
        if seed is not None:
            tables["scenario"] = {**data["scenario"], "seed": seed}
        return tables


def fly_with(
    scenario: str | Path | Rehearsal,
    *,
    faults: Iterable[Table] = (),
    crew: Iterable[Table] = (),
    weather: Table | None = None,
    link: Table | None = None,
    seed: int | None = None,
) -> FlightRecord:
    """Fly a scenario once with something changed; see `Rehearsal.planned`.

    Who flies one more than once keeps a `Rehearsal` of it: that reads the files only once.
    """
    rehearsal = scenario if isinstance(scenario, Rehearsal) else Rehearsal(scenario)
    return rehearsal.fly(faults=faults, crew=crew, weather=weather, link=link, seed=seed)


def _renamed(own: Iterable[Table], faults: Iterable[Table]) -> list[Table]:
    """The same faults, none of which has a name that another has."""
    taken = {fault["name"] for fault in own}
    found: list[Table] = []
    for fault in faults:
        name, number = fault["name"], 1
        while name in taken:
            number += 1
            name = f"{fault['name']} {number}"
        taken.add(name)
        found.append({**fault, "name": name})
    return found


def _lines(table: Table) -> str:
    return "".join(f"{key} = {_value(value)}\n" for key, value in table.items())


def _value(value: Any) -> str:  # noqa: ANN401 - whatever a file may hold
    """A value as TOML writes it: a basic string is one of JSON, control characters included."""
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{key} = {_value(each)}' for key, each in value.items())} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, float) and not math.isfinite(value):
        return repr(value)
    return json.dumps(value, ensure_ascii=False)
