"""Results as canonical JSON: the same flights give the same bytes, on every run and every machine
of one platform.

Keys are sorted, text is ASCII, numbers are written with the fewest digits that read back as the
same double. There is no time of day, no host and no duration in it. A number that is not finite
becomes null (no value) or the text "inf" or "-inf", since JSON has no sign for it. Of every signal
the extremes and a hash are kept, so that two reports tell whether two flights were equal bit for
bit without carrying every sample.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from sequencer import __version__
from sequencer.flight.result import Result, Shortfall
from sequencer.record import Event, FlightRecord, Signal, Verdict
from sequencer.report.summary import count

__all__ = ["FORMAT", "as_json"]

#: changes when a reader of the older form would be misled
FORMAT = "drycount results 1"


def as_json(results: Sequence[Result]) -> str:
    """The results as one JSON document, ending in a newline."""
    total = count(results)
    document = {
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
    return json.dumps(document, sort_keys=True, indent=1, allow_nan=False) + "\n"


def _result(result: Result) -> dict[str, Any]:
    return {
        "scenario": result.name,
        "file": result.path.as_posix(),
        "reason": result.reason,
        "as_expected": result.as_expected,
        "error": result.error,
        "shortfalls": [_shortfall(shortfall, result.record) for shortfall in result.shortfalls],
        "flight": None if result.record is None else _flight(result.record),
    }


def _shortfall(shortfall: Shortfall, record: FlightRecord | None) -> dict[str, Any]:
    event = shortfall.first_wrong
    return {
        "what": shortfall.what,
        "requirement": None if shortfall.verdict is None else shortfall.verdict.requirement,
        "first_wrong": None if event is None or record is None else _event(event, record),
    }


def _flight(record: FlightRecord) -> dict[str, Any]:
    return {
        "outcome": record.outcome,
        "rate_hz": record.rate_hz,
        "ticks": record.ticks,
        "facts": {name: _number(value) for name, value in record.facts.items()},
        "hashes": dict(record.hashes),
        "events": [_event(event, record) for event in record.events],
        "verdicts": [_verdict(verdict, record) for verdict in record.verdicts],
        "signals": {name: _signal(signal) for name, signal in record.signals.items()},
    }


def _event(event: Event, record: FlightRecord) -> dict[str, Any]:
    return {
        "tick": event.tick,
        "time_s": record.seconds(event.tick),
        "kind": event.kind,
        "name": event.name,
        "detail": event.detail,
    }


def _verdict(verdict: Verdict, record: FlightRecord) -> dict[str, Any]:
    return {
        "requirement": verdict.requirement,
        "status": verdict.status,
        "margin": None if verdict.margin is None else _number(verdict.margin),
        "unit": verdict.unit,
        "start_s": None if verdict.start is None else record.seconds(verdict.start),
        "end_s": None if verdict.end is None else record.seconds(verdict.end),
        "because": verdict.because,
        "reason": verdict.reason,
    }


def _signal(signal: Signal) -> dict[str, Any]:
    values = np.ascontiguousarray(signal.values, dtype="<f8")
    finite = values[np.isfinite(values)]
    return {
        "unit": signal.unit,
        "least": _number(float(finite.min())) if finite.size else None,
        "greatest": _number(float(finite.max())) if finite.size else None,
        "sha256": hashlib.sha256(values.tobytes()).hexdigest(),
    }


def _number(value: float) -> float | str | None:
    if math.isnan(value):
        return None
    if math.isinf(value):
        return "inf" if value > 0 else "-inf"
    return float(value)
