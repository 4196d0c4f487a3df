"""Rules about the way to a parachute: nothing that fails may keep it in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from sequencer.lint.circuits import is_switch
from sequencer.lint.findings import Claim, Undecided, rule
from sequencer.lint.possible import World
from sequencer.lint.reading import sources
from sequencer.lint.states import cut_short, walked
from sequencer.lint.subject import Subject
from sequencer.lint.walking import Node, Step, Walk, landed, reboot, step_of
from sequencer.sequence import Sequence

__all__ = ["RULES"]

#: how a sensor fails, and what its age does then
FAILURES = {"grow": "falls silent", "stay": "goes on with a wrong value"}


def _parachutes(logic: Sequence) -> tuple[str, ...]:
    return tuple(one.name for one in logic.functions.values() if one.kind == "parachute")


def _looked_at(subject: Subject) -> Iterator[Sequence]:
    """Sequences that have a parachute to fire."""
    yield from (logic for logic in subject.sequences.values() if _parachutes(logic))


def _no_parachute(subject: Subject) -> str | None:
    return None if any(_looked_at(subject)) else "no sequence has a parachute"


@dataclass(frozen=True, slots=True, eq=False)
class _Ways:
    """The flight of one sequence: nodes of phase flight, and which of them have a parachute out."""

    subject: Subject
    walk: Walk
    nodes: tuple[Node, ...]
    out: frozenset[Node]

    @property
    def logic(self) -> Sequence:
        return self.walk.logic

    def waiting(self) -> Iterator[Node]:
        """Nodes of phase flight in which the parachute may still be in."""
        return (node for node in self.nodes if node not in self.out)

    def fires(self, step: Step) -> bool:
        """Whether a step fires a parachute that no flag and no state holds back.

        Inhibits that something measured can put in place are looked at by a rule of their own.
        """
        world = landed(self.logic, step)
        for name in step.fires(_parachutes(self.logic)):
            held = False
            for inhibit in self.logic.functions[name].inhibits:
                condition = self.logic.inhibits[inhibit].condition
                if sources(self.logic, condition).sensed:
                    continue
                held = held or not world.can(condition).false
            if not held:
                return True
        return False

    def reaching(self, takes: Callable[[Step], bool]) -> set[Node]:
        """Nodes of phase flight from which a parachute can be fired over steps that can be taken.

        A way through another phase is another flight, and does not count.
        """
        inward: dict[Node, list[Node]] = {}
        found: set[Node] = set()
        for node in self.nodes:
            for step in self.walk.steps[node]:
                if step.way is None or not takes(step):
                    continue
                there = step.target
                if self.fires(step):
                    found.add(node)
                else:
                    inward.setdefault(there, []).append(node)
        # entering a state may have fired it already: then `out` knows
        queue = list(found)
        while queue:
            for node in inward.get(queue.pop(), ()):
                if node not in found:
                    found.add(node)
                    queue.append(node)
        return found


def _world(logic: Sequence, node: Node, lost: Iterable[str] = (), ages: str = "grow") -> World:
    flags = {name: name in node.flags for name in logic.flags}
    return World(logic, flags, node.state, frozenset(lost), ages)


def _ways(subject: Subject, logic: Sequence) -> _Ways:
    key = ("ways", logic.path)
    if key not in subject.memory:
        walk = walked(subject, logic)
        nodes = tuple(node for node in walk.nodes if logic.states[node.state].phase == "flight")
        subject.memory[key] = _Ways(subject, walk, nodes, frozenset(_out(walk)))
    ways = subject.memory[key]
    assert isinstance(ways, _Ways)  # noqa: S101 - put there above
    return ways


def _out(walk: Walk) -> set[Node]:
    """Nodes in which a parachute has been commanded on every way in.

    A flag that is only ever set together with that command tells it too: also after a reboot.
    """
    logic = walk.logic
    names = _parachutes(logic)
    every = [walk.start, *(step for steps in walk.steps.values() for step in steps)]
    markers = {name for name, flag in logic.flags.items() if not flag.initial}
    for step in every:
        if not step.fires(names):
            markers -= {one.name for one in step.commands if one.verb == "set"}
    into: dict[Node, list[Step]] = {}
    for step in every:
        into.setdefault(step.target, []).append(step)
    out = set(walk.nodes)
    shrinking = True
    while shrinking:
        shrinking = False
        for node in tuple(out):
            told = bool(markers & node.flags)
            if not told and not all(_brings(step, names, out) for step in into.get(node, ())):
                out.discard(node)
                shrinking = True
    return out


def _brings(step: Step, names: Iterable[str], out: set[Node]) -> bool:
    return bool(step.fires(names)) or (step.way is not None and step.source in out)


@rule(
    "no-way-to-parachute",
    "a state of flight from which no way leads to a parachute",
    "whatever goes wrong there, the vehicle comes down as it is",
    needs=_no_parachute,
)
def no_way_to_parachute(subject: Subject) -> Iterator[Claim | Undecided]:
    """With everything measured as it should be; states in which it has been fired need none."""
    for logic in _looked_at(subject):
        ways = _ways(subject, logic)
        if not ways.walk.whole:
            yield cut_short(logic, "from which states a way leads to a parachute")
            continue
        reaching = ways.reaching(lambda _: True)
        for name in _names(node for node in ways.waiting() if node not in reaching):
            what = f"no way leads from state '{name}' to a parachute"
            yield Claim(logic, logic.states[name].line, what, (name,))


@rule(
    "sensor-keeps-parachute-in",
    "a state of flight in which one failed input leaves no way to a parachute",
    "no failed sensor may keep a parachute in: behind every measured condition that brings it out "
    "stands a timer",
    needs=_no_parachute,
)
def sensor_keeps_parachute_in(subject: Subject) -> Iterator[Claim | Undecided]:
    """Each input by itself: silent for ever, or answering nonsense for ever."""
    for logic in _looked_at(subject):
        ways = _ways(subject, logic)
        if not ways.walk.whole:
            yield cut_short(logic, "whether a failed input keeps a parachute in")
            continue
        found = _stuck(ways)
        for (name, put), failures in found.items():
            how = " or ".join(failures)
            what = f"in state '{name}' no way leads to a parachute once '{put}' {how}"
            yield Claim(logic, logic.states[name].line, what, (name, put))


def _stuck(ways: _Ways) -> dict[tuple[str, str], list[str]]:
    """(state, input) -> the failures of that input which leave no way to a parachute."""
    logic = ways.logic
    healthy = ways.reaching(lambda _: True)
    reads = {
        way: sources(logic, way.condition).sensed | {way.fresh}
        for state in logic.states
        for way in logic.eligible_exits(state)
    }
    found: dict[tuple[str, str], list[str]] = {}
    for put in logic.inputs:
        for ages, failure in FAILURES.items():

            def takes(step: Step, put: str = put, ages: str = ages) -> bool:
                assert step.way is not None and step.source is not None  # noqa: S101, PT018
                if put not in reads[step.way]:
                    return True
                return _world(logic, step.source, (put,), ages).takes(step.way)

            reaching = ways.reaching(takes)
            stuck = (
                node
                for node in ways.waiting()
                if node in healthy and node not in reaching and not _landing(ways, node, takes)
            )
            for name in _names(stuck):
                found.setdefault((name, put), []).append(failure)
    return found


def _landing(ways: _Ways, node: Node, takes: Callable[[Step], bool]) -> bool:
    """Whether it is landing on motors that burn: a parachute would come too late, or burn.

    So it is where a motor was lit in flight on the way in, or one state before, and every exit
    that is left ends the flight.
    """
    logic = ways.logic
    left = [step for step in ways.walk.steps[node] if step.way is not None and takes(step)]
    if not left or any(logic.states[step.target.state].phase != "after" for step in left):
        return False
    motors = [one.name for one in logic.functions.values() if one.kind == "igniter"]
    into = [
        step
        for source in ways.nodes
        for step in ways.walk.steps[source]
        if step.target == node and step.way is not None
    ]
    lit = [
        bool(step.fires(motors))
        or any(
            bool(before.fires(motors))
            for source in ways.nodes
            for before in ways.walk.steps[source]
            if before.target == step.source and before.way is not None
        )
        for step in into
    ]
    return bool(lit) and all(lit)


@rule(
    "inhibit-keeps-parachute-in",
    "an inhibit of a parachute that something measured can hold in place for ever",
    "an inhibit protects people on the ground; a sensor that is stuck must not use it to keep the "
    "parachute in",
    needs=_no_parachute,
)
def inhibit_keeps_parachute_in(subject: Subject) -> Iterator[Claim]:
    """The crew's switches are no sensors: a key that is out on the ground is out in the air."""
    for logic in _looked_at(subject):
        found: dict[tuple[str, str], list[str]] = {}
        for function in _parachutes(logic):
            for name in logic.functions[function].inhibits:
                condition = logic.inhibits[name].condition
                for put in sorted(sources(logic, condition).sensed):
                    if is_switch(subject, logic, put):
                        continue
                    free = all(
                        World(logic, lost=frozenset({put}), ages=ages).can(condition).false
                        for ages in FAILURES
                    )
                    if not free:
                        found.setdefault((name, put), []).append(function)
        for (name, put), functions in found.items():
            kept = " and ".join(f"'{one}'" for one in functions)
            what = f"inhibit '{name}' keeps {kept} in for ever if '{put}' stays at a wrong value"
            yield Claim(logic, ("inhibits", name), what, (name, put))


@rule(
    "reboot-keeps-parachute-in",
    "a state of flight in which a reboot leaves no way to a parachute",
    "a brown-out in the air is no rare thing: what a computer must know after it has to be in "
    "retained flags, and be asked for in the state in which it starts",
    needs=_no_parachute,
)
def reboot_keeps_parachute_in(subject: Subject) -> Iterator[Claim | Undecided]:
    """From the start state straight into a state of flight, or to the parachute itself."""
    for logic in _looked_at(subject):
        ways = _ways(subject, logic)
        if not ways.walk.whole:
            yield cut_short(logic, "whether a reboot keeps a parachute in")
            continue
        reaching = ways.reaching(lambda _: True) | ways.out
        lost: list[str] = []
        for node in ways.waiting():
            booted = reboot(logic, node)
            if node.state in lost or booted.target in ways.out or booted.target in reaching:
                continue
            here = _world(logic, booted.target)
            onward = [
                step_of(logic, booted.target, way)
                for way in logic.eligible_exits(booted.target.state)
                if here.takes(way)
            ]
            saved = ways.fires(booted) or any(
                step.target in reaching or ways.fires(step) for step in onward
            )
            if not saved:
                lost.append(node.state)
        if lost:
            listed = ", ".join(f"'{name}'" for name in lost)
            what = (
                f"after a reboot in {listed} no way leads from state '{logic.start}' to a parachute"
            )
            yield Claim(logic, logic.states[logic.start].line, what, (*lost, logic.start))


def _names(nodes: Iterable[Node]) -> list[str]:
    """Their states, each once."""
    return list(dict.fromkeys(node.state for node in nodes))


RULES = (
    no_way_to_parachute,
    sensor_keeps_parachute_in,
    inhibit_keeps_parachute_in,
    reboot_keeps_parachute_in,
)
