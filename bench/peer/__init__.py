"""A second flight of the calm demo scenario, in plain Python, to measure the twin against.

Written from the documented physics alone: nothing of `sequencer.world` is used. Shared with the
twin are the files that describe vehicle and sequences, and the reference executor. Instead of fixed
steps SciPy's adaptive RK45 flies from one moment at which something changes to the next (or, with
`steps`, no further than the twin's step, so that what both cost can be compared), servos move by
their closed solution, and touchdown is a root found in continuous time. So where both
agree, neither the twin's step, nor the way of its numbers through flat arrays, nor its compiler
can be far wrong.

Left out: the booster once it has left, and its ejection charge, which goes off after that; and,
refused where a scenario has them: wind, faults, obstacles, ejection charges and parachutes on the
stage. Sensors lag and clip but neither err nor round, igniters do not scatter: the twin has to fly
what `quiet` makes of the scenario.
"""

from __future__ import annotations

from peer.flight import PeerFlight, fly, quiet

__all__ = ["PeerFlight", "fly", "quiet"]
