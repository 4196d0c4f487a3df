"""The layout of a sequence's tables as a header of the C kit: hil/kit/dc_layout.h.

    python -m hil.layout_header

writes it anew from `sequencer.execute.layout`, which is the only place where it is declared.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping
from enum import IntEnum
from pathlib import Path

from sequencer.execute import layout

__all__ = ["KIT", "LAYOUT", "layout_header"]

#: folder of the kit's C sources
KIT = Path(__file__).parent / "kit"

_ENUMS: Mapping[str, type[IntEnum]] = {
    "HEAD": layout.Head,
    "OP": layout.Op,
    "BLOCK": layout.BlockKind,
    "ESTIMATE": layout.EstimateRow,
    "EXIT": layout.ExitRow,
    "STATE": layout.StateRow,
    "PULSE": layout.PulseRow,
    "LOOP": layout.LoopRow,
    "COMMAND": layout.CommandKind,
    "EVENT": layout.EventKind,
}
_NUMBERS: Mapping[str, int] = {
    "NONE": layout.NONE,
    "FIRST_GROUP": layout.FIRST_GROUP,
    "CELL_WIDTH": layout.CELL_WIDTH,
    "INPUT_WIDTH": layout.INPUT_WIDTH,
    "ESTIMATE_WIDTH": layout.ESTIMATE_WIDTH,
    "EXIT_WIDTH": layout.EXIT_WIDTH,
    "STATE_WIDTH": layout.STATE_WIDTH,
    "PULSE_WIDTH": layout.PULSE_WIDTH,
    "SERVO_WIDTH": layout.SERVO_WIDTH,
    "LOOP_WIDTH": layout.LOOP_WIDTH,
    "COMMAND_WIDTH": layout.COMMAND_WIDTH,
}


def _declarations() -> Iterator[str]:
    for name, number in _NUMBERS.items():
        yield f"#define DC_{name} {f'({number})' if number < 0 else number}"
    for prefix, kinds in _ENUMS.items():
        yield ""
        yield "enum {"
        yield ",\n".join(f"    DC_{prefix}_{kind.name} = {kind.value}" for kind in kinds)
        yield "};"


#: number of the layout; tables of another one do not compile with this kit
LAYOUT = zlib.crc32("\n".join(_declarations()).encode())


def layout_header() -> str:
    """The text of dc_layout.h."""
    return "\n".join(
        [
            "/* How a sequence lies in its tables. Written by hil/layout_header.py from",
            "   sequencer/execute/layout.py, which says what the entries mean; do not edit. */",
            "",
            "#ifndef DC_LAYOUT_H",
            "#define DC_LAYOUT_H",
            "",
            "/* exported tables ask for it */",
            f"#define DC_LAYOUT 0x{LAYOUT:08x}",
            "",
            *_declarations(),
            "",
            "#endif",
            "",
        ]
    )


if __name__ == "__main__":
    (KIT / "dc_layout.h").write_text(layout_header(), encoding="utf-8", newline="\n")
