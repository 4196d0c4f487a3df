"""Every event that can come in a scenario at all, so that a misspelt one is found at load."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from sequencer.record import FLIGHT_OVER
from sequencer.sequence import Sequence
from sequencer.world.places import Places

__all__ = ["labels_of"]

_PULSE_KINDS = ("fired", "ended", "cut", "blocked", "ignored")


def labels_of(
    sequences: Mapping[str, Sequence], places: Places, faults: Iterable[str], *, flies: bool
) -> frozenset[str]:
    """Labels of all events that these sequences, this vehicle and these faults can make.

    `flies` is false where the inputs come from a log: then nothing moves.
    """
    found: set[str] = set()
    if flies:
        found |= {"released", "liftoff", "separated", "apogee", "touchdown", "booster_down"}
        found |= {"obstacle", "umbilical_parted", FLIGHT_OVER}
    for kind in ("lit", "burst", "burnout", "ejected"):
        found.update(f"{kind} {motor}" for motor in places.motors)
    found.update(f"acted {load}" for load in places.loads)
    for kind in ("deployed", "opened"):
        found.update(f"{kind} {parachute}" for parachute in places.parachutes)
    for switch in places.switches:
        found.update((f"crew {switch} on", f"crew {switch} off"))
    for fault in faults:
        found.update((f"fault_begun {fault}", f"fault_ended {fault}"))
    for computer, logic in sequences.items():
        found.update(_of_sequence(computer, logic))
    return frozenset(found)


def _of_sequence(computer: str, logic: Sequence) -> Iterator[str]:
    for kind in ("booted", "late", "brown_out", "log_full", "log_cut"):
        yield f"{kind} {computer}"
    for source in logic.inputs.values():
        if source.message is not None:
            yield f"dropped {computer}.{source.message[0]}"
            yield f"corrupt {computer}.{source.message[0]}"
    for state in logic.states.values():
        yield f"entered {computer}.{state.name}"
        for way in state.exits:
            yield f"took {computer}.{way.name}"
    for way in logic.common_exits:
        yield f"took {computer}.{way.name}"
    for name, function in logic.functions.items():
        kinds = ("moved",) if function.kind == "servo" else _PULSE_KINDS
        yield from (f"{kind} {computer}.{name}" for kind in kinds)
    for flag in logic.flags:
        yield f"set {computer}.{flag}"
        yield f"cleared {computer}.{flag}"
