"""Every signal that requirements of a scenario may read, and what its computers remember."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sequencer.documents import Loc, located
from sequencer.record.logic import Memory, flag_signal, state_signal
from sequencer.scenario.model import PlannedFault
from sequencer.sequence import Sequence

__all__ = ["memories", "signals_of"]


def signals_of(
    sequences: Mapping[str, Sequence],
    world: Mapping[str, str],
    inputs: Iterable[tuple[str, str, int]],
) -> dict[str, str]:
    """Name -> unit of all signals: the world's, inputs of computers, their flags and states.

    world    name -> unit of the world's signals
    inputs   (signal name, unit, sensor index) of what is read from sensors
    Raises InputError, at the line in the sequence, where two things would have one name.
    """
    meaning = dict.fromkeys(world, "a signal of the world")
    units = {name: symbol for name, symbol, _ in inputs}
    found = dict(world)
    for computer, logic in sequences.items():
        named = [
            *((flag_signal(computer, name), "inputs", name, "input") for name in logic.inputs),
            *((flag_signal(computer, name), "flags", name, "flag") for name in logic.flags),
            *((state_signal(computer, name), "states", name, "state") for name in logic.states),
        ]
        for signal, table, name, what in named:
            if table == "inputs" and signal not in units:
                continue  # a message: the sender's flag or estimate
            if signal in meaning:
                place: Loc = (table, name)
                raise located(
                    logic.path,
                    place,
                    f"requirements would read {what} '{name}' of computer '{computer}' as "
                    f"'{signal}', but that is {meaning[signal]} already",
                )
            meaning[signal] = f"the {what} '{name}' of computer '{computer}'"
            found[signal] = units[signal] if table == "inputs" else "bool"
    return found


def memories(
    sequences: Mapping[str, Sequence], faults: Iterable[PlannedFault]
) -> tuple[Memory, ...]:
    """What each computer remembers, for `sequencer.record.logic`."""
    cuts = [fault for fault in faults if fault.kind == "reboot"]
    return tuple(
        Memory(
            computer,
            tuple((flag.name, flag.initial, flag.retained) for flag in logic.flags.values()),
            tuple(logic.states),
            frozenset(
                {f"brown_out {computer}"}
                | {f"fault_begun {fault.name}" for fault in cuts if fault.place == computer}
            ),
        )
        for computer, logic in sequences.items()
    )
