"""[stream]: a recorded log in place of a simulated world.

Every row of the log is an answer: it refreshes the inputs that have a column, at the first world
tick at or after the row's time, which counts from the first row. Of several rows in one tick the
latest wins. Inputs that the log does not have are constants; those that are true or false are
switches of the crew.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import partial

import numpy as np

from sequencer.documents import Document, Loc
from sequencer.errors import nearest
from sequencer.scenario.model import Recording, Wires
from sequencer.scenario.schema import StreamTable
from sequencer.scenario.site import Site
from sequencer.scenario.stream_file import LogTable
from sequencer.scenario.stream_values import column_values, row_ticks
from sequencer.sequence import Sequence
from sequencer.sequence.model import Input
from sequencer.units import unit
from sequencer.vehicle.capacity import SENSORS, SWITCHES
from sequencer.world.assemble import assemble_recorded
from sequencer.world.faults import Reach, Reading
from sequencer.world.places import Places

__all__ = ["stream_site"]


def stream_site(
    document: Document,
    table: StreamTable,
    sequences: Mapping[str, Sequence],
    log: LogTable,
    rate_hz: int,
) -> Site:
    """The site that a log makes.

    document   where `table` stands, for errors
    rate_hz    world ticks per second

    Raises InputError for an input, a column or a unit that does not fit, and for a row of the log
    that cannot be read.
    """
    inputs = _Inputs(document, sequences)
    columns = inputs.named("columns", table.columns)
    constants = inputs.named("constants", table.constants)
    given = inputs.given(columns, constants)
    index = {name: number for number, name in enumerate(given)}

    ticks, tick_of = row_ticks(document, table.time, log, rate_hz)
    values = np.full((len(ticks), len(given)), math.nan)
    fresh = np.zeros(values.shape, dtype=np.bool_)
    for name, key in columns.items():
        place: Loc = ("stream", "columns", key)
        said, answers = column_values(
            document, place, table.columns[key], log, inputs.known[name][1]
        )
        rows = np.flatnonzero(answers)
        # numpy assigns in order: the latest row of a tick stays
        values[tick_of[rows], index[name]] = said[rows]
        fresh[tick_of[rows], index[name]] = True
    held = {
        name: inputs.constant(key, name, table.constants[key]) for name, key in constants.items()
    }
    switches = inputs.switches(constants, held)
    names = tuple(dict.fromkeys(switches.values()))
    recording = Recording(
        path=log.path,
        digest=log.digest,
        ticks=ticks,
        values=values,
        fresh=fresh,
        constants={index[name]: value for name, value in held.items()},
        switches={index[name]: names.index(switch) for name, switch in switches.items()},
        rows=len(log.rows),
    )
    units = {name: inputs.known[name][1].unit for name in given}
    return Site(
        source=recording,
        sequences=inputs.cut_loose(given),
        places=Places(
            motors=(),
            loads=(),
            parachutes=(),
            computers=tuple(sequences),
            gimbals=(),
            channels={},
            servos={},
            sensors=index,
            switches={name: number for number, name in enumerate(names)},
            sensor_units=units,
        ),
        wires={computer: _wires(computer, logic, index) for computer, logic in sequences.items()},
        reach=_reach(inputs, given),
        full_name=inputs.full,
        signals={},
        hashes={"stream": log.digest},
        assemble=partial(assemble_recorded, len(given), rate_hz=rate_hz),
    )


class _Inputs:
    """The inputs of all computers by full name, COMPUTER.INPUT, and what a scenario calls them."""

    def __init__(self, document: Document, sequences: Mapping[str, Sequence]) -> None:
        self._document = document
        self._sequences = sequences
        self.known: dict[str, tuple[str, Input]] = {
            f"{computer}.{name}": (computer, source)
            for computer, logic in sequences.items()
            for name, source in logic.inputs.items()
        }
        self._plain: dict[str, list[str]] = {}
        for name in self.known:
            self._plain.setdefault(name.partition(".")[2], []).append(name)

    def full(self, name: str) -> str:
        """The full name of an input; whatever is none, as it is."""
        owners = self._plain.get(name, [])
        return owners[0] if len(owners) == 1 else name

    def named(self, table: str, keys: Iterable[str]) -> dict[str, str]:
        """Full names of the inputs that the keys of a table stand for -> those keys."""
        found: dict[str, str] = {}
        for key in keys:
            name = self._named(table, key)
            if name in found:
                what = f"'{key}' and '{found[name]}' are the same input"
                raise self._document.error(("stream", table, key), what)
            found[name] = key
        return found

    def _named(self, table: str, key: str) -> str:
        place = ("stream", table, key)
        name = self.full(key)
        if name in self.known:
            return name
        owners = self._plain.get(key)
        if owners:
            raise self._document.error(
                place, f"several computers have an input '{key}': {', '.join(owners)}"
            )
        near = nearest(key, [*self.known, *self._plain])
        raise self._document.error(place, f"no computer here has an input '{key}'", nearest=near)

    def given(self, columns: Mapping[str, str], constants: Mapping[str, str]) -> tuple[str, ...]:
        """Inputs that the stream gives, in the order of the sequences.

        Raises InputError for one that is given twice, or that nothing gives.
        """
        for name, key in constants.items():
            if name in columns:
                place = ("stream", "constants", key)
                raise self._document.error(place, f"input '{key}' has a column already")
        found = []
        for name, (computer, source) in self.known.items():
            if name in columns or name in constants:
                found.append(name)
            elif source.message is None or source.message[0] not in self._sequences:
                raise self._document.error(
                    ("stream", "columns"),
                    f"input '{source.name}' of computer '{computer}' has neither a column nor a "
                    f"constant",
                )
        if len(found) > SENSORS:
            raise self._document.error(
                ("stream",), f"{len(found)} inputs are given; there may be at most {SENSORS}"
            )
        return tuple(found)

    def constant(self, key: str, name: str, value: bool | float) -> float:  # noqa: FBT001 - as the file has it
        """A constant in SI; the file has it in the unit that the sequence declares."""
        source = self.known[name][1]
        place = ("stream", "constants", key)
        if isinstance(value, bool) != (source.unit == "bool"):
            wanted = "true or false" if source.unit == "bool" else f"a number, in {source.unit}"
            raise self._document.error(place, f"input '{key}' is declared as {wanted}")
        return float(value) if isinstance(value, bool) else unit(source.unit).to_si(value)

    def switches(self, constants: Mapping[str, str], held: Mapping[str, float]) -> dict[str, str]:
        """Constants that are true or false -> the switch behind them.

        Computers that call an input alike read the same switch.
        """
        found: dict[str, str] = {}
        first: dict[str, str] = {}
        for name, value in held.items():
            if self.known[name][1].unit != "bool":
                continue
            switch = name.partition(".")[2]
            other = first.setdefault(switch, name)
            place = ("stream", "constants", constants[name])
            if held[other] != value:
                raise self._document.error(
                    place, f"'{name}' and '{other}' are one switch and cannot differ"
                )
            found[name] = switch
            if len(first) > SWITCHES:
                what = f"more than {SWITCHES} constants are true or false"
                raise self._document.error(place, what)
        return found

    def cut_loose(self, given: Iterable[str]) -> dict[str, Sequence]:
        """The sequences, with what the stream gives no longer taken from messages."""
        names = set(given)
        return {
            computer: replace(
                logic,
                inputs={
                    name: replace(source, message=None) if f"{computer}.{name}" in names else source
                    for name, source in logic.inputs.items()
                },
            )
            for computer, logic in self._sequences.items()
        }


def _wires(computer: str, logic: Sequence, index: Mapping[str, int]) -> Wires:
    """Inputs of one computer; what it commands leads nowhere."""
    servos = [name for name, function in logic.functions.items() if function.kind == "servo"]
    return Wires(
        sensors=tuple(index.get(f"{computer}.{name}", -1) for name in logic.inputs),
        channels=((),) * (len(logic.functions) - len(servos)),
        servos=(0,) * len(servos),  # nobody looks at what stands there
    )


def _reach(inputs: _Inputs, given: Iterable[str]) -> Reach:
    """Only what answers can be hit."""
    sensors = {}
    for name in given:
        computer, source = inputs.known[name]
        sensors[name] = Reading(None if source.unit == "bool" else source.unit, computer)
    return Reach(places={"sensor": tuple(sensors)}, sensors=sensors)
