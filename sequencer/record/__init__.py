"""Events and signals of one flight."""

from sequencer.record.model import Event, FlightRecord, Signal, Verdict

__all__ = ["Event", "FlightRecord", "Signal", "Verdict"]
