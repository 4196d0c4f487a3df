"""Recorded logs as tables of text: CSV (RFC 4180), packed with gzip or not.

Beyond the standard: any of three separators, lines that begin with # are remarks, blanks around a
cell do not count, empty lines are passed over. The first line that is left names the columns.
"""

from __future__ import annotations

import csv
import gzip
import hashlib
import io
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from sequencer.documents import decoded, read_bytes
from sequencer.errors import InputError

__all__ = ["MAX_BYTES", "MAX_ROWS", "LogTable", "read_log"]

#: more than a flight day of any board that we know of; unpacked
MAX_BYTES = 1 << 26
MAX_ROWS = 1_000_000


@dataclass(frozen=True, slots=True, eq=False)
class LogTable:
    """One log as it stands.

    digest   SHA-256 (hex) of the text, unpacked
    header   names of the columns
    rows     the cells of each row, as many as the header has
    lines    of each row, the line of the file where it ends
    """

    path: Path
    digest: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]

    def complaint(self, row: int, what: str) -> InputError:
        """An error in this row; raise it."""
        return InputError(what, file=self.path, line=self.lines[row])


def read_log(path: Path, separator: str = ",") -> LogTable:
    """Read one log; a name that ends in ``.gz`` is unpacked.

    Raises InputError if it is missing, too large, not UTF-8 or not CSV, if a row has more or fewer
    cells than the header, or if there is no row at all.
    """
    raw = read_bytes(path, MAX_BYTES)
    if path.suffix == ".gz":
        raw = _unpacked(raw, path)
    found = list(_rows(decoded(raw, path), path, separator))
    if not found:
        raise InputError("is empty: no line names the columns", file=path)
    (line, header), *rest = found
    if not rest:
        raise InputError("has no row below the names of its columns", file=path, line=line)
    for line, row in rest:
        if len(row) != len(header):
            more = "more" if len(row) > len(header) else "fewer"
            raise InputError(
                f"has {more} cells than the header has names: {len(row)}, not {len(header)}",
                file=path,
                line=line,
            )
    return LogTable(
        path=path,
        digest=hashlib.sha256(raw).hexdigest(),
        header=header,
        rows=tuple(row for _, row in rest),
        lines=tuple(line for line, _ in rest),
    )


def _unpacked(raw: bytes, path: Path) -> bytes:
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(raw)) as packed:
            text = packed.read(MAX_BYTES + 1)
    except (OSError, EOFError, zlib.error):
        raise InputError("is not a whole gzip file", file=path) from None
    if len(text) > MAX_BYTES:
        raise InputError(f"is larger than {MAX_BYTES} bytes when unpacked", file=path)
    return text


def _rows(text: str, path: Path, separator: str) -> Iterator[tuple[int, tuple[str, ...]]]:
    """(line, cells) of the header and of every row."""
    # a remark leaves an empty line behind, so that lines are still counted right
    lines = ("\n" if line.startswith("#") else line for line in io.StringIO(text, newline=""))
    reader = csv.reader(lines, delimiter=separator, strict=True)
    count = begun = 0
    try:
        for row in reader:
            begun = reader.line_num
            if not row:
                continue
            count += 1
            if count > MAX_ROWS + 1:
                raise InputError(f"has more than {MAX_ROWS} rows", file=path, line=reader.line_num)
            yield reader.line_num, tuple(cell.strip() for cell in row)
    except csv.Error as failure:
        # where the row began: a quote that is not closed runs to the end of the file
        raise InputError(f"not valid CSV: {failure}", file=path, line=begun + 1) from None
