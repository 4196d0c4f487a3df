"""Events and signals of one flight."""

from sequencer.record.divergence import Divergence
from sequencer.record.model import Event, FlightRecord, Signal, Verdict, time_text
from sequencer.record.serialise import record_to_dict, to_json
from sequencer.record.vocabulary import EVENT_KINDS, FLIGHT_OVER, SIGNALS, EventKind, SignalKind

__all__ = [
    "EVENT_KINDS",
    "FLIGHT_OVER",
    "SIGNALS",
    "Divergence",
    "Event",
    "EventKind",
    "FlightRecord",
    "Signal",
    "SignalKind",
    "Verdict",
    "record_to_dict",
    "time_text",
    "to_json",
]
