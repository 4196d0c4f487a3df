"""Compares two flights."""

from __future__ import annotations

from sequencer.record import FlightRecord


def assert_same(one: FlightRecord, other: FlightRecord) -> None:
    """Every event, fact, verdict and signal is the same, to the last bit."""
    assert one.events == other.events
    assert (one.ticks, one.outcome) == (other.ticks, other.outcome)
    assert repr(one.facts) == repr(other.facts)
    assert [repr(verdict) for verdict in one.verdicts] == [repr(v) for v in other.verdicts]
    assert list(one.signals) == list(other.signals)
    for name, signal in one.signals.items():
        assert signal.values.tobytes() == other.signals[name].values.tobytes(), name
