"""The state diagram of a sequence as an SVG picture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from xml.sax.saxutils import escape, quoteattr

from sequencer.report.layers import Placed, Point, place
from sequencer.report.wording import lines_of, sources_of, states_of
from sequencer.sequence import Sequence

__all__ = ["svg"]

# Type sizes and the widths of a letter that text is measured with, px. Wider than most fonts
# are: a little air is better than a line that runs out of its box.
_TITLE_SIZE, _TITLE_LETTER = 14, 8.8
_TEXT_SIZE, _TEXT_LETTER = 11, 6.5
_LINE = 15.0
_MARGIN = 24.0
_HEAD = 64.0
_FOOT = 40.0
_PORT_GAP = 18.0

_STYLE = """
    text { font-family: "DejaVu Sans", Verdana, sans-serif; fill: #1c1c1c }
    .name { font-size: 14px; font-weight: bold }
    .note { font-size: 11px; fill: #4a4a4a }
    .code { font-size: 10.5px; font-family: "DejaVu Sans Mono", Menlo, monospace }
    .exit-name { font-size: 11px; font-weight: bold }
    rect { stroke-width: 1.5 }
    .ground rect { fill: #e9eff7; stroke: #54759f }
    .flight rect { fill: #fdf1dc; stroke: #b9791a }
    .after rect { fill: #e7f3e8; stroke: #4d8a57 }
    .common rect { fill: #ffffff; stroke: #8a3030; stroke-dasharray: 5 3 }
    .arrow { fill: none; stroke: #555555; stroke-width: 1.3 }
    .common-arrow { stroke: #8a3030 }
""".rstrip()


@dataclass(frozen=True, slots=True)
class _Box:
    """A state, the text of an exit, or the start mark.

    kind         "state", "exit", "common" or "start"
    titled       the first line is a name
    """

    kind: str
    name: str
    lines: tuple[str, ...]
    phase: str = ""
    titled: bool = True

    @property
    def size(self) -> tuple[float, float]:
        if self.kind == "start":
            return 12.0, 12.0
        if self.kind == "state":
            width = max(
                len(self.name) * _TITLE_LETTER, *(len(t) * _TEXT_LETTER for t in ("", *self.lines))
            )
            return max(width + 28, 90.0), 22.0 + 12.0 + _LINE * len(self.lines)
        pad = 20.0 if self.kind == "common" else 6.0
        width = max(len(text) for text in self.lines) * (_TEXT_LETTER + 0.5)
        return width + pad, _LINE * len(self.lines) + (14.0 if self.kind == "common" else 4.0)


def svg(sequence: Sequence) -> str:
    """The sequence as a stand-alone SVG picture; states are coloured by phase.

    Raises UsageError if igraph, which places the boxes, is not installed.
    """
    boxes, arrows, layers = _graph(sequence)
    placed = place([box.size for box in boxes], arrows, layers)
    title = sequence.name + (f": {sequence.about}" if sequence.about else "")
    width = max(placed.width, len(title) * _TITLE_LETTER, 420.0) + 2 * _MARGIN
    height = placed.height + _HEAD + _FOOT
    shift = (width - placed.width) / 2
    size = f'width="{width:.0f}" height="{height:.0f}"'
    box = f'viewBox="0 0 {width:.0f} {height:.0f}"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} {box} role="img">',
        f"  <title>{_safe(title)}</title>",
        f"  <style>{_STYLE}\n  </style>",
        f"  <defs>{_tip('tip', '#555555')}{_tip('common-tip', '#8a3030')}</defs>",
        f'  <rect {size} fill="#ffffff"/>',
        f'  <text class="name" x="{_MARGIN:.0f}" y="30">{_safe(title)}</text>',
        f'  <g transform="translate({shift:.1f} {_HEAD:.1f})">',
    ]
    parts += _arrows(boxes, arrows, placed)
    parts += [_drawn(box, centre) for box, centre in zip(boxes, placed.centres, strict=True)]
    parts += ["  </g>", *_legend(sequence, height - 18), "</svg>"]
    return "\n".join(parts) + "\n"


def _graph(sequence: Sequence) -> tuple[list[_Box], list[tuple[int, int]], list[int]]:
    """Boxes, arrows between them, and the layer of every box: states even, exits between."""
    depth = _depths(sequence)
    number = {name: index for index, name in enumerate(sequence.states)}
    boxes = [
        _Box("state", name, tuple(states_of(state)), state.phase)
        for name, state in sequence.states.items()
    ]
    layers = [2 * depth[name] + 1 for name in sequence.states]
    arrows = []
    for name, state in sequence.states.items():
        for way in state.exits:
            texts = tuple(lines_of(sequence, way))
            back = depth[way.to] < depth[name]
            layers.append(2 * depth[name] + (0 if back else 2))
            arrows += [(number[name], len(boxes)), (len(boxes), number[way.to])]
            boxes.append(_Box("exit", way.name, texts, titled=texts[0] == way.name))
    for way in sequence.common_exits:
        texts = (*lines_of(sequence, way), *sources_of(way))
        layers.append(2 * depth[way.to])
        arrows.append((len(boxes), number[way.to]))
        boxes.append(_Box("common", way.name, texts))
    layers.append(2 * depth[sequence.start])
    arrows.append((len(boxes), number[sequence.start]))
    boxes.append(_Box("start", "", ()))
    used = {layer: rank for rank, layer in enumerate(sorted(set(layers)))}
    return boxes, arrows, [used[layer] for layer in layers]


def _depths(sequence: Sequence) -> dict[str, int]:
    """Longest way from the start to each state, in exits, ways back left out.

    An exit leads back if a walk from the start, in the order of the file, finds its goal still
    open. States that nothing leads to stand beside the start.
    """
    order: list[str] = []
    forward: dict[str, list[str]] = {name: [] for name in sequence.states}
    done: set[str] = set()
    trail: dict[str, int] = {}  # state on the walk -> exits of it that were followed

    for root in (sequence.start, *sequence.states):
        if root in done:
            continue
        trail[root] = 0
        while trail:
            name, followed = next(reversed(trail.items()))
            exits = sequence.states[name].exits
            if followed == len(exits):
                del trail[name]
                done.add(name)
                order.append(name)
                continue
            trail[name] += 1
            goal = exits[followed].to
            if goal not in trail:
                forward[name].append(goal)
                if goal not in done:
                    trail[goal] = 0
    depth = dict.fromkeys(sequence.states, 0)
    for name in reversed(order):
        for goal in forward[name]:
            depth[goal] = max(depth[goal], depth[name] + 1)
    return depth


def _drawn(box: _Box, centre: Point) -> str:
    (x, y), (width, height) = centre, box.size
    left, top = x - width / 2, y - height / 2
    if box.kind == "start":
        return f'    <circle cx="{x:.1f}" cy="{y:.1f}" r="6" fill="#1c1c1c"/>'
    frame = f'<rect x="{left:.1f}" y="{top:.1f}" width="{width:.1f}" height="{height:.1f}" rx="7"/>'
    if box.kind == "state":
        texts = [_text("name", x, top + 22, box.name)]
        texts += [
            _text("note", left + 14, top + 40 + _LINE * index, line, anchor="start")
            for index, line in enumerate(box.lines)
        ]
        head = f'<g class="state {box.phase}" id={quoteattr(f"state-{box.name}")}>'
        return "\n      ".join([f"    {head}", frame, *texts]) + "\n    </g>"
    texts = []
    base = top + (18 if box.kind == "common" else 13)
    for index, line in enumerate(box.lines):
        style = "exit-name" if index == 0 and box.titled else "code"
        texts.append(_text(style, x, base + _LINE * index, line))
    inside = [frame, *texts] if box.kind == "common" else texts
    return "\n      ".join([f'    <g class="{box.kind}">', *inside]) + "\n    </g>"


def _tip(name: str, colour: str) -> str:
    """An arrow's head. Not every viewer lets one take the colour of its line."""
    return (
        f'<marker id="{name}" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="8" '
        'markerHeight="8" orient="auto" markerUnits="userSpaceOnUse">'
        f'<path d="M0,0.5 L8,4 L0,7.5 z" fill="{colour}"/></marker>'
    )


def _safe(text: str) -> str:
    """Text of the file for an element of XML, on one line, without what XML cannot hold."""
    plain = "".join(char if char.isprintable() else " " for char in text)
    return escape(plain)


def _text(style: str, x: float, y: float, text: str, *, anchor: str = "middle") -> str:
    return (
        f'<text class="{style}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{_safe(text)}</text>'
    )


def _arrows(boxes: list[_Box], arrows: list[tuple[int, int]], placed: Placed) -> list[str]:
    """The lines; those that lead on from an exit's text or from a common exit have a tip."""
    ports = _ports(boxes, arrows, placed)
    drawn = []
    for index, (source, _) in enumerate(arrows):
        points = [ports[index, 0], *placed.paths[index], ports[index, 1]]
        style = "arrow common-arrow" if boxes[source].kind == "common" else "arrow"
        mark = "common-tip" if boxes[source].kind == "common" else "tip"
        tip = "" if boxes[source].kind == "state" else f' marker-end="url(#{mark})"'
        drawn.append(f'    <path class="{style}" d="{_curve(points)}"{tip}/>')
    return drawn


def _ports(
    boxes: list[_Box], arrows: list[tuple[int, int]], placed: Placed
) -> Mapping[tuple[int, int], Point]:
    """Where arrows meet boxes: (arrow, 0 at its tail or 1 at its tip) -> point.

    Arrows that meet the same edge of a box are spread along it in the order of where they go.
    """
    meets: dict[tuple[int, bool], list[tuple[float, int, int]]] = {}
    for index, pair in enumerate(arrows):
        way = [placed.centres[pair[0]], *placed.paths[index], placed.centres[pair[1]]]
        for end in (0, 1):
            near, next_x = way[0 if end == 0 else -1], way[1 if end == 0 else -2]
            below = next_x[1] > near[1]
            meets.setdefault((pair[end], below), []).append((next_x[0], index, end))
    ports: dict[tuple[int, int], Point] = {}
    for (box, below), members in meets.items():
        (x, y), (width, height) = placed.centres[box], boxes[box].size
        gap = min(_PORT_GAP, (width - 16) / max(1, len(members) - 1))
        first = x - gap * (len(members) - 1) / 2
        for place_, (_, index, end) in enumerate(sorted(members)):
            ports[index, end] = first + gap * place_, y + (height / 2 if below else -height / 2)
    return ports


def _curve(points: list[Point]) -> str:
    """A smooth line that stands upright in every layer and bends between them."""
    path = f"M{points[0][0]:.1f},{points[0][1]:.1f}"
    for (x0, y0), (x1, y1) in pairwise(points):
        if abs(x0 - x1) < 0.5:
            path += f" L{x1:.1f},{y1:.1f}"
        else:
            middle = (y0 + y1) / 2
            path += f" C{x0:.1f},{middle:.1f} {x1:.1f},{middle:.1f} {x1:.1f},{y1:.1f}"
    return path


def _legend(sequence: Sequence, y: float) -> list[str]:
    """What the colours mean, for those that occur."""
    phases = {state.phase for state in sequence.states.values()}
    keys: list[str] = [phase for phase in ("ground", "flight", "after") if phase in phases]
    words = {"ground": "on the ground", "flight": "in flight", "after": "after the flight"}
    if sequence.common_exits:
        keys.append("common")
        words["common"] = "exit common to several states"
    parts, x = [], _MARGIN
    for key in keys:
        parts.append(
            f'  <g class="{key}"><rect x="{x:.0f}" y="{y - 10:.0f}" width="18" '
            f'height="12" rx="3"/>{_text("note", x + 24, y, words[key], anchor="start")}</g>'
        )
        x += 24 + len(words[key]) * _TEXT_LETTER + 22
    return parts
