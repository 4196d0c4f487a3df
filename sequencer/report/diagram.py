"""The state diagram of a sequence as text: Mermaid, Graphviz DOT, SVG.

Every state is drawn once, every exit is one arrow. A common exit is drawn once too: a dashed box
that names the states it holds in, with one arrow to where it leads.
"""

from __future__ import annotations

from collections.abc import Mapping

from sequencer.report.svg import svg
from sequencer.report.wording import (
    commands,
    condition,
    has_own_name,
    hold,
    lines_of,
    sources_of,
    states_of,
)
from sequencer.sequence import Exit, Sequence

__all__ = ["dot", "mermaid", "svg"]

#: Fill and border of a state by phase; the same in all three forms.
_COLOURS: Mapping[str, tuple[str, str]] = {
    "ground": ("#e9eff7", "#54759f"),
    "flight": ("#fdf1dc", "#b9791a"),
    "after": ("#e7f3e8", "#4d8a57"),
}


def mermaid(sequence: Sequence) -> str:
    """The sequence as a Mermaid state diagram.

    An arrow carries the exit's name, or its condition where it has no name of its own; the
    boxes of common exits carry both.
    """
    lines = ["stateDiagram-v2", "    direction TB"]
    # ids have a prefix: a state may be called "end" or "note", which are words of Mermaid
    lines += [f'    state "{_mermaid(name)}" as s_{name}' for name in sequence.states]
    lines.append(f"    [*] --> s_{sequence.start}")
    for state in sequence.states.values():
        for way in state.exits:
            text = _mermaid(_short_label(sequence, way))
            lines.append(f"    s_{state.name} --> s_{way.to} : {text}")
    for number, way in enumerate(sequence.common_exits, start=1):
        text = _mermaid(f"{way.name} (in {', '.join(way.sources)})")
        lines.append(f'    state "{text}" as c_{number}')
        label = _mermaid(_with_actions(condition(sequence, way), way))
        lines.append(f"    c_{number} --> s_{way.to} : {label}")
    for phase, (fill, border) in _COLOURS.items():
        members = [f"s_{state.name}" for state in sequence.states.values() if state.phase == phase]
        if members:
            lines.append(f"    classDef {phase} fill:{fill},stroke:{border},color:#1c1c1c")
            lines.append(f"    class {','.join(members)} {phase}")
    if sequence.common_exits:
        members = [f"c_{number}" for number in range(1, len(sequence.common_exits) + 1)]
        lines.append(
            "    classDef common fill:#ffffff,stroke:#8a3030,color:#1c1c1c,stroke-dasharray:5 3"
        )
        lines.append(f"    class {','.join(members)} common")
    return "\n".join(lines) + "\n"


def dot(sequence: Sequence) -> str:
    """The sequence as a directed graph in Graphviz's language."""
    lines = [
        f"digraph {_quoted(sequence.name)} {{",
        "    rankdir=TB;",
        '    node [shape=box, style="rounded,filled", fontname="Helvetica", fontsize=12];',
        '    edge [fontname="Helvetica", fontsize=10, color="#444444"];',
        '    start [shape=circle, label="", width=0.15, fillcolor="#1c1c1c"];',
    ]
    for state in sequence.states.values():
        fill, border = _COLOURS[state.phase]
        label = _quoted(state.name, *states_of(state))
        lines.append(f'    s_{state.name} [label={label}, fillcolor="{fill}", color="{border}"];')
    lines.append(f"    start -> s_{sequence.start};")
    for state in sequence.states.values():
        for way in state.exits:
            label = _quoted(*lines_of(sequence, way))
            lines.append(f"    s_{state.name} -> s_{way.to} [label={label}];")
    for number, way in enumerate(sequence.common_exits, start=1):
        label = _quoted(*lines_of(sequence, way), *sources_of(way))
        lines.append(
            f'    c_{number} [label={label}, style="dashed", color="#8a3030", fontsize=10];'
        )
        lines.append(f'    c_{number} -> s_{way.to} [color="#8a3030"];')
    return "\n".join([*lines, "}"]) + "\n"


def _short_label(sequence: Sequence, way: Exit) -> str:
    if not has_own_name(way):
        return _with_actions(condition(sequence, way), way)
    held = hold(sequence, way)
    return _with_actions(f"{way.name} [{held}]" if held else way.name, way)


def _with_actions(text: str, way: Exit) -> str:
    return f"{text} [{commands(way.actions)}]" if way.actions else text


#: What has a meaning of its own in Mermaid's text, as its entities.
_ENTITIES: Mapping[str, str] = {
    "#": "#num;",
    ";": "#semi;",
    ":": "#colon;",
    "<": "#lt;",
    ">": "#gt;",
    '"': "#quot;",
    "&": "#amp;",
    "%": "#percnt;",
    "`": "#grave;",
    "*": "#ast;",
    "\\": "#bsol;",
}


def _mermaid(text: str) -> str:
    return "".join(_ENTITIES.get(char, char) for char in text)


def _quoted(*lines: str) -> str:
    """A DOT string of these lines."""
    escaped = (line.replace("\\", "\\\\").replace('"', '\\"') for line in lines)
    return '"' + "\\n".join(escaped) + '"'
