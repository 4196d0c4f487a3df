"""The loop that closes the world over the targets, one world tick after another.

Order within a world tick: crew and faults take effect; computers that are due run in the order in
which the scenario lists them; the world moves on with what they drive. What the world did in that
step is stamped with the tick at its end.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from sequencer.checks import judge
from sequencer.flight.computer import Computer
from sequencer.flight.ending import facts_of, outcome_of
from sequencer.flight.planned import Plan
from sequencer.flight.recorder import Recorder
from sequencer.flight.target import Target, open_target
from sequencer.record import FLIGHT_OVER, FlightRecord
from sequencer.record.logic import LogicSignals
from sequencer.scenario import Scenario
from sequencer.scenario.signals import memories
from sequencer.world import World

__all__ = ["fly"]


def fly(scenario: Scenario, *, on: str = "model", executor: str = "reference") -> FlightRecord:
    """Fly one scenario once.

    on        target that executes every computer's sequence (see sequencer.flight.target)
    executor  which of our executors the target "model" uses

    Returns the record with the verdicts of all requirements. Raises UsageError for an unknown
    target or executor.
    """
    targets: dict[str, Target] = {}
    try:
        for name, logic in scenario.sequences.items():
            targets[name] = open_target(on, logic, executor)
        return _fly(scenario, targets)
    finally:
        for target in targets.values():
            target.close()


def _fly(scenario: Scenario, targets: Mapping[str, Target]) -> FlightRecord:
    rate = scenario.rate_hz
    world = World(scenario.params)
    commands = world.commands
    recorder = Recorder(scenario, world)
    computers = [
        Computer(scenario.sequences[name], target, rate, scenario.wires[name], commands)
        for name, target in targets.items()
    ]
    for reader in computers:
        for sender in reader.senders:
            reader.connect(scenario.sequences[sender])
    plan = Plan(scenario, {computer.name: computer for computer in computers}, recorder)
    after_down = round(scenario.after_touchdown_s * rate)
    for computer in computers:
        computer.sense(world.out["value"], world.out["fresh"])

    # times of messages in a unit that tick and delay share: whole numbers compare exactly
    units_per_s = math.lcm(rate, scenario.link_delay.denominator)
    units_per_tick = units_per_s // rate
    delay = int(scenario.link_delay * units_per_s)

    values, fresh = world.out["value"], world.out["fresh"]
    tick = 0
    while tick < scenario.stop_ticks:
        recorder.begin(tick)
        plan.apply(tick, commands)
        for computer in computers:
            if not computer.due(tick) or not computer.wake(tick, recorder.note):
                continue
            if plan.is_late(computer.name):
                recorder.note("late", computer.name, "tick skipped")
                continue
            message = computer.run(tick, tick * units_per_tick, delay, recorder.note)
            if message is not None and not plan.is_cut(computer.name):
                for reader in computers:
                    if computer.name in reader.mailboxes:
                        reader.mailboxes[computer.name].post(message)
        recorder.keep()
        world.step()
        tick += 1
        recorder.after(tick)
        for computer in computers:
            computer.sense(values, fresh)
        if recorder.down_tick is not None and tick - recorder.down_tick >= after_down:
            kind, _, name = FLIGHT_OVER.partition(" ")
            recorder.note(kind, name, "over")
            break

    record = FlightRecord(
        scenario=scenario.name,
        rate_hz=rate,
        ticks=tick,
        events=recorder.events,
        signals=recorder.signals(tick),
        outcome=outcome_of(scenario.vehicle, world),
        facts=facts_of(world, rate),
        hashes=scenario.hashes,
        logic=LogicSignals(recorder.events, tick, memories(scenario.sequences, scenario.faults)),
    )
    return replace(record, verdicts=judge(record, scenario.requirements))
