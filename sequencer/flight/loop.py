"""The loop that closes the world over the targets, one world tick after another.

Order within a world tick: crew and faults take effect; computers that are due run in the order in
which the scenario lists them; the world moves on with what they drive. What the world did in that
step is stamped with the tick at its end.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from sequencer.checks import judge
from sequencer.flight.computer import Computer
from sequencer.flight.ending import facts_of, outcome_of
from sequencer.flight.planned import Plan
from sequencer.flight.recorder import Recorder
from sequencer.flight.target import Target, open_target
from sequencer.record import FlightRecord
from sequencer.scenario import Scenario
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
    computers = [_computer(scenario, name, target) for name, target in targets.items()]
    for reader in computers:
        for sender in reader.senders:
            reader.connect(scenario.sequences[sender])
    plan = Plan(scenario, {computer.name: computer for computer in computers})
    after_down = round(scenario.after_touchdown_s * rate)
    for computer in computers:
        computer.sense(world.out["value"], world.out["fresh"])

    tick = 0
    while tick < scenario.stop_ticks:
        recorder.begin(tick)
        plan.apply(tick, recorder, commands)
        now = Fraction(tick, rate)
        for computer in computers:
            if not computer.due(tick) or not computer.wake(tick, recorder.note):
                continue
            if plan.is_late(computer.name):
                recorder.note("late", computer.name, "tick skipped")
                continue
            message = computer.run(tick, now, commands, recorder.note, scenario.link_delay)
            if message is not None and not plan.is_cut(computer.name):
                for reader in computers:
                    if computer.name in reader.mailboxes:
                        reader.mailboxes[computer.name].post(message)
        recorder.keep()
        world.step()
        tick += 1
        recorder.after(tick)
        for computer in computers:
            computer.sense(world.out["value"], world.out["fresh"])
        if recorder.down_tick is not None and tick - recorder.down_tick >= after_down:
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
    )
    return replace(record, verdicts=judge(record, scenario.requirements))


def _computer(scenario: Scenario, name: str, target: Target) -> Computer:
    wires = scenario.wires[name]
    return Computer(
        scenario.sequences[name],
        target,
        scenario.rate_hz,
        sensors=wires.sensors,
        channels=wires.channels,
        servos=wires.servos,
    )
