"""What of a planned fault may differ from flight to flight: its size and its times."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from sequencer.scenario.computer_faults import COMPUTER_FAULTS, resolve_computer_fault
from sequencer.scenario.model import Draft, PlannedFault, Quantity
from sequencer.scenario.schema import FaultTable
from sequencer.scenario.site import Site
from sequencer.sequence import Sequence as FlightLogic
from sequencer.units import unit
from sequencer.world.faults import FAULTS, resolve_fault

__all__ = ["Check", "fault_quantities"]

#: raises InputError for a size that the fault cannot have
Check = Callable[[float], object]

#: of a size that becomes a fraction of time: more would only make it unwieldy
_DIGITS = 6
_TIMES = {"at_s": False, "after_s": False, "for_s": True}


def fault_quantities(
    tables: Sequence[FaultTable],
    faults: Sequence[PlannedFault],
    site: Site,
    sequences: Mapping[str, FlightLogic],
    rate_hz: int,
) -> Iterator[tuple[Quantity, Check | None]]:
    """Sizes and times that a scenario gives its faults, and what checks a size."""
    for number, (table, fault) in enumerate(zip(tables, faults, strict=True)):
        head = f"faults.{fault.name}"
        for key, positive in _TIMES.items():
            if key not in table.model_fields_set or getattr(table, key) is None:
                continue
            moved = partial(_time, number, key)
            yield (
                Quantity(f"{head}.{key}", "s", getattr(table, key), 0.0, 3600.0, positive, moved),
                None,
            )
        if table.size is None:
            continue
        low, high = -np.inf, np.inf  # the check knows better
        if fault.row is None:
            symbol = COMPUTER_FAULTS[table.kind].unit or "1"
            write: Callable[[Draft, float], None] = partial(_own_size, number)
            check: Check = partial(_computer_check, table, sequences)
        else:
            symbol = FAULTS[table.kind].unit or "1"
            if symbol == "of the sensor":
                symbol = site.places.sensor_units[fault.place]
            write = partial(_row_size, fault.row, symbol)
            check = partial(_world_check, table, fault.place, site, rate_hz)
        yield Quantity(f"{head}.size", symbol, table.size, low, high, False, write), check


def _time(number: int, key: str, draft: Draft, value: float) -> None:
    fault = draft.faults[number]
    trigger = fault.trigger
    if key == "at_s":
        trigger = replace(trigger, at_s=value)
    elif key == "after_s":
        trigger = replace(trigger, after_s=value)
    else:
        trigger = replace(trigger, for_s=value)
    draft.faults[number] = replace(fault, trigger=trigger)


def _own_size(number: int, draft: Draft, value: float) -> None:
    size = round(value, _DIGITS) or value
    draft.faults[number] = replace(draft.faults[number], size=size)


def _row_size(row: int, symbol: str, draft: Draft, value: float) -> None:
    draft.params["fault_size"][row] = unit(symbol).span_to_si(value)


def _computer_check(
    table: FaultTable, sequences: Mapping[str, FlightLogic], value: float
) -> object:
    return resolve_computer_fault(table.kind, table.place, value, sequences, table.other)


def _world_check(table: FaultTable, place: str, site: Site, rate_hz: int, value: float) -> object:
    return resolve_fault(table.kind, place, value, site.reach, table.other, world_hz=rate_hz)
