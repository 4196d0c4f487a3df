"""What came out of mutants, and the small file in which that is kept between runs."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from sequencer.errors import UsageError
from sequencer.studies.mutants.baseline import Baseline

__all__ = ["Found", "Results", "key_of"]

_FORMAT = "drycount mutants kept 1"


@dataclass(slots=True)
class Found:
    """What came out of a mutant; scenarios by their keys.

    killers   those that notice, each with the first way in which it falls short
    lived     those in which something differs, and that do not
    same      those in which nothing differs, to the last bit
    """

    id: str
    killers: dict[str, str] = field(default_factory=dict)
    lived: list[str] = field(default_factory=list)
    same: list[str] = field(default_factory=list)


def key_of(hashes: Mapping[str, str]) -> str:
    """One short hash of many."""
    return hashlib.sha256(json.dumps(dict(hashes), sort_keys=True).encode()).hexdigest()[:16]


class Results:
    """The file of one sequence.

    A mutant is known by its id, a scenario by a hash of all that its outcome depends on: one that
    is edited counts as new, and only what it could change is flown again.

    about   of what the results are: sequence and platform; each has a file of its own
    """

    def __init__(self, folder: Path, sequence: str, about: Mapping[str, str]) -> None:
        self._about = dict(about)
        self._path = folder / f"{sequence}-{key_of(about)}.mutants.json"
        self._mutants: dict[str, Found] = {}
        self._baselines: dict[str, Baseline] = {}
        self._changed = False
        with _told(self._path, "written"):
            folder.mkdir(parents=True, exist_ok=True)
        self._read()

    def baseline(self, key: str) -> Baseline | None:
        """What is known of the unchanged flight of a scenario."""
        return self._baselines.get(key)

    def of(self, mutant: str) -> Found:
        """What is known of a mutant; nothing, for one that has not been flown."""
        return self._mutants.get(mutant, Found(mutant))

    def add_baseline(self, key: str, baseline: Baseline) -> None:
        """Remember an unchanged flight."""
        self._baselines[key] = baseline
        self._changed = True

    def add(self, found: Found) -> None:
        """Remember what came out of a mutant, with what was known before."""
        known = self._mutants.setdefault(found.id, Found(found.id))
        known.killers |= found.killers
        known.lived = sorted({*known.lived, *found.lived})
        known.same = sorted({*known.same, *found.same})
        self._changed = True

    def write(self) -> None:
        """Put what is known on disk, as a whole or not at all. Raises UsageError."""
        if not self._changed:
            return
        document = {
            "format": _FORMAT,
            "about": self._about,
            "baselines": {key: _plain(each) for key, each in self._baselines.items()},
            "mutants": [asdict(found) for found in self._mutants.values()],
        }
        part = self._path.with_name(f"{self._path.name}.{os.getpid()}.part")
        with _told(self._path, "written"):
            part.write_text(json.dumps(document, separators=(",", ":")) + "\n", encoding="utf-8")
            part.replace(self._path)
        self._changed = False

    def _read(self) -> None:
        with _told(self._path, "read"):
            try:
                text = self._path.read_bytes()
            except FileNotFoundError:
                return
        try:
            found = json.loads(text)
            ours = found["format"] == _FORMAT and found["about"] == self._about
            self._baselines = {key: _baseline(each) for key, each in found["baselines"].items()}
            self._mutants = {each["id"]: Found(**each) for each in found["mutants"]}
        except (ValueError, KeyError, TypeError, AttributeError):
            ours = False
        if not ours:
            raise UsageError(f"{self._path}: holds no results of mutants; remove it and go on")


def _plain(baseline: Baseline) -> dict[str, Any]:
    return {
        name: sorted(value) if isinstance(value, frozenset) else value
        for name, value in asdict(baseline).items()
    }


def _baseline(kept: dict[str, Any]) -> Baseline:
    values: dict[str, Any] = {
        name: frozenset(value) if isinstance(value, list) else value for name, value in kept.items()
    }
    return Baseline(**values)


@contextlib.contextmanager
def _told(path: Path, what: str) -> Iterator[None]:
    """Turn what the machine refuses into one line."""
    try:
        yield
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise UsageError(f"{path}: cannot be {what}: {reason}") from None
