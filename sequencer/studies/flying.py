"""Flies ranges of flights of one scenario and makes rows of a table out of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from sequencer.errors import UsageError
from sequencer.flight.batch import fly_flights
from sequencer.record import FlightRecord
from sequencer.scenario import Scenario, compare, dispersed
from sequencer.scenario.dispersed import drawn_values, plain_shares_of
from sequencer.studies.columns import FACTS, columns_of, input_of, margin_of, status_of

__all__ = ["fly_range"]


def fly_range(
    scenario: Scenario,
    flights: range,
    seed: int,
    shares: Sequence[Sequence[float]] | None = None,
) -> dict[str, list[Any]]:
    """Fly a range of flights.

    flights   their numbers, from 1
    shares    of every flight, for its dispersions; None: each draws its own

    Returns the columns of `sequencer.studies.columns.columns_of`, each with one entry per flight.
    What comes out for a flight does not depend on which others are flown with it.
    """
    if shares is not None and len(shares) != len(flights):
        raise UsageError(f"{len(shares)} shares for {len(flights)} flights")
    if shares is None:
        shares = plain_shares_of(scenario.dispersions, seed, flights)
    drawn = zip(flights, shares, strict=True)
    drawn_flights = (dispersed(scenario, number, seed, own) for number, own in drawn)
    records = fly_flights(drawn_flights, whole=False)
    found: dict[str, list[Any]] = {name: [] for name in columns_of(scenario)}
    for number, own, record in zip(flights, shares, records, strict=True):
        row = _row(scenario, number, record)
        values = drawn_values(scenario.dispersions, own)
        for dispersion, value in zip(scenario.dispersions.each, values, strict=True):
            row[input_of(dispersion.name)] = value
        for name, column in found.items():
            column.append(row[name])
    return found


def _row(scenario: Scenario, number: int, record: FlightRecord) -> dict[str, Any]:
    row: dict[str, Any] = {
        "flight": number,
        "outcome": record.outcome,
        "as_expected": not compare(scenario.expect, record),
    }
    row |= {fact: record.facts.get(fact, math.nan) for fact in FACTS}
    for verdict in record.verdicts:
        row[status_of(verdict.requirement)] = verdict.status
        row[margin_of(verdict.requirement)] = (
            math.nan if verdict.margin is None else float(verdict.margin)
        )
    return row
