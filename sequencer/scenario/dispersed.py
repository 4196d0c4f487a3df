"""One flight of many: the same scenario with the numbers that its own chance gives it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from statistics import NormalDist
from typing import Any

import numpy as np

from sequencer.errors import UsageError
from sequencer.scenario.distributions import LEAST_SHARE
from sequencer.scenario.model import Dispersions, Scenario
from sequencer.world.memory import copied

__all__ = ["dispersed", "drawn_values", "plain_shares", "plain_shares_of"]

_STANDARD = NormalDist()


def plain_shares(dispersions: Dispersions, seed: int, flight: int) -> list[float]:
    """One share of 0 to 1 (both excluded) for each dispersion, independent of all others.

    Philox of (seed, flight, name of the quantity): another dispersion beside it, or another order
    of them, changes nothing.
    """
    return plain_shares_of(dispersions, seed, [flight])[0]


def plain_shares_of(
    dispersions: Dispersions, seed: int, flights: Sequence[int]
) -> list[list[float]]:
    """`plain_shares` of several flights, all drawn at once."""
    from sequencer.world.chance import philox  # noqa: PLC0415 - loads numba

    if not dispersions.each:
        return [[] for _ in flights]
    low, high = np.uint64(0xFFFFFFFF), np.uint64(32)
    places = np.array([_place(each.name) for each in dispersions.each], dtype=np.uint64)
    number = np.array(flights, dtype=np.uint64)[:, np.newaxis]
    key = np.uint64(seed & 0xFFFFFFFFFFFFFFFF)
    # the plain function, on arrays: as `sequencer.world.chance.uniform_pair`, to the last bit
    plain: Any = getattr(philox, "py_func", philox)  # its types speak of single numbers
    a, b, *_ = plain(
        places[:, 1], places[:, 0], number & low, number >> high, key & low, key >> high
    )
    shares = (((a << high) | b) >> np.uint64(11)).astype(np.float64) * 2.0**-53
    found: list[list[float]] = np.maximum(shares, LEAST_SHARE).tolist()
    return found


@lru_cache(maxsize=1024)
def _place(name: str) -> tuple[int, int]:
    """Source and draw of a quantity."""
    digest = hashlib.sha256(name.encode()).digest()
    # the highest bit tells it from all sources that the world itself draws from
    return int.from_bytes(digest[:4], "little") | 1 << 31, int.from_bytes(digest[4:8], "little")


def drawn_values(dispersions: Dispersions, shares: Sequence[float]) -> tuple[float, ...]:
    """Value of every dispersed quantity, in its unit, that these shares stand for.

    Correlated ones go together through their normal scores (a Gaussian copula), so that every
    quantity keeps its own distribution.
    """
    if dispersions.mixing is not None:
        scores = [_STANDARD.inv_cdf(share) for share in shares]
        mixed = [_sum_of_products(row, scores) for row in dispersions.mixing.tolist()]
        most = 1.0 - 2.0 * LEAST_SHARE
        shares = [min(max(_STANDARD.cdf(score), LEAST_SHARE), most) for score in mixed]
    return tuple(
        each.of(each.distribution.quantile(share))
        for each, share in zip(dispersions.each, shares, strict=True)
    )


def _sum_of_products(row: Sequence[float], scores: Sequence[float]) -> float:
    """One after the other: a library's product may round by the number of its threads."""
    total = 0.0
    for factor, score in zip(row, scores, strict=True):
        total += factor * score
    return total


def dispersed(
    scenario: Scenario,
    flight: int,
    seed: int | None = None,
    shares: Sequence[float] | None = None,
) -> Scenario:
    """Flight number `flight` of a scenario; number 0 is the scenario as its files say it.

    seed     of all chance, also that of the world; default: that of the scenario
    shares   one for each dispersion; default: `plain_shares`

    Raises UsageError where there are more or fewer shares than dispersions.
    """
    chosen = int(scenario.params["seed"]) if seed is None else seed
    dispersions = scenario.dispersions
    if shares is not None and len(shares) != len(dispersions.each):
        raise UsageError(
            f"{scenario.path}: disperses {len(dispersions.each)} quantities, not {len(shares)}"
        )
    if dispersions.start is None or flight == 0:
        params = copied(scenario.params)[0]
        params["seed"], params["flight"] = chosen, flight
        return replace(scenario, params=params)
    draft = dispersions.start()
    draft.params["seed"], draft.params["flight"] = chosen, flight
    if shares is None:
        shares = plain_shares(dispersions, chosen, flight)
    for each, value in zip(dispersions.each, drawn_values(dispersions, shares), strict=True):
        each.quantity.write(draft, value)
    return replace(scenario, params=draft.params, faults=tuple(draft.faults), link=draft.link)
