"""`python -m sequencer.flight` compiles what flights need for this machine."""

from __future__ import annotations

from sequencer.flight.preparing import prepare

prepare(print)
