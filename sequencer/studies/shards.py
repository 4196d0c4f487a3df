"""A campaign on disk: a folder with a manifest and one Parquet file for each range of flights.

Files are written under another name and renamed, so that one that is there is whole: whatever ends
a campaign, at whatever moment, it goes on with the ranges that are missing.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, Self

import numpy as np

from sequencer.errors import InternalError, UsageError
from sequencer.studies.platforms import platform_here
from sequencer.studies.sampling import Design

__all__ = ["FORMAT", "SHARD", "Shards", "read_design"]

#: changes when a campaign of the older form could not be gone on with
FORMAT = "drycount campaign 1"
#: flights of one file
SHARD = 200

_MANIFEST = "campaign.json"
_PART = ".part"


class Shards:
    """The flights of one campaign that have been flown so far.

    folder    made if it is not there
    design    how its flights are drawn
    about     what they are flights of: hashes by name
    columns   names of the columns of its table

    Raises UsageError where the folder cannot be used, or holds another campaign. Use it as a
    context manager: meanwhile no other process may.
    """

    def __init__(
        self, folder: Path, design: Design, about: Mapping[str, str], columns: tuple[str, ...]
    ) -> None:
        self.folder = folder
        self.design = design
        self.columns = columns
        self._lock: int | None = None
        with _told(folder):
            folder.mkdir(parents=True, exist_ok=True)
            self._take()
        try:
            self._agree({"format": FORMAT, **asdict(design), "shard": SHARD, "about": dict(about)})
            with _told(folder):
                planned = {self._path(each) for each in self.ranges()}
                for left in (*folder.glob(f"*{_PART}"), *folder.glob("flights-*.parquet")):
                    if left not in planned:  # cut off, or the end of a shorter campaign
                        left.unlink()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let others use the folder."""
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None

    def ranges(self, flights: int | None = None) -> Iterator[range]:
        """The ranges of flights that have a file each, up to a number of flights."""
        most = self.design.flights if flights is None else flights
        for first in range(1, most + 1, SHARD):
            yield range(first, min(first + SHARD - 1, self.design.flights) + 1)

    def missing(self, flights: int | None = None) -> Iterator[range]:
        """Those of `ranges` that have not been flown."""
        return (each for each in self.ranges(flights) if not self._path(each).exists())

    def write(self, flights: range, rows: Mapping[str, list[Any]]) -> None:
        """Keep the rows of a range. Raises UsageError where the disk is full or has gone."""
        import pyarrow as pa  # noqa: PLC0415 - an extra
        import pyarrow.parquet as pq  # noqa: PLC0415

        if tuple(rows) != self.columns or len(rows["flight"]) != len(flights):
            raise InternalError("a shard is not what its campaign says")
        path = self._path(flights)
        part = path.with_name(path.name + _PART)
        with _told(path):
            pq.write_table(pa.table(dict(rows)), part)
            with part.open("rb") as file:
                os.fsync(file.fileno())
            part.replace(path)

    def column(self, name: str, flights: int | None = None) -> np.ndarray:
        """One column, as `read` gives it."""
        return self.read([name], flights)[name]

    def read(self, names: Sequence[str], flights: int | None = None) -> dict[str, np.ndarray]:
        """Some columns over all flights, shape (flights,) each: floats, whole numbers or text.

        Every file is opened once, and only these columns are read. Raises UsageError for a file
        that cannot be read.
        """
        import pyarrow as pa  # noqa: PLC0415 - an extra
        import pyarrow.parquet as pq  # noqa: PLC0415

        ranges = list(self.ranges(flights))
        rows, at = sum(map(len, ranges)), 0
        found: dict[str, np.ndarray] = {}
        for each in ranges:
            path = self._path(each)
            with _told(path, "read"):
                try:
                    # a file is small: threads would take longer to wake than to read it
                    table = pq.ParquetFile(path).read(columns=list(names), use_threads=False)
                except pa.ArrowInvalid as error:
                    raise UsageError(f"{path}: is damaged ({error}); remove it and go on") from None
            for name in names:
                part = _array(table.column(name))
                kind = np.result_type(part, found.get(name, part))
                if name not in found or found[name].dtype != kind:
                    found[name] = np.resize(found.get(name, part), rows).astype(kind, copy=False)
                found[name][at : at + len(part)] = part
            at += len(each)
        return {name: values[:flights] for name, values in found.items()}

    def _path(self, flights: range) -> Path:
        return self.folder / f"flights-{flights[0]:09d}-{flights[-1]:09d}.parquet"

    def _take(self) -> None:
        try:
            import fcntl  # noqa: PLC0415 - not on every system
        except ImportError:
            return
        self._lock = os.open(self.folder / ".lock", os.O_RDWR | os.O_CREAT, 0o644)
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            self.close()
            raise UsageError(f"{self.folder}: another process works on this campaign") from None

    def _agree(self, wanted: dict[str, Any]) -> None:
        """Write the manifest, or hold what is wanted against the one that is there."""
        wanted["columns"] = list(self.columns)
        wanted["platform"] = platform_here()
        path = self.folder / _MANIFEST
        if path.exists():
            found = _read(path)
            self._compare(found, wanted)
            if found == wanted:
                return
        with _told(path):
            part = path.with_name(path.name + _PART)
            part.write_text(json.dumps(wanted, indent=1) + "\n", encoding="utf-8")
            part.replace(path)

    def _compare(self, found: dict[str, Any], wanted: dict[str, Any]) -> None:
        here = f"{self.folder}: holds another campaign"
        for key in ("format", "seed", "sampling", "replicates"):
            if found.get(key) != wanted[key]:
                raise UsageError(f"{here} ({key} {found.get(key)}, not {wanted[key]})")
        before, now = int(found["flights"]), int(wanted["flights"])
        # flights drawn plainly do not know how many they are
        if now < before or (now > before and wanted["sampling"] != "plain"):
            raise UsageError(f"{here} ({before} flights, not {now})")
        for key, what in (("about", "hash of"), ("platform", "platform:")):
            for name in {**found[key], **wanted[key]}:
                if found[key].get(name) != wanted[key].get(name):
                    raise UsageError(f"{here} ({what} {name} differs)")
        if found["columns"] != wanted["columns"]:
            raise UsageError(f"{here} (its columns differ)")


def read_design(folder: Path) -> Design:
    """How the flights of the campaign in a folder were drawn.

    Raises UsageError where there is none.
    """
    path = folder / _MANIFEST
    if not path.exists():
        raise UsageError(f"{folder}: holds no campaign")
    found = _read(path)
    return Design(
        flights=int(found["flights"]),
        seed=int(found["seed"]),
        dimensions=int(found["dimensions"]),
        sampling=found["sampling"],
        replicates=int(found["replicates"]),
    )


def _read(path: Path) -> dict[str, Any]:
    with _told(path, "read"):
        text = path.read_bytes()
    needed = {"flights", "seed", "dimensions", "sampling", "replicates", "about", "platform"}
    try:
        found = json.loads(text)
    except ValueError:
        found = None
    if not isinstance(found, dict) or needed - found.keys() or "columns" not in found:
        raise UsageError(f"{path}: is no manifest of a campaign")
    return found


def _array(column: Any) -> np.ndarray:  # noqa: ANN401 - an Arrow column, which has no types
    """As numpy has it. Of text every word is kept once, however often it comes."""
    import pyarrow as pa  # noqa: PLC0415 - an extra

    if not pa.types.is_string(column.type):
        found: np.ndarray = column.to_numpy()
        return found
    coded = column.combine_chunks().dictionary_encode()
    chunks = coded.chunks if isinstance(coded, pa.ChunkedArray) else [coded]
    pieces = [
        np.array([sys.intern(word) for word in chunk.dictionary.to_pylist()], dtype=object)[
            chunk.indices.to_numpy()
        ]
        for chunk in chunks
    ]
    return np.concatenate(pieces)


@contextlib.contextmanager
def _told(path: Path, what: str = "written") -> Iterator[None]:
    """Turn what the machine refuses into one line."""
    try:
        yield
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise UsageError(f"{path}: cannot be {what}: {reason}") from None
