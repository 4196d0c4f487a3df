"""Where faults act: each part of the kernel asks here whether one is active at its place."""

from __future__ import annotations

from sequencer.world.jit import Record, compiled

__all__ = ["fault_at", "fault_size"]


@compiled()
def fault_at(params: Record, commands: Record, kind: int, place: int) -> bool:
    """Whether a fault of this kind is active at this place."""
    for i in range(params.faults):
        if (
            commands.fault[i] != 0
            and params.fault_kind[i] == kind
            and params.fault_place[i] == place
        ):
            return True
    return False


@compiled()
def fault_size(params: Record, commands: Record, kind: int, place: int, without: float) -> float:
    """Size of the first active fault of this kind at this place, or `without` if there is none."""
    for i in range(params.faults):
        if (
            commands.fault[i] != 0
            and params.fault_kind[i] == kind
            and params.fault_place[i] == place
        ):
            return float(params.fault_size[i])
    return without
