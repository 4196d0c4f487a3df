"""`python -m sequencer.flight` compiles for this machine what flights, few or many, need."""

from __future__ import annotations

from sequencer.flight.batch.jit import prepare as prepare_batch
from sequencer.flight.preparing import prepare

prepare(print)
prepare_batch(print)
