"""The loop that closes the world over the targets, one world tick after another.

Order within a world tick: crew and faults take effect; computers that are due run in the order in
which the scenario lists them; the world moves on with what they drive. What the world did in that
step, and a computer that lost its power in it, is stamped with the tick at its end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from sequencer.checks import judge
from sequencer.errors import TargetError
from sequencer.flight.beside import Beside
from sequencer.flight.computer import Computer
from sequencer.flight.ending import facts_of, outcome_of
from sequencer.flight.links import Links
from sequencer.flight.planned import Plan
from sequencer.flight.power import Power
from sequencer.flight.recorder import Recorder
from sequencer.flight.replay import Replay
from sequencer.flight.samples import Kept, Recipe, Samples, recipes_of
from sequencer.flight.target import Target, check_computers, is_model, open_target
from sequencer.flight.watching import Watch
from sequencer.record import FLIGHT_OVER, Divergence, FlightRecord
from sequencer.record.logic import LogicSignals
from sequencer.scenario import Recording, Scenario
from sequencer.scenario.signals import memories
from sequencer.world import World
from sequencer.world.memory import Memory

__all__ = ["fly", "fly_on", "record_of"]


def fly(
    scenario: Scenario,
    *,
    on: str = "model",
    executor: str = "compiled",
    watch: Watch | None = None,
) -> FlightRecord:
    """Fly one scenario once.

    on        target that executes every computer's sequence (see sequencer.flight.target)
    executor  which of our executors the target "model" uses
    watch     looks at decisions, in targets of its own

    Returns the record with the verdicts of all requirements; what it is about includes the firmware
    that executed it, where a target says so. Beside every target but the model the model runs too,
    and `divergences` tells where they first differed. Raises UsageError for an unknown target or
    executor, and with a target's one line where it fails.
    """
    check_computers(on, scenario.sequences)
    targets: dict[str, Target] = {}
    compared: list[Beside] = []
    try:
        for name, logic in scenario.sequences.items():
            if watch is not None:
                targets[name] = watch.target(logic)
                continue
            targets[name] = target = open_target(
                on, logic, executor, wiring=_wiring(scenario, name)
            )
            if not is_model(on, name):
                targets[name] = beside = Beside(target, logic)
                compared.append(beside)
        try:
            record = fly_on(scenario, targets, _begin(watch, compared))
        except TargetError as error:
            # firmware that has gone astray may well give up then: the same error, and why
            for first in _found(compared, scenario.rate_hz)[:1]:
                error.args = (f"{error}; before that, {first.sentence}",)
            raise
        firmware = {
            f"firmware {name}": facts["firmware"]
            for name, facts in ((name, target.describe()) for name, target in targets.items())
            if "firmware" in facts
        }
        if not firmware and not compared:
            return record
        return replace(
            record,
            hashes={**record.hashes, **firmware},
            divergences=_found(compared, scenario.rate_hz),
            tolerance_s=max(target.tolerance_s for target in targets.values()),
        )
    finally:
        for target in targets.values():
            target.close()


def _wiring(scenario: Scenario, computer: str) -> str:
    """What a computer's firmware must be built for; empty where a log takes the vehicle's place."""
    source = scenario.source
    return "" if isinstance(source, Recording) else source.firmware_wiring(computer)


def _begin(watch: Watch | None, compared: Sequence[Beside]) -> Callable[[int], None] | None:
    """Who wants to know of every world tick, as `fly_on` takes it."""
    if watch is not None:
        return watch.begin

    def begin(tick: int) -> None:
        for each in compared:
            each.now = tick

    return begin if compared else None


def _found(compared: Iterable[Beside], rate_hz: int) -> tuple[Divergence, ...]:
    """Where each first differed from the model, in order of time."""
    found = filter(None, (each.divergence(rate_hz) for each in compared))
    return tuple(sorted(found, key=lambda each: each.tick))


def fly_on(
    scenario: Scenario,
    targets: Mapping[str, Target],
    begin: Callable[[int], None] | None = None,
) -> FlightRecord:
    """Fly one scenario on these targets, one per computer by name; they are left open.

    begin   is told of every world tick before anything happens on it
    """
    rate = scenario.rate_hz
    source = scenario.source
    world: Memory = (
        Replay(scenario.params, source) if isinstance(source, Recording) else World(scenario.params)
    )
    commands = world.commands
    recorder = Recorder(scenario, world)
    computers = {
        name: Computer(
            scenario.sequences[name], target, rate, scenario.wires[name], commands, recorder.note
        )
        for name, target in targets.items()
    }
    everyone = tuple(computers.values())
    for reader in everyone:
        for sender in reader.senders:
            reader.connect(scenario.sequences[sender])
    links = Links(
        scenario,
        {
            name: [each.mailboxes[name] for each in everyone if name in each.mailboxes]
            for name in computers
        },
        recorder.height,
    )
    plan = Plan(scenario, computers, links, recorder)
    power = Power(scenario, computers, recorder.note)
    after_down = round(scenario.after_touchdown_s * rate)
    values, fresh = world.out["value"], world.out["fresh"]
    for computer in everyone:
        computer.sense(values, fresh)

    tick = 0
    while tick < scenario.stop_ticks:
        recorder.begin(tick)
        if begin is not None:
            begin(tick)
        plan.apply(tick, commands)
        for computer in everyone:
            while computer.clock.due(tick):
                message = computer.turn(links.now(tick))
                if message is not None:
                    links.send(computer.name, message, tick)
        recorder.keep()
        world.step()
        tick += 1
        recorder.after(tick)
        power.follow(world.out)
        if links.rise(recorder.height):
            recorder.note("umbilical_parted", "")
        for computer in everyone:
            computer.sense(values, fresh)
        if recorder.down_tick is not None and tick - recorder.down_tick >= after_down:
            kind, _, name = FLIGHT_OVER.partition(" ")
            recorder.note(kind, name, "over")
            break

    logs = {each.name: each.log.length_s for each in everyone if each.log is not None}
    return record_of(scenario, world, recorder.left(tick), logs, recipes_of(scenario))


def record_of(
    scenario: Scenario,
    world: Memory,
    kept: Kept,
    logs: Mapping[str, float],
    recipes: Mapping[str, Recipe],
    *,
    sentences: bool = True,
) -> FlightRecord:
    """The record of a flight that is over, with its verdicts.

    logs        computer -> how long its log is, s
    recipes     of the signals that it has
    sentences   whether verdicts say why
    """
    source, rate = scenario.source, scenario.rate_hz
    lengths = {f"{name}_log_s": length for name, length in logs.items()}
    facts = facts_of(source, world, rate)
    record = FlightRecord(
        scenario=scenario.name,
        rate_hz=rate,
        ticks=kept.ticks,
        events=kept.events,
        signals=Samples(recipes, kept, facts),
        outcome=outcome_of(source, world),
        facts=facts | lengths,
        hashes=scenario.hashes,
        logic=LogicSignals(kept.events, kept.ticks, memories(scenario.sequences, scenario.faults)),
    )
    return replace(record, verdicts=judge(record, scenario.requirements, sentences=sentences))
