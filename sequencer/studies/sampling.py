"""Which shares of 0 to 1 the flights of a campaign get: at random, or spread more evenly.

Flights are numbered from 1. A design that is spread evenly consists of replicates that are
independent of each other, since only those tell how far an estimate can be off; flight k belongs to
replicate (k - 1) mod R, so that a campaign that is not over yet has some of each.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import UsageError
from sequencer.scenario.distributions import LEAST_SHARE

__all__ = ["REPLICATES", "SAMPLINGS", "Design", "Sampling"]

Sampling = Literal["plain", "latin", "sobol"]
SAMPLINGS: tuple[str, ...] = get_args(Sampling)

#: by default: enough for Student's t to come near the normal distribution
REPLICATES = 16


@dataclass(frozen=True, slots=True)
class Design:
    """How the flights of a campaign are drawn.

    flights      how many there are
    dimensions   number of dispersed quantities
    replicates   1 for plain sampling, whose every flight is independent of all others

    Raises UsageError for numbers that do not fit each other.
    """

    flights: int
    seed: int
    dimensions: int
    sampling: Sampling = "plain"
    replicates: int = 1

    def __post_init__(self) -> None:
        if self.sampling == "plain":
            if self.replicates != 1:
                raise UsageError("plain sampling has no replicates: every flight is one")
            return
        if self.replicates < 2:
            raise UsageError(
                f"{self.sampling} sampling needs at least 2 replicates: only their spread tells "
                "how far off the result can be"
            )
        size, rest = divmod(self.flights, self.replicates)
        if rest or not size:
            near = max(1, round(self.flights / self.replicates)) * self.replicates
            raise UsageError(
                f"{self.flights} flights are no multiple of {self.replicates} replicates; "
                f"the nearest are {near}"
            )
        if self.sampling == "sobol" and size & (size - 1):
            powers = (1 << size.bit_length() - 1, 1 << size.bit_length())
            near = min(powers, key=lambda power: abs(power - size)) * self.replicates
            raise UsageError(
                "a Sobol sequence is even only over a power of two: flights = replicates * 2^n; "
                f"the nearest are {near}"
            )

    @property
    def size(self) -> int:
        """Flights of one replicate."""
        return self.flights // self.replicates

    def replicate(self, flight: int) -> int:
        """Number (from 0) of the replicate that a flight belongs to."""
        return (flight - 1) % self.replicates

    def shares(self, flight: int) -> list[float] | None:
        """Shares of a flight, one for each dimension; None where it draws its own (plain).

        Raises UsageError for a flight that the design does not have.
        """
        if not 1 <= flight <= self.flights:
            raise UsageError(f"there is no flight {flight} among {self.flights}")
        if self.sampling == "plain":
            return None
        points = _points(
            self.sampling, self.seed, self.replicate(flight), self.size, self.dimensions
        )
        shares: list[float] = points[(flight - 1) // self.replicates].tolist()
        return shares


@lru_cache(maxsize=256)
def _points(
    sampling: str, seed: int, replicate: int, size: int, dimensions: int
) -> NDArray[np.float64]:
    """One replicate, shape (size, dimensions), by SciPy, from a generator of its own.

    Latin hypercube: M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21 (1979) 239-245.
    Sobol: I. M. Sobol, USSR Comput. Math. 7 (1967) 86-112, scrambled after J. Matousek,
    J. Complexity 14 (1998) 527-556.
    """
    from scipy.stats import qmc  # noqa: PLC0415 - an extra, and slow to load

    rng = np.random.Generator(np.random.Philox(np.random.SeedSequence((seed, replicate))))
    if sampling == "latin":
        points = qmc.LatinHypercube(dimensions, rng=rng).random(size)
    else:
        points = qmc.Sobol(dimensions, scramble=True, rng=rng).random(size)
    kept: NDArray[np.float64] = np.clip(points, LEAST_SHARE, 1.0 - 2.0 * LEAST_SHARE)
    return kept
