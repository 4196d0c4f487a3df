"""Looks up what [[dispersions]] and [[correlations]] name, once, when a scenario is read."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from fnmatch import fnmatchcase

import numpy as np
from numpy.typing import NDArray

from sequencer.documents import Document
from sequencer.errors import InputError, nearest
from sequencer.scenario.air_quantities import link_quantities, weather_quantities
from sequencer.scenario.dispersion_tables import CorrelationTable, DispersionTable
from sequencer.scenario.distributions import Normal
from sequencer.scenario.fault_quantities import Check, fault_quantities
from sequencer.scenario.model import (
    Dispersion,
    Dispersions,
    Draft,
    Link,
    PlannedFault,
    Quantity,
)
from sequencer.scenario.quantities import vehicle_quantities
from sequencer.scenario.schema import ScenarioFile
from sequencer.scenario.site import Site
from sequencer.vehicle import Vehicle
from sequencer.world.memory import copied

__all__ = ["resolve_dispersions"]

#: so many quantities may be dispersed in one scenario
MOST = 200

#: a pivot that is smaller is nought: what it belongs to follows from those before it
_NOUGHT = 1e-12


def resolve_dispersions(
    document: Document,
    tables: ScenarioFile,
    site: Site,
    params: np.void,
    faults: Sequence[PlannedFault],
    link: Link,
    rate_hz: int,
) -> Dispersions:
    """The dispersions of a scenario; without tables none, at no cost.

    Raises InputError for a name that is none, a quantity dispersed twice, a distribution that
    reaches values that make no sense, and correlations that cannot all be.
    """
    if not tables.dispersions:
        if tables.correlations:
            raise document.error(("correlations", 0), "there are no [[dispersions]] to go together")
        return Dispersions()
    source = site.source
    if not isinstance(source, Vehicle):
        what = "nothing can be dispersed: the inputs come from a log"
        raise document.error(("dispersions", 0), what)
    known: dict[str, tuple[Quantity, Check | None]] = {}
    for quantity in (
        *vehicle_quantities(source, site.places, params),
        *weather_quantities(tables.weather, params),
        *link_quantities(tables.link.delay_s, tables.link.loses, tables.link.repeats),
    ):
        known[quantity.name] = (quantity, None)
    planned = fault_quantities(tables.faults, faults, site, site.sequences, rate_hz)
    known.update({quantity.name: (quantity, check) for quantity, check in planned})

    found: dict[str, Dispersion] = {}
    for number, table in enumerate(tables.dispersions):
        for dispersion in _expanded(document, number, table, known, tables):
            if dispersion.name in found:
                place = ("dispersions", number, "quantity")
                raise document.error(place, f"'{dispersion.name}' is dispersed already")
            found[dispersion.name] = dispersion
    if len(found) > MOST:
        what = f"{len(found)} quantities are dispersed; there may be at most {MOST}"
        raise document.error(("dispersions",), what)

    wind, gusts = tables.weather.wind, tables.weather.gusts

    def start() -> Draft:
        return Draft(copied(params)[0], list(faults), link, wind, list(gusts))

    mixing = _mixing(document, tables.correlations, list(found))
    return Dispersions(tuple(found.values()), mixing, start)


def _expanded(
    document: Document,
    number: int,
    table: DispersionTable,
    known: Mapping[str, tuple[Quantity, Check | None]],
    tables: ScenarioFile,
) -> list[Dispersion]:
    """One dispersion for each quantity that a table names."""
    place = ("dispersions", number, "quantity")
    # a name counts as itself even where it holds signs of a pattern: those of faults are free text
    if table.quantity in known:
        names = [table.quantity]
    else:
        names = [name for name in known if fnmatchcase(name, table.quantity)]
    if not names:
        what, near = _unknown(table.quantity, known, tables)
        raise document.error(place, what, nearest=near)
    distribution = table.made()
    found = []
    for name in names:
        quantity, check = known[name]
        dispersion = Dispersion(quantity, distribution, table.taken_as)
        if table.taken_as == "factor" and quantity.nominal == 0.0:
            raise document.error(
                ("dispersions", number, "as"), f"'{name}' is 0 here: a factor changes nothing"
            )
        for end in distribution.ends:
            _check_end(document, number, dispersion, check, dispersion.of(end))
        found.append(dispersion)
    return found


def _unknown(
    name: str, known: Mapping[str, object], tables: ScenarioFile
) -> tuple[str, str | None]:
    """What is wrong with a name that no quantity has."""
    wind = tables.weather.wind
    if name.startswith("weather.wind.") and wind.speed_m_s is None and not wind.levels:
        why = "[weather.wind] gives no speed_m_s and from_deg to be dispersed"
        return f"'{name}': {why}", None
    return f"nothing that can be dispersed is named '{name}'", nearest(name, known)


def _check_end(
    document: Document,
    number: int,
    dispersion: Dispersion,
    check: Check | None,
    end: float,
) -> None:
    """Raises InputError where an end of a distribution is a value that makes no sense."""
    quantity = dispersion.quantity
    why = ""
    if not quantity.holds(end):
        bound = quantity.low if end <= quantity.low else quantity.high
        side = "above" if end <= quantity.low else "at most"
        if side == "above" and not quantity.above_low:
            side = "at least"
        symbol = "" if quantity.symbol == "1" else f" {quantity.symbol}"
        why = f"it has to be {side} {bound:g}{symbol}"
    elif check is not None:
        try:
            check(end)
        except InputError as error:
            why = error.what
    if why:
        what = f"'{dispersion.name}' can become {end:.4g}: {why}"
        if isinstance(dispersion.distribution, Normal):
            what += "; a truncated_normal has limits"
        raise document.error(("dispersions", number, "distribution"), what)


def _mixing(
    document: Document, tables: Sequence[CorrelationTable], names: Sequence[str]
) -> NDArray[np.float64] | None:
    """What makes correlated scores of independent ones: the lower Cholesky triangle."""
    if not tables:
        return None
    wanted = np.eye(len(names))
    given: set[tuple[int, int]] = set()
    for number, table in enumerate(tables):
        members: dict[int, None] = {}
        for entry, pattern in enumerate(table.between):
            some = [i for i, n in enumerate(names) if n == pattern or fnmatchcase(n, pattern)]
            if not some:
                near = nearest(pattern, names)
                what = f"'{pattern}' is not dispersed here"
                raise document.error(("correlations", number, "between", entry), what, nearest=near)
            members.update(dict.fromkeys(some))
        if len(members) < 2:
            place = ("correlations", number, "between")
            raise document.error(place, "a correlation is between two dispersions at least")
        pairs = {(a, b) for a in members for b in members if a > b}
        again = sorted(pairs & given)
        if again:
            a, b = again[0]
            what = f"'{names[b]}' and '{names[a]}' have a correlation already"
            raise document.error(("correlations", number, "between"), what)
        given |= pairs
        for a, b in pairs:
            wanted[a, b] = wanted[b, a] = table.coefficient
    lower = _triangle(wanted)
    if lower is None:
        what = "these correlations cannot all be at once (no positive semidefinite matrix)"
        raise document.error(("correlations", len(tables) - 1, "coefficient"), what)
    return lower


def _triangle(matrix: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Cholesky triangle of a correlation matrix that may be singular; None if it is none."""
    size = len(matrix)
    lower = np.zeros((size, size))
    for column in range(size):
        rest = matrix[column:, column] - lower[column:, :column] @ lower[column, :column]
        if rest[0] < -_NOUGHT:
            return None
        if rest[0] <= _NOUGHT:
            if np.any(np.abs(rest[1:]) > math.sqrt(_NOUGHT)):
                return None
            continue
        lower[column:, column] = rest / math.sqrt(rest[0])
    return lower
