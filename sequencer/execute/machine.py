"""The flat state machine of a sequence, on the library `transitions`.

One machine, one trigger, `tick`. Every exit is one transition per state that it leaves, added in
the order in which exits are tried: common exits first, then the state's own. Its condition is "my
hold counter has reached its number". On a change the machine calls

    exit          of the old state
    enter         of the new state
"""

from __future__ import annotations

import typing
from collections.abc import Mapping
from typing import Protocol, cast

from transitions import EventData, Machine, State, Transition

from sequencer.execute.values import Memory, Names, compile_expression
from sequencer.sequence.model import Exit, Sequence
from sequencer.sequence.model import State as StateModel

__all__ = ["Border", "Present", "Watch", "build_machine"]


class Watch:
    """An exit and its hold counter."""

    __slots__ = ("count", "exit", "fresh_cell", "fresh_index", "is_true", "needed", "ready")

    def __init__(self, way: Exit, sequence: Sequence, names: Names) -> None:
        self.exit = way
        self.is_true = compile_expression(way.condition, names)
        self.needed = float(way.hold_ticks)
        self.fresh_index = None if way.fresh is None else list(sequence.inputs).index(way.fresh)
        self.fresh_cell = 0 if way.fresh is None else names.cells[way.fresh]
        self.count = 0.0
        self.ready = False

    def update(self, memory: Memory, fresh: typing.Sequence[bool]) -> bool:
        """Count this tick; True where the exit could fire on it.

        An unknown condition counts as false. With a `fresh` input, ticks that did not refresh it
        neither count nor reset, and a refreshed bad value resets.
        """
        true = self.is_true(memory) is True
        if self.fresh_index is not None:
            if not fresh[self.fresh_index]:
                self.ready = False
                return False
            true = true and memory[self.fresh_cell] is not None
        if not true:
            self.count = 0.0
            self.ready = False
            return False
        if self.count < self.needed:
            self.count += 1.0
        self.ready = self.count == self.needed
        return self.ready

    def is_ready(self) -> bool:
        """The condition of the transition."""
        return self.ready


class Border(Protocol):
    """What happens when a state is left or entered."""

    def leave(self, state: StateModel, watch: Watch) -> None:
        """The state is left by this exit."""

    def enter(self, state: StateModel, watch: Watch) -> None:
        """The state is entered by this exit."""


class Way(Transition):
    """A transition that knows its exit."""

    def __init__(self, *args: typing.Any, watch: Watch, **kwargs: typing.Any) -> None:
        super().__init__(*args, **kwargs)
        self.watch = watch


class _Place(State):
    """A state that leaves what happens at its border to the executor.

    Overriding `exit` and `enter` instead of hanging callbacks on them gives the executor the
    transition that is under way, and spares what the machine spends on a list of callbacks.
    """

    def __init__(self, state: StateModel, border: Border) -> None:
        super().__init__(state.name)
        self.state = state
        self.border = border

    def exit(self, event_data: EventData) -> None:
        self.border.leave(self.state, cast("Way", event_data.transition).watch)

    def enter(self, event_data: EventData) -> None:
        self.border.enter(self.state, cast("Way", event_data.transition).watch)


class _Machine(Machine):
    transition_cls = Way


class Present:
    """What the machine works on: holds the name of the present state, and gets its trigger."""

    state: str
    tick: typing.Callable[[], bool]


def build_machine(
    sequence: Sequence, names: Names, border: Border
) -> tuple[Machine, Present, Mapping[str, tuple[Watch, ...]]]:
    """The machine, what it works on, and the watched exits of each state in their order.

    A common exit is watched once, by one counter, in whatever state.
    """
    common = {way.name: Watch(way, sequence, names) for way in sequence.common_exits}
    present = Present()
    machine = _Machine(
        model=present,
        states=[_Place(state, border) for state in sequence.states.values()],
        initial=sequence.start,
        auto_transitions=False,
    )
    watches = {}
    for name in sequence.states:
        watches[name] = tuple(
            common[way.name] if way.common else Watch(way, sequence, names)
            for way in sequence.eligible_exits(name)
        )
        for watch in watches[name]:
            machine.add_transition(
                "tick", name, watch.exit.to, conditions=watch.is_ready, watch=watch
            )
    return machine, present, watches
