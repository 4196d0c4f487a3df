"""Walks a sequence from power-up: every pair of state and flags that it can be in, and the ways.

A reboot may come in any of them, and leaves only what is retained. Flags have the values that the
commands on the way have left; what is measured may be anything that a single condition allows
(`sequencer.lint.possible`). That an earlier exit goes before a later one is not looked at here: too
many ways are walked, never too few.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from sequencer.lint.possible import World
from sequencer.sequence import Command, Exit, Sequence

__all__ = ["Node", "Step", "Walk", "landed", "power_up", "reboot", "steps_text", "walk_of"]

#: a sequence with more pairs of state and flags than this is not walked to its end
MOST_NODES = 4_000


@dataclass(frozen=True, slots=True)
class Node:
    """A state, with the flags that are set in it."""

    state: str
    flags: frozenset[str]


@dataclass(frozen=True, slots=True)
class Step:
    """One way from one node to another.

    source      None for power-up
    way         the exit; None for power-up and for a reboot
    commands    what is commanded on it, in order: on_leave, do, on_entry
    """

    source: Node | None
    way: Exit | None
    target: Node
    commands: tuple[Command, ...]

    def fires(self, names: Iterable[str]) -> tuple[str, ...]:
        """Which of these functions are commanded on it."""
        wanted = set(names)
        return tuple(one.name for one in self.commands if one.name in wanted and one.verb != "cut")


@dataclass(frozen=True, slots=True, eq=False)
class Walk:
    """All nodes that can be reached from power-up, and the steps between them.

    whole   false where it was given up: there are more than MOST_NODES
    """

    logic: Sequence
    start: Step
    steps: Mapping[Node, tuple[Step, ...]]
    whole: bool

    @property
    def nodes(self) -> Iterable[Node]:
        """In the order in which they are reached, nearest first."""
        return self.steps

    def world(self, node: Node) -> World:
        """What is known in a node."""
        return world(self.logic, node)

    def path(
        self,
        goal: Callable[[Step], bool],
        *,
        start: Step | None = None,
        through: Callable[[Step], bool] = lambda _: True,
    ) -> tuple[Step, ...] | None:
        """The shortest way from power-up (or `start`) over steps that `through` lets pass.

        It ends with the first step that is a `goal`, which `through` must let pass too.
        """
        begin = start or self.start
        if not through(begin):
            return None
        came: dict[Node, tuple[Step, ...]] = {begin.target: (begin,)}
        if goal(begin):
            return (begin,)
        queue = deque([begin.target])
        while queue:
            node = queue.popleft()
            for step in self.steps.get(node, ()):
                if not through(step):
                    continue
                if goal(step):
                    return (*came[node], step)
                if step.target not in came:
                    came[step.target] = (*came[node], step)
                    queue.append(step.target)
        return None


def world(logic: Sequence, node: Node) -> World:
    """What is known in a node: its state and every flag."""
    return World(logic, {name: name in node.flags for name in logic.flags}, node.state)


def landed(logic: Sequence, step: Step) -> World:
    """What inhibits see on the tick of a step: where it has led, and estimates of before it."""
    before = None if step.source is None or step.way is None else world(logic, step.source)
    return replace(world(logic, step.target), before=before)


def power_up(logic: Sequence) -> Step:
    """The first power-up: every flag has its initial value."""
    initial = frozenset(name for name, flag in logic.flags.items() if flag.initial)
    return _boot(logic, None, initial)


def reboot(logic: Sequence, node: Node) -> Step:
    """What a reboot in a node leads to: only retained flags are as they were."""
    kept = frozenset(
        name
        for name, flag in logic.flags.items()
        if (name in node.flags if flag.retained else flag.initial)
    )
    return _boot(logic, node, kept)


def _boot(logic: Sequence, source: Node | None, flags: frozenset[str]) -> Step:
    commands = logic.states[logic.start].on_entry
    return Step(source, None, Node(logic.start, _after(flags, commands)), commands)


def _after(flags: frozenset[str], commands: Iterable[Command]) -> frozenset[str]:
    for one in commands:
        if one.verb == "set":
            flags |= {one.name}
        elif one.verb == "clear":
            flags -= {one.name}
    return flags


def step_of(logic: Sequence, node: Node, way: Exit) -> Step:
    """Where an exit leads from a node."""
    commands = (
        *logic.states[node.state].on_leave,
        *way.actions,
        *logic.states[way.to].on_entry,
    )
    return Step(node, way, Node(way.to, _after(node.flags, commands)), commands)


def walk_of(logic: Sequence, start: Step | None = None) -> Walk:
    """Everything that can be reached from power-up, or from `start`."""
    begin = start or power_up(logic)
    steps: dict[Node, tuple[Step, ...]] = {}
    queue = deque([begin.target])
    known = {begin.target}
    while queue and len(steps) < MOST_NODES:
        node = queue.popleft()
        here = world(logic, node)
        steps[node] = (
            *(
                step_of(logic, node, way)
                for way in logic.eligible_exits(node.state)
                if here.takes(way)
            ),
            reboot(logic, node),
        )
        for step in steps[node]:
            if step.target not in known:
                known.add(step.target)
                queue.append(step.target)
    return Walk(logic, begin, steps, whole=not queue)


def steps_text(path: Iterable[Step]) -> Iterator[str]:
    """A path for a reader, a line each step."""
    for step in path:
        if step.way is None:
            moment = "power-up" if step.source is None else "reboot"
            yield f"{moment}: {step.target.state}"
        else:
            yield f"'{step.way.name}' (line {step.way.line}): {step.target.state}"
