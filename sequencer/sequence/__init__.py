"""Flight logic as data: reads and checks sequence files."""

from sequencer.sequence.load import load_sequence, resolve_sequence
from sequencer.sequence.messages import check_messages
from sequencer.sequence.model import (
    FUNCTION_VERBS,
    Acceptance,
    Block,
    Command,
    Estimate,
    Exit,
    Flag,
    Function,
    Inhibit,
    Input,
    Limit,
    Loop,
    Publication,
    Sequence,
    State,
)
from sequencer.sequence.schema import SequenceFile

__all__ = [
    "FUNCTION_VERBS",
    "Acceptance",
    "Block",
    "Command",
    "Estimate",
    "Exit",
    "Flag",
    "Function",
    "Inhibit",
    "Input",
    "Limit",
    "Loop",
    "Publication",
    "Sequence",
    "SequenceFile",
    "State",
    "check_messages",
    "load_sequence",
    "resolve_sequence",
]
