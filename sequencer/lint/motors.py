"""Rules about what lights a motor."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

from sequencer.expressions import Node as Expression
from sequencer.lint.circuits import (
    channels_of,
    continuity_inputs,
    motors_of,
    needs_vehicle,
    no_motor,
)
from sequencer.lint.findings import Claim, Undecided, rule
from sequencer.lint.possible import World
from sequencer.lint.reading import exits_of, sources
from sequencer.lint.states import cut_short, walked
from sequencer.lint.subject import Subject
from sequencer.lint.walking import Node, Step, Walk, steps_text
from sequencer.sequence import Exit, Sequence

__all__ = ["RULES"]


# --- continuity -----------------------------------------------------------------------------------


def _needs_all(subject: Subject) -> str | None:
    lack = no_motor(subject) or needs_vehicle(subject)
    if lack is None and not subject.complete:
        lack = "messages come from computers whose sequence is not known"
    return lack


@rule(
    "ignition-without-continuity",
    "a path to an igniter on which nobody has asked for its continuity",
    "an open igniter that is found out in the air is a motor that does not light when it must",
    needs=_needs_all,
)
def ignition_without_continuity(subject: Subject) -> Iterator[Claim | Undecided]:
    """An exit asks for it if its condition reads it, be it through estimates and messages."""
    for logic in subject.sequences.values():
        walk = walked(subject, logic)
        if not walk.whole and motors_of(logic):
            yield cut_short(logic, "whether continuity is asked for on every path")
        for name in motors_of(logic):
            for channel in channels_of(subject, logic, name):
                inputs = continuity_inputs(subject, logic, channel)
                wanted = {(logic.name, put) for put in inputs}
                if not wanted:
                    what = f"no input reads the continuity of channel '{channel.name}' of '{name}'"
                    yield Claim(logic, ("functions", name), what, (name, channel.name))
                    continue
                path = _unasked(subject, walk, name, wanted)
                if path is not None:
                    listed = " or ".join(f"'{put}'" for put in inputs)
                    what = f"a path leads to '{name}' on which no exit asks for {listed}"
                    yield Claim(
                        logic,
                        ("functions", name),
                        what,
                        (name, *inputs),
                        tuple(steps_text(path)),
                    )


def _unasked(
    subject: Subject, walk: Walk, name: str, wanted: set[tuple[str, str]]
) -> tuple[Step, ...] | None:
    """The shortest way to an igniter on which no exit depends on any of `wanted`."""
    return walk.path(
        lambda step: bool(step.fires([name])),
        through=lambda step: not _asks(subject, walk.logic, step.way, wanted),
    )


def _asks(
    subject: Subject, logic: Sequence, way: Exit | None, wanted: set[tuple[str, str]]
) -> bool:
    if way is None:
        return False
    key = ("behind", logic.path, way.name)
    if key not in subject.memory:
        subject.memory[key] = _behind(subject, logic, way.condition, frozenset())
    known = subject.memory[key]
    assert isinstance(known, frozenset)  # noqa: S101 - put there above
    return bool(known & wanted)


def _behind(
    subject: Subject, logic: Sequence, node: Expression, asked: frozenset[tuple[str, str]]
) -> frozenset[tuple[str, str]]:
    """(computer, input) that a condition depends on, through estimates and messages.

    Behind a flag that another computer sends stands what all the exits that set it depend on.
    """
    found: set[tuple[str, str]] = set()
    for put in sources(logic, node).inputs:
        message = logic.inputs[put].message
        if message is None:
            found.add((logic.name, put))
        elif message not in asked and message[0] in subject.sequences:
            found |= _sent(subject, message, asked | {message})
    return frozenset(found)


def _sent(
    subject: Subject, message: tuple[str, str], asked: frozenset[tuple[str, str]]
) -> frozenset[tuple[str, str]]:
    sender, field = subject.sequences[message[0]], message[1]
    if field in sender.estimates:
        nodes = [node for _, node in sender.estimates[field].block.arguments]
        return frozenset().union(*(_behind(subject, sender, node, asked) for node in nodes))
    setters = [way for way in exits_of(sender) if _sets(sender, way, field)]
    each = [_behind(subject, sender, way.condition, asked) for way in setters]
    return frozenset.intersection(*each) if each else frozenset()


def _sets(logic: Sequence, way: Exit, flag: str) -> bool:
    left = (command for name in way.sources for command in logic.states[name].on_leave)
    commands = (*left, *way.actions, *logic.states[way.to].on_entry)
    return any(one.verb == "set" and one.name == flag for one in commands)


# --- never under a parachute ----------------------------------------------------------------------


@rule(
    "motor-under-parachute",
    "a motor that is lit in flight, and that nothing holds back once a parachute is out",
    "a motor lit under a parachute burns it; a fired parachute inhibits the landing motors, never "
    "the reverse",
    needs=no_motor,
)
def motor_under_parachute(subject: Subject) -> Iterator[Claim | Undecided]:
    """An inhibit has to be in place by the flags alone, whatever state it comes to."""
    for logic in subject.sequences.values():
        chutes = [one.name for one in logic.functions.values() if one.kind == "parachute"]
        walk = walked(subject, logic)
        if not walk.whole and chutes and motors_of(logic):
            yield cut_short(logic, "whether a motor can be lit under a parachute")
        every = [step for steps in walk.steps.values() for step in steps]
        for name in motors_of(logic):
            late = any(
                step.way is not None and step.fires([name]) and _in_flight(logic, step.source)
                for step in every
            )
            if not late:
                continue
            fired = [step for step in every if step.way is not None and step.fires(chutes)]
            open_ = _first_open(logic, walk, fired, name)
            if open_ is not None:
                step, node = open_
                chute = step.fires(chutes)[0]
                what = (
                    f"nothing holds '{name}' back once '{chute}' has been fired: in state "
                    f"'{node.state}' no inhibit is in place by the flags"
                )
                yield Claim(logic, ("functions", name), what, (name, chute))


def _in_flight(logic: Sequence, node: Node | None) -> bool:
    return node is not None and logic.states[node.state].phase == "flight"


def _first_open(
    logic: Sequence, walk: Walk, fired: list[Step], name: str
) -> tuple[Step, Node] | None:
    """A parachute fired, and a node of the same flight after it in which nothing blocks `name`."""
    conditions = [logic.inhibits[one].condition for one in logic.functions[name].inhibits]
    seen: set[Node] = set()
    for step in fired:
        queue = deque([step.target])
        while queue:
            node = queue.popleft()
            if node in seen or not _in_flight(logic, node):
                continue
            seen.add(node)
            here = World(logic, {flag: flag in node.flags for flag in logic.flags})
            held = any(not can.false for can in map(here.can, conditions))
            if not held:
                return step, node
            queue.extend(each.target for each in walk.steps.get(node, ()) if each.way is not None)
    return None


RULES = (ignition_without_continuity, motor_under_parachute)
