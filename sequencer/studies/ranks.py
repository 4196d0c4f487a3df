"""Ranks of a number among some of the flights of a campaign."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["Ranked"]


class Ranked:
    """A number of every flight, sorted once for all the ranks that are asked for."""

    def __init__(self, values: NDArray[np.float64]) -> None:
        order = np.argsort(values, kind="stable")
        found = values[order]
        new = np.ones(len(found), dtype=np.bool_)
        new[1:] = found[1:] != found[:-1]
        self._order = order.astype(np.int32)
        #: which of all different values each one is, in order
        self._different = np.cumsum(new, dtype=np.int32)

    def among(self, some: NDArray[np.bool_]) -> NDArray[np.float64] | None:
        """Ranks among some flights, equal ones sharing theirs, less their mean, of length 1.

        The result has a 0 for every other flight. None where all are equal.
        """
        chosen = some[self._order]
        which = self._order[chosen]
        different = self._different[chosen]
        starts = np.flatnonzero(np.diff(different, prepend=-1))
        ends = np.append(starts[1:], len(different))
        ranks = np.zeros(len(some))
        ranks[which] = np.repeat(0.5 * (starts + ends), ends - starts) - 0.5 * len(which)
        length = math.sqrt(float((ranks * ranks).sum()))
        return ranks / length if length > 0.0 else None
