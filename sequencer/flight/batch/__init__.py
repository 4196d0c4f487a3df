"""The whole flight in machine code: world, logic, links, faults and crew, no Python between."""

from __future__ import annotations

from sequencer.flight.batch.flying import fly_compiled, fly_flights

__all__ = ["fly_compiled", "fly_flights"]
