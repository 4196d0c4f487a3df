"""`python -m sequencer.flight` compiles for this machine what flights and mutants need."""

from __future__ import annotations

from sequencer.execute.recording import prepare as prepare_following
from sequencer.flight.batch.jit import prepare as prepare_batch
from sequencer.flight.preparing import prepare

prepare(print)
prepare_batch(print)
prepare_following(print)
