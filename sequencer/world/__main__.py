"""`python -m sequencer.world` compiles the flight kernel for this machine."""

from __future__ import annotations

from sequencer.world.jit import prepare

prepare(print)
