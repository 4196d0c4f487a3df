"""Results as canonical JSON: the same flights give the same bytes, on every run and every machine
of one platform.

Flights are written as `sequencer.record.serialise` does. There is no time of day, no host and no
duration in the document. Of every signal the extremes and a hash are kept, so that two reports tell
whether two flights were equal bit for bit without carrying every sample.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from sequencer import __version__
from sequencer.flight.result import Result, Shortfall
from sequencer.record import FlightRecord, Signal
from sequencer.record.serialise import record_to_dict
from sequencer.report.summary import count
from sequencer.world.margins import Margin

__all__ = ["FORMAT", "as_json"]

#: changes when a reader of the older form would be misled
FORMAT = "drycount results 1"


def as_json(results: Sequence[Result], coverage: dict[str, Any] | None = None) -> str:
    """The results as one JSON document, ending in a newline.

    coverage   of the scenarios, as `sequencer.report.reach.as_dict` gives it
    """
    total = count(results)
    document: dict[str, Any] = {
        "format": FORMAT,
        "version": __version__,
        "total": {
            "flights": total.all,
            "as_expected": total.expected,
            "fell_short": total.short,
            "not_flown": total.failed,
        },
        "results": [_result(result) for result in results],
    }
    if coverage is not None:
        document["coverage"] = coverage
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def _result(result: Result) -> dict[str, Any]:
    return {
        "scenario": result.name,
        "file": result.path.as_posix(),
        "reason": result.reason,
        "as_expected": result.as_expected,
        "error": result.error,
        "shortfalls": [_shortfall(shortfall) for shortfall in result.shortfalls],
        "margins": [_margin(margin) for margin in result.margins],
        "flight": None if result.record is None else _flight(result.record),
    }


def _shortfall(shortfall: Shortfall) -> dict[str, Any]:
    event = shortfall.first_wrong
    return {
        "what": shortfall.what,
        "requirement": None if shortfall.verdict is None else shortfall.verdict.requirement,
        "first_wrong": event and [event.tick, event.kind, event.name, event.detail],
    }


def _margin(margin: Margin) -> dict[str, Any]:
    """Currents in A and voltages in V of one load, and what they come to."""
    found = asdict(margin)
    found["firing_ratio"] = margin.firing_ratio
    found["test_share"] = margin.test_share
    return found


def _flight(record: FlightRecord) -> dict[str, Any]:
    found = record_to_dict(record)
    found["signals"] = {name: _signal(record.signals[name]) for name in sorted(record.signals)}
    return found


def _signal(signal: Signal) -> dict[str, Any]:
    values = np.ascontiguousarray(signal.values, dtype="<f8")
    finite = values[np.isfinite(values)]
    return {
        "unit": signal.unit,
        "least": float(finite.min()) if finite.size else None,
        "greatest": float(finite.max()) if finite.size else None,
        "sha256": hashlib.sha256(values.tobytes()).hexdigest(),
    }
