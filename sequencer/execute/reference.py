"""The reference executor: what a sequence means, written to be read.

`ReferenceExecutor.tick` is the five steps of a tick in their order. The changes of state
themselves are made by a state machine of the library `transitions`; see sequencer.execute.machine.

All hold counters must be updated before the first exit is tried, and a machine stops at the first
condition that holds. So the counters are updated here, and the machine is triggered afterwards,
and only on ticks on which some counter has reached its number: on all others every one of its
conditions would be false and it would do nothing, in twice the time of all the rest.
"""

from __future__ import annotations

import typing
from collections.abc import Mapping

from sequencer.execute.actuators import Actuators
from sequencer.execute.blocks import BlockState, make_block
from sequencer.execute.interface import Outputs
from sequencer.execute.loops import ThrustVectorPid, make_loop
from sequencer.execute.machine import Watch, build_machine
from sequencer.execute.values import (
    CLOCK,
    STATE,
    TIME_IN_STATE,
    Memory,
    compile_expression,
    finite,
    names_of,
)
from sequencer.sequence.model import Command, Sequence
from sequencer.sequence.model import State as StateModel

__all__ = ["ReferenceExecutor"]

_NAN = float("nan")


class ReferenceExecutor:
    """Executes a sequence tick by tick; see docs/semantics.md for the rules and their reasons."""

    def __init__(self, sequence: Sequence) -> None:
        self.sequence = sequence
        self._names = names = names_of(sequence)
        self._states = tuple(sequence.states.values())
        self._memory: Memory = [None] * names.size
        self._inputs = tuple(
            (index, names.cells[name], names.heard[name], put.unit == "bool")
            for index, (name, put) in enumerate(sequence.inputs.items())
        )
        self._blocks: dict[str, tuple[int, BlockState]] = {
            name: (names.cells[name], make_block(estimate.block, names, sequence.rate_hz))
            for name, estimate in sequence.estimates.items()
        }
        index_of = {name: index for index, name in enumerate(sequence.inputs)}
        self._updates = tuple(
            (cell, block.update, None if gate is None else index_of[gate])
            for (cell, block), gate in zip(
                self._blocks.values(),
                (estimate.block.gate for estimate in sequence.estimates.values()),
                strict=True,
            )
        )
        self._loops: dict[str, ThrustVectorPid] = {
            name: make_loop(loop, names, self._blocks) for name, loop in sequence.loops.items()
        }
        self._actuators = Actuators(
            sequence.functions.values(),
            sequence.inhibits.values(),
            lambda inhibit: compile_expression(inhibit.condition, names),
            self._report,
        )
        fields = sequence.publication.fields if sequence.publication else ()
        self._published = tuple(names.cells[field] for field in fields)
        self._machine, self._present, self._watches = build_machine(sequence, names, self)
        self.boot()

    def boot(self, retained: Mapping[str, bool] | None = None) -> None:
        """Forget everything but the retained flags; the next tick is tick 0."""
        memory, cells = self._memory, self._names.cells
        memory[:] = [None] * len(memory)
        for cell in self._names.heard.values():
            memory[cell] = 0
        survivors = retained or {}
        for name, flag in self.sequence.flags.items():
            kept = survivors.get(name, flag.initial) if flag.retained else flag.initial
            memory[cells[name]] = bool(kept)
        for cell, block in self._blocks.values():
            block.reset()
            memory[cell] = block.first
        for loop in self._loops.values():
            loop.reset()
        for watches in self._watches.values():
            for watch in watches:
                watch.count = 0.0
        self._actuators.reset()
        self._events: list[tuple[str, str, str]] = []
        self._queue: list[Command] = []
        self._entered = 0
        self._booted = False
        self._machine.set_state(self.sequence.start)
        memory[STATE] = self._names.states[self.sequence.start]
        memory[TIME_IN_STATE] = 0.0
        memory[CLOCK] = 0

    def tick(
        self, clock: int, values: typing.Sequence[float], fresh: typing.Sequence[bool]
    ) -> Outputs:
        """Execute one tick: the five steps in their order."""
        memory = self._memory
        memory[CLOCK] = clock
        if not self._booted:
            self._begin(clock)
        memory[TIME_IN_STATE] = (clock - self._entered) / self.sequence.rate_hz
        self._sample(values, fresh)
        self._estimate(fresh)
        if self._count(fresh):
            self._present.tick()
        self._act(clock)
        return self._outputs(clock)

    # 0. boot: the starting state is entered on the first tick, before anything else

    def _begin(self, clock: int) -> None:
        self._booted = True
        self._entered = clock
        self._report("entered", self.sequence.start, "")
        self._command(self.sequence.states[self.sequence.start].on_entry)

    # 1. inputs

    def _sample(self, values: typing.Sequence[float], fresh: typing.Sequence[bool]) -> None:
        """A refreshed value replaces the last one; one that is not finite is bad."""
        memory = self._memory
        for index, cell, heard, is_truth in self._inputs:
            if fresh[index]:
                value = finite(float(values[index]))
                if value is not None:
                    memory[heard] = memory[CLOCK]
                    memory[cell] = value != 0.0 if is_truth else value
                else:
                    memory[cell] = None

    # 2. estimates

    def _estimate(self, fresh: typing.Sequence[bool]) -> None:
        """Every estimate in order of declaration; a gated one only if its input was refreshed."""
        memory = self._memory
        for cell, update, gate in self._updates:
            if gate is None or fresh[gate]:
                memory[cell] = update(memory)

    # 3. exits

    def _count(self, fresh: typing.Sequence[bool]) -> bool:
        """Update the counters of all exits of the present state; True where one could fire."""
        memory = self._memory
        ready = False
        for watch in self._watches[self._present.state]:
            if watch.update(memory, fresh):
                ready = True
        return ready

    # 4. a change of state, called by the machine

    def leave(self, state: StateModel, watch: Watch) -> None:
        """Run on_leave. Own counters go back to zero, and that of the exit that fires; a common
        exit's lives on where the new state lists it.
        """
        way = watch.exit
        self._report("took", way.name, "")
        for other in self._watches[state.name]:
            if not other.exit.common or way.to not in other.exit.sources:
                other.count = 0.0
        watch.count = 0.0
        self._command(state.on_leave)

    def enter(self, state: StateModel, watch: Watch) -> None:
        """Run the exit's actions, then on_entry; reset loops that the old state did not run."""
        self._command(watch.exit.actions)
        memory = self._memory
        if state.loops:
            old = self._states[memory[STATE]]
            for name in state.loops:
                if name not in old.loops:
                    self._loops[name].reset()
        memory[STATE] = self._names.states[state.name]
        memory[TIME_IN_STATE] = 0.0
        self._entered = memory[CLOCK]
        self._report("entered", state.name, "")
        self._command(state.on_entry)

    def _command(self, commands: tuple[Command, ...]) -> None:
        """Flags change at once, everything else waits for step 5."""
        for command in commands:
            if command.verb in ("set", "clear"):
                cell = self._names.cells[command.name]
                value = command.verb == "set"
                if self._memory[cell] is not value:
                    self._memory[cell] = value
                    self._report("set" if value else "cleared", command.name, "")
            else:
                self._queue.append(command)

    # 5. outputs

    def _act(self, clock: int) -> None:
        """Control loops of the state, inhibits, then the queued commands in their order."""
        actuators = self._actuators
        state = self.sequence.states[self._present.state]
        demands = [(name, self._loops[name].update(self._memory)) for name in state.loops]
        actuators.end_pulses(clock)
        actuators.judge_inhibits(self._memory)
        for name, demand in demands:
            if demand is not None:
                for axis, servo in self.sequence.loops[name].outputs:
                    actuators.follow(servo, demand[axis])
        if self._queue:
            actuators.carry_out(self._queue, clock)
            self._queue.clear()

    def _outputs(self, clock: int) -> Outputs:
        events = tuple(self._events)
        self._events.clear()
        message = None
        publication = self.sequence.publication
        if publication is not None and clock % publication.period_ticks == 0:
            values = [self._memory[cell] for cell in self._published]
            message = tuple([_NAN if value is None else float(value) for value in values])
        return Outputs(
            self._present.state, events, self._actuators.on(), self._actuators.demands(), message
        )

    def _report(self, kind: str, name: str, detail: str) -> None:
        self._events.append((kind, name, detail))

    # what others may look at

    def flags(self) -> dict[str, bool]:
        """All flags as the last tick left them."""
        return {name: self._memory[self._names.cells[name]] for name in self.sequence.flags}

    def registers(self) -> dict[str, float]:
        """Everything that it remembers; a bad value reads 0.0 with its `.bad` at 1.0.

        Keys: `state` (index), `entered` (clock tick); `input.N`, `input.N.bad`, `input.N.heard`
        (clock tick); `estimate.N`, `estimate.N.bad`, `estimate.N.REGISTER`; `flag.N`; `hold.EXIT`
        (ticks counted); `loop.N.REGISTER`; `function.N.until` (clock tick, 0 when off);
        `function.N.demand` (rad or 0..1).
        """
        memory, names = self._memory, self._names
        found = {"state": float(memory[STATE]), "entered": float(self._entered)}
        for group in ("input", "estimate"):
            declared = self.sequence.inputs if group == "input" else self.sequence.estimates
            for name in declared:
                value = memory[names.cells[name]]
                found[f"{group}.{name}"] = 0.0 if value is None else float(value)
                found[f"{group}.{name}.bad"] = float(value is None)
        for name, cell in names.heard.items():
            found[f"input.{name}.heard"] = float(memory[cell])
        for name, (_, block) in self._blocks.items():
            for register in block.registers:
                found[f"estimate.{name}.{register}"] = getattr(block, register)
        for name, flag in self.flags().items():
            found[f"flag.{name}"] = float(flag)
        for watches in self._watches.values():
            for watch in watches:
                found[f"hold.{watch.exit.name}"] = watch.count
        for name, loop in self._loops.items():
            for register in loop.registers:
                found[f"loop.{name}.{register}"] = getattr(loop, register)
        found.update(self._actuators.registers())
        return found
