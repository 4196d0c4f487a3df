"""A flight record as JSON: equal records give equal bytes.

Numbers are written as the shortest decimal that reads back as the same double. JSON knows no
infinity and no NaN (RFC 8259, section 6): they become the strings "inf", "-inf" and "nan", so that
`null` keeps one meaning, "there is none". Fields stand in a fixed order, mappings in the order of
their names; verdicts, events and samples keep the order they have in the record.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from sequencer.record.model import FlightRecord, Verdict

__all__ = ["FORMAT", "record_to_dict", "to_json"]

#: version of the form; raised when a reader of the old one would misunderstand the new one
FORMAT = 1


def record_to_dict(record: FlightRecord, *, signals: bool = False) -> dict[str, Any]:
    """The record as plain dicts, lists, strings, numbers and None, ready for any JSON writer.

    Event: [tick, kind, name, detail]. Signals are left out unless asked for: they are most of the
    bytes and can be flown again.
    """
    found: dict[str, Any] = {
        "format": FORMAT,
        "scenario": record.scenario,
        "rate_hz": int(record.rate_hz),
        "ticks": int(record.ticks),
        "outcome": record.outcome,
        "facts": _sorted({name: _number(value) for name, value in record.facts.items()}),
        "hashes": _sorted(record.hashes),
        "events": [
            [int(event.tick), event.kind, event.name, event.detail] for event in record.events
        ],
        "verdicts": [_verdict(verdict) for verdict in record.verdicts],
        "divergences": [asdict(divergence) for divergence in record.divergences],
    }
    if signals:
        found["signals"] = _sorted(
            {
                name: {
                    "unit": signal.unit,
                    "values": [_number(value) for value in signal.values.tolist()],
                }
                for name, signal in record.signals.items()
            }
        )
    return found


def to_json(record: FlightRecord, *, signals: bool = False) -> str:
    """The record as one line of JSON, with a line feed at its end."""
    found = record_to_dict(record, signals=signals)
    return json.dumps(found, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n"


def _verdict(verdict: Verdict) -> dict[str, Any]:
    return {
        "requirement": verdict.requirement,
        "status": verdict.status,
        "margin": None if verdict.margin is None else _number(verdict.margin),
        "unit": verdict.unit,
        "start": None if verdict.start is None else int(verdict.start),
        "end": None if verdict.end is None else int(verdict.end),
        "because": verdict.because,
        "reason": verdict.reason,
    }


def _number(value: float) -> float | str:
    number = float(value)
    if math.isfinite(number):
        return number
    return "nan" if math.isnan(number) else "inf" if number > 0 else "-inf"


def _sorted(mapping: Mapping[str, Any]) -> dict[str, Any]:
    return dict(sorted(mapping.items()))
