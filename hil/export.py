"""A sequence as C: constant tables for the kit in hil/kit, and the names that go with them.

The same sequence gives the same bytes. Numbers are hexadecimal, so that a compiler has nothing to
round; coefficients were worked out when the sequence was loaded.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from hil.kit_tables import KitTables, kit_tables
from hil.layout_header import KIT, LAYOUT
from hil.wiring import Wiring
from sequencer.errors import UsageError
from sequencer.sequence.model import Input, Sequence
from sequencer.units import unit

__all__ = ["BENCH_FILES", "KIT_FILES", "export_c", "tables_header", "tables_source"]

#: the kit's own sources, without which the tables are of no use
KIT_FILES = tuple(sorted(path.name for path in KIT.glob("*.[ch]")))
#: the link to a host and the emulated board, which have no place in a flight image
BENCH_FILES = tuple(
    path.relative_to(KIT).as_posix()
    for path in sorted((KIT / "bench").rglob("*"))
    if path.suffix in {".c", ".h", ".ld"}
)

_WIDTH = 100
_DIGEST_BYTES = 32

#: member of the instance's memory -> type and how many there are (key of KitTables.sizes)
_MEMORY: Mapping[str, tuple[str, str]] = {
    "values": ("dc_real", "cells"),
    "bad": ("uint8_t", "cells"),
    "heard": ("uint32_t", "inputs"),
    "registers": ("dc_register", "registers"),
    "holds": ("dc_count", "exits"),
    "loops": ("dc_loop", "loops"),
    "until": ("uint32_t", "pulses"),
    "commanded": ("uint8_t", "pulses"),
    "demands": ("dc_real", "servos"),
    "saved": ("dc_cell", "saved"),
    "queue": ("size_t", "commands"),
}


def export_c(
    sequence: Sequence,
    folder: Path,
    *,
    kit: bool = False,
    bench: bool = False,
    wiring: Wiring | None = None,
) -> list[Path]:
    """Write NAME_tables.h and NAME_tables.c into a folder, which is made if need be.

    kit     copy the kit's sources there too
    bench   and those of the link, into a folder of their own
    wiring  that the firmware is built for; without it a board cannot tell

    Returns the files. Raises UsageError where they cannot be written, or where the name of the
    sequence is one that the kit uses itself.
    """
    if sequence.name == "dc":
        raise UsageError(
            f"{sequence.path}: names with 'dc_' are the kit's own; rename the sequence"
        )
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder}: is a file, not a folder")
    texts = {
        f"{sequence.name}_tables.h": tables_header(sequence, wiring),
        f"{sequence.name}_tables.c": tables_source(sequence, wiring),
    }
    copied = (*(KIT_FILES if kit else ()), *(BENCH_FILES if bench else ()))
    texts.update({name: (KIT / name).read_text(encoding="utf-8") for name in copied})
    try:
        folder.mkdir(exist_ok=True)
        if bench:
            (folder / "bench" / "lm3s").mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise UsageError(f"{folder}: cannot be written: {why}") from error
    return [folder / name for name in texts]


def tables_header(sequence: Sequence, wiring: Wiring | None = None) -> str:
    """The text of NAME_tables.h."""
    return _text(_header(sequence, kit_tables(sequence), wiring))


def tables_source(sequence: Sequence, wiring: Wiring | None = None) -> str:
    """The text of NAME_tables.c."""
    return _text(_source(sequence, kit_tables(sequence), wiring))


def _text(lines: Iterable[str]) -> str:
    return "\n".join(lines) + "\n"


def _about(sequence: Sequence) -> Iterator[str]:
    yield f'/* The flight logic "{sequence.name}" as tables for the kit, written by'
    yield "   `drycount export`; do not edit."
    yield f"   Sequence {sequence.digest} */"
    yield ""


def _names(sequence: Sequence, kit: KitTables, wiring: Wiring | None) -> dict[str, tuple[str, ...]]:
    """Everything that is told by its index, in the order of the indices."""
    functions = sequence.functions.values()
    publication = sequence.publication
    return {
        "input": tuple(sequence.inputs),
        "state": tuple(sequence.states),
        "exit": kit.tables.exits,
        "flag": tuple(sequence.flags),
        "inhibit": tuple(sequence.inhibits),
        "function": tuple(sequence.functions),
        "pulse": tuple(each.name for each in functions if each.kind != "servo"),
        "servo": tuple(each.name for each in functions if each.kind == "servo"),
        "field": publication.fields if publication is not None else (),
        "channel": wiring.channels if wiring is not None else (),
    }


def _header(sequence: Sequence, kit: KitTables, wiring: Wiring | None) -> Iterator[str]:
    name, upper = sequence.name, sequence.name.upper()
    names = _names(sequence, kit, wiring)
    yield from _about(sequence)
    yield f"#ifndef {upper}_TABLES_H"
    yield f"#define {upper}_TABLES_H"
    yield ""
    yield '#include "dc_sequence.h"'
    yield ""
    yield f"#if DC_LAYOUT != 0x{LAYOUT:08x}"
    yield '#error "these tables are for another version of the kit: export them again"'
    yield "#endif"
    yield f"#if DC_CODE_BITS != {kit.bits}"
    yield f'#error "build these tables and the kit with -DDC_CODE_BITS={kit.bits}"'
    yield "#endif"
    yield ""
    yield f"#define {upper}_RATE_HZ {sequence.rate_hz}"
    for group, members in names.items():
        yield f"#define {upper}_{group.upper()}S {len(members)}"
    yield ""
    yield "/* room for events; one tick comes to no more than this */"
    yield f"#ifndef {upper}_EVENT_ROOM"
    yield f"#define {upper}_EVENT_ROOM {kit.sizes['events']}"
    yield "#endif"
    yield from _enumerators(sequence, names)
    yield ""
    yield "/* all that it takes; static memory of the board's code */"
    yield "typedef struct {"
    yield "    dc_sequence logic;"
    for member, (kind, size) in _MEMORY.items():
        yield f"    {kind} {member}[{max(1, kit.sizes[size])}];"
    yield f"    dc_event events[{upper}_EVENT_ROOM];"
    yield f"}} {name}_memory;"
    yield ""
    yield "/* Wires the memory up; what it returns is ready for dc_boot. */"
    yield f"dc_sequence *{name}_init({name}_memory *memory);"
    yield ""
    yield "/* SHA-256 of the sequence, in flash like the tables */"
    yield f"extern const uint8_t {name}_sha256[{_DIGEST_BYTES}] DC_FLASH;"
    yield ""
    yield from _wired(name, wiring)
    yield ""
    yield "/* for the bench and for logs: build with -DDC_NAMES */"
    yield "#ifdef DC_NAMES"
    for group, members in names.items():
        if members:
            yield f"extern const char *const {name}_{group}_names[{upper}_{group.upper()}S];"
    yield "#endif"
    yield ""
    yield "#endif"


def _enumerators(sequence: Sequence, names: Mapping[str, tuple[str, ...]]) -> Iterator[str]:
    for group, members in names.items():
        # an exit may be called by what it does, in words that C does not take
        if group != "exit" and members:
            yield ""
            yield "enum {"
            for member in members:
                comma = "" if member == members[-1] else ","
                comment = f" /* {_si(sequence.inputs[member])} */" if group == "input" else ""
                yield f"    {sequence.name}_{group}_{member}{comma}{comment}"
            yield "};"


def _wired(name: str, wiring: Wiring | None) -> Iterator[str]:
    if wiring is None:
        yield "/* whether the wiring of a vehicle is known: `drycount export --vehicle` */"
        yield f"#define {name}_wired 0"
        return
    yield "/* SHA-256 of the wiring; per pulse the channels that it fires, a bit each; in flash */"
    yield f"#define {name}_wired 1"
    yield f"extern const uint8_t {name}_wiring[{_DIGEST_BYTES}] DC_FLASH;"
    yield f"extern const uint32_t {name}_drives[{max(1, len(wiring.pulses))}] DC_FLASH;"


def _source(sequence: Sequence, kit: KitTables, wiring: Wiring | None) -> Iterator[str]:
    name = sequence.name
    yield from _about(sequence)
    yield f'#include "{name}_tables.h"'
    yield ""
    yield f"static const dc_code code[{len(kit.code)}] DC_FLASH = {{"
    yield from _rows(str(entry) for entry in kit.code)
    yield "};"
    yield ""
    yield f"static const dc_real numbers[{len(kit.numbers)}] DC_FLASH = {{"
    yield from _rows(_real(number) for number in kit.numbers)
    yield "};"
    yield ""
    yield "static const dc_tables tables = {"
    yield "    code,"
    yield "    numbers,"
    for member in ("starts", "constants", "flags", "published", "positions", "fields", "period"):
        yield f"    {getattr(kit, member)}, /* {member} */"
    yield "};"
    yield ""
    yield f"dc_sequence *{name}_init({name}_memory *memory)"
    yield "{"
    yield "    dc_sequence *logic = &memory->logic;"
    yield ""
    yield "    logic->tables = &tables;"
    for member in (*_MEMORY, "events"):
        yield f"    logic->{member} = memory->{member};"
    yield f"    logic->room = {name.upper()}_EVENT_ROOM;"
    yield "    dc_boot(logic, NULL);"
    yield "    return logic;"
    yield "}"
    yield ""
    yield from _hash(f"{name}_sha256", sequence.digest)
    if wiring is not None:
        yield from _hash(f"{name}_wiring", wiring.digest)
        pulses = wiring.pulses or (0,)
        yield f"const uint32_t {name}_drives[{len(pulses)}] DC_FLASH = {{"
        yield from _rows(f"0x{channels:06x}" for channels in pulses)
        yield "};"
        yield ""
    yield "#ifdef DC_NAMES"
    for group, members in _names(sequence, kit, wiring).items():
        if members:
            size = f"{name.upper()}_{group.upper()}S"
            yield f"const char *const {name}_{group}_names[{size}] = {{"
            yield from (f'    "{member}",' for member in members)
            yield "};"
    yield "#endif"


def _hash(name: str, digest: str) -> Iterator[str]:
    yield f"const uint8_t {name}[{_DIGEST_BYTES}] DC_FLASH = {{"
    told = bytes.fromhex(digest).rjust(_DIGEST_BYTES, b"\0")
    yield from _rows(f"0x{byte:02x}" for byte in told)
    yield "};"
    yield ""


def _si(put: Input) -> str:
    """The unit in which the value of an input is given to the logic."""
    return "0 or 1" if put.unit == "bool" else str(unit(put.unit).dimension)


def _real(number: float) -> str:
    return f"DC_REAL({number.hex()})"


def _rows(entries: Iterable[str]) -> Iterator[str]:
    """Entries with a comma behind each, as many on a line as there is room for."""
    line = "   "
    for entry in entries:
        if len(line) + len(entry) + 2 > _WIDTH:
            yield line
            line = "   "
        line += f" {entry},"
    yield line
