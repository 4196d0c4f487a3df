"""Places boxes and arrows in layers, from the top down.

igraph orders the boxes of every layer and adds a passing point wherever an arrow crosses a layer
(layered drawing after Sugiyama, Tagawa and Toda, IEEE Trans. SMC 11(2):109-125, 1981). It takes
all boxes for equally wide, so the distances are worked out here from their real sizes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from sequencer.errors import UsageError

__all__ = ["Placed", "place"]

_GAP_X = 28.0
_GAP_Y = 26.0
_POINT_WIDTH = 8.0
_SWEEPS = 100

# Arrows that pass a layer are kept straight; those that end in a box may bend.
_STRAIGHT = 60.0
_BENT = 1.0

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Placed:
    """Where everything is, in pixels, y downwards.

    centres   of the boxes
    paths     per arrow, the points of its middle line through the layers between its two boxes:
              (x, top of the layer), (x, bottom of the layer) for each layer that it crosses, in
              the order of the arrow
    layers    (top, bottom) of every layer
    """

    centres: tuple[Point, ...]
    paths: tuple[tuple[Point, ...], ...]
    layers: tuple[tuple[float, float], ...]
    width: float
    height: float


@dataclass(slots=True)
class _Spot:
    """A box, or a point where an arrow passes a layer."""

    layer: int
    width: float
    order: float
    x: float = 0.0
    place: int = 0  # in its layer, from the left
    pulls: list[tuple[int, float]] = field(default_factory=list)  # (other spot, strength)


def place(
    sizes: Sequence[tuple[float, float]],
    arrows: Sequence[tuple[int, int]],
    layer_of: Sequence[int],
) -> Placed:
    """Places boxes of the given (width, height); `arrows` are pairs of indices of boxes.

    `layer_of` gives each box its layer, from 0 at the top, none left empty; an arrow joins boxes
    of different layers.

    Raises UsageError if igraph is not installed.
    """
    try:
        import igraph  # noqa: PLC0415 - an extra: only this drawing needs it
    except ImportError:
        raise UsageError("svg needs igraph: pip install 'drycount[draw]'") from None

    graph = igraph.Graph(n=len(sizes), edges=list(arrows), directed=True)
    layout = graph.layout_sugiyama(layers=list(layer_of))
    spots = [
        _Spot(layer, width, order)
        for (width, _), layer, (order, _) in zip(sizes, layer_of, layout.coords, strict=True)
    ]
    chains = []
    for (source, target), points in zip(arrows, layout.edge_routing, strict=True):
        chain = [source]
        for order, layer in points:
            chain.append(len(spots))
            spots.append(_Spot(round(layer), _POINT_WIDTH, order))
        chain.append(target)
        for one, other in pairwise(chain):
            passing = one >= len(sizes) and other >= len(sizes)
            strength = _STRAIGHT if passing else _BENT
            spots[one].pulls.append((other, strength))
            spots[other].pulls.append((one, strength))
        chains.append(chain[1:-1])
    rows = _rows(spots)
    _spread(spots, rows)
    _straighten([[spots[number] for number in chain] for chain in chains], rows)
    left = min(spot.x - spot.width / 2 for spot in spots)
    for spot in spots:
        spot.x -= left
    bounds = _bounds(sizes, layer_of)
    centres = tuple((spots[i].x, sum(bounds[layer_of[i]]) / 2) for i in range(len(sizes)))
    paths = tuple(
        _path([spots[i] for i in chain], spots[source], bounds)
        for chain, (source, _) in zip(chains, arrows, strict=True)
    )
    width = max(spot.x + spot.width / 2 for spot in spots)
    return Placed(centres, paths, tuple(bounds), width, bounds[-1][1])


def _bounds(
    sizes: Sequence[tuple[float, float]], layer_of: Sequence[int]
) -> list[tuple[float, float]]:
    bounds, top = [], 0.0
    for layer in range(max(layer_of) + 1):
        heights = [size[1] for size, own in zip(sizes, layer_of, strict=True) if own == layer]
        bottom = top + max(heights, default=0.0)
        bounds.append((top, bottom))
        top = bottom + _GAP_Y
    return bounds


def _path(
    chain: Sequence[_Spot], source: _Spot, bounds: Sequence[tuple[float, float]]
) -> tuple[Point, ...]:
    points: list[Point] = []
    previous = source.layer
    for spot in chain:
        top, bottom = bounds[spot.layer]
        ends = (top, bottom) if spot.layer > previous else (bottom, top)
        points += [(spot.x, ends[0]), (spot.x, ends[1])]
        previous = spot.layer
    return tuple(points)


def _rows(spots: Sequence[_Spot]) -> list[list[_Spot]]:
    """The spots of every layer, in igraph's order."""
    rows: list[list[_Spot]] = [[] for _ in range(max(spot.layer for spot in spots) + 1)]
    for spot in spots:
        rows[spot.layer].append(spot)
    for row in rows:
        row.sort(key=lambda spot: spot.order)
        for place_, spot in enumerate(row):
            spot.place = place_
    return rows


def _spread(spots: Sequence[_Spot], rows: Sequence[list[_Spot]]) -> None:
    """Sets every x: near what a spot is joined to, without overlaps."""
    for row in rows:
        _settle(row, [spot.order * 120.0 for spot in row], [1.0] * len(row))
    for sweep in range(_SWEEPS):
        for row in reversed(rows) if sweep % 2 else rows:
            wishes, strengths = [], []
            for spot in row:
                total = sum(strength for _, strength in spot.pulls)
                pull = sum(spots[other].x * strength for other, strength in spot.pulls)
                wishes.append(pull / total if total else spot.x)
                strengths.append(total or 0.1)
            _settle(row, wishes, strengths)


def _straighten(chains: Iterable[Sequence[_Spot]], rows: Sequence[list[_Spot]]) -> None:
    """Takes the small bends out of long arrows: runs of points with room for one x get it."""
    for chain in chains:
        run: list[_Spot] = []
        low, high = -math.inf, math.inf
        for spot in chain:
            left, right = _room(spot, rows[spot.layer])
            if max(low, left) > min(high, right):
                _align(run, low, high)
                run, low, high = [], -math.inf, math.inf
            run.append(spot)
            low, high = max(low, left), min(high, right)
        _align(run, low, high)


def _room(spot: _Spot, row: Sequence[_Spot]) -> tuple[float, float]:
    """Between which x a spot may stand while its neighbours stay where they are."""
    low, high = -math.inf, math.inf
    if spot.place > 0:
        other = row[spot.place - 1]
        low = other.x + _distance(other, spot)
    if spot.place + 1 < len(row):
        other = row[spot.place + 1]
        high = other.x - _distance(spot, other)
    # rounding must not close a gap that is just wide enough
    return min(low, spot.x), max(high, spot.x)


def _align(run: Sequence[_Spot], low: float, high: float) -> None:
    if run:
        mean = sum(spot.x for spot in run) / len(run)
        for spot in run:
            spot.x = min(max(mean, low), high)


def _distance(one: _Spot, other: _Spot) -> float:
    return (one.width + other.width) / 2 + _GAP_X


def _settle(row: list[_Spot], wishes: list[float], strengths: list[float]) -> None:
    """Moves a row as near to its wishes as the widths allow (least squares, order kept).

    Pool adjacent violators: with the widths taken off, the positions must not decrease.
    """
    offsets = [0.0]
    for one, other in pairwise(row):
        offsets.append(offsets[-1] + _distance(one, other))
    blocks: list[tuple[float, float, int]] = []  # mean, weight, members
    for wish, strength, offset in zip(wishes, strengths, offsets, strict=True):
        mean, weight, members = wish - offset, strength, 1
        while blocks and blocks[-1][0] >= mean:
            other_mean, other_weight, other_members = blocks.pop()
            mean = (mean * weight + other_mean * other_weight) / (weight + other_weight)
            weight += other_weight
            members += other_members
        blocks.append((mean, weight, members))
    means = [mean for mean, _, members in blocks for _ in range(members)]
    for spot, mean, offset in zip(row, means, offsets, strict=True):
        spot.x = mean + offset
