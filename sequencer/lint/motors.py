"""Rules about what lights a motor."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sequencer.expressions import Node as Expression
from sequencer.lint.circuits import channels_of, continuity_inputs, needs_vehicle, switches_of
from sequencer.lint.findings import Claim, Undecided, rule
from sequencer.lint.possible import Can, World
from sequencer.lint.reading import exits_of, sources
from sequencer.lint.states import cut_short, walked
from sequencer.lint.subject import Subject
from sequencer.lint.walking import MOST_NODES, Node, Step, Walk, landed, steps_text, world
from sequencer.sequence import Exit, Sequence

__all__ = ["RULES"]

_NOTHING: frozenset[str] = frozenset()


def _motors(logic: Sequence) -> tuple[str, ...]:
    return tuple(one.name for one in logic.functions.values() if one.kind == "igniter")


def _no_motor(subject: Subject) -> str | None:
    some = any(_motors(logic) for logic in subject.sequences.values())
    return None if some else "no sequence lights a motor"


# --- two independent inhibits on every path -------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Place:
    """A node, with what has taken the inhibits away that look at flags and the state alone.

    asked   inputs that the last exit which asked for any has read
    causes  per such inhibit, inputs read by the exit that took it away; None while it is in place
    """

    node: Node
    asked: frozenset[str]
    causes: tuple[frozenset[str] | None, ...]


@dataclass(frozen=True, slots=True)
class _Met:
    """An inhibit that a path has come past, and the inputs that it hangs on."""

    text: str
    hangs_on: frozenset[str]


class _Inhibits:
    """The inhibits of one igniter, and which of them a path to it comes past."""

    def __init__(self, subject: Subject, logic: Sequence, function: str) -> None:
        self._logic = logic
        self._switches = switches_of(subject, logic, function)
        names = logic.functions[function].inhibits
        sensed = {name: sources(logic, logic.inhibits[name].condition).sensed for name in names}
        self._sensing = {name: read for name, read in sensed.items() if read}
        self._minding = [name for name in names if not sensed[name]]

    def begin(self, walk: Walk) -> _Place:
        """Power-up: an inhibit that is not in place then is never come past."""
        node = walk.start.target
        causes = tuple(None if self._can(name, node).true else _NOTHING for name in self._minding)
        return _Place(node, _NOTHING, causes)

    def after(self, place: _Place, step: Step) -> _Place:
        """Where a step leads."""
        asked = place.asked
        if step.way is None:
            asked = _NOTHING
        else:
            read = sources(self._logic, step.way.condition).sensed
            if step.way.fresh is not None:
                read |= {step.way.fresh}
            asked = read or asked
        causes = tuple(
            None if self._can(name, step.target).true else (asked if cause is None else cause)
            for name, cause in zip(self._minding, place.causes, strict=True)
        )
        return _Place(step.target, asked, causes)

    def met(self, place: _Place, step: Step) -> list[_Met] | None:
        """The inhibits that the path to here has come past; None where one surely blocks."""
        found = []
        here = landed(self._logic, step)
        for name in (*self._sensing, *self._minding):
            can = here.can(self._logic.inhibits[name].condition)
            if can.true and not can.false:
                return None
            if name in self._sensing and can.true:
                found.append(_Met(f"'{name}'", self._sensing[name]))
        for name, cause in zip(self._minding, place.causes, strict=True):
            if cause:
                found.append(_Met(f"'{name}'", cause))
        found += [_Met(f"'{name}' in the circuit", frozenset({name})) for name in self._switches]
        return found

    def _can(self, name: str, node: Node) -> Can:
        return world(self._logic, node).can(self._logic.inhibits[name].condition)


def _independent(met: list[_Met]) -> int:
    """How many of them hang on nothing in common, at most."""
    if not met:
        return 0
    first, *rest = met
    apart = [other for other in rest if not other.hangs_on & first.hangs_on]
    return max(_independent(rest), 1 + _independent(apart))


@rule(
    "few-inhibits",
    "a path from power-up to a motor that comes past fewer than two independent inhibits",
    "one fault, in one contact, flag or line of logic, lights a motor with people beside it",
    needs=_no_motor,
)
def few_inhibits(subject: Subject) -> Iterator[Claim | Undecided]:
    """An inhibit counts if it was in place and what it hangs on is not that of another.

    One that reads inputs hangs on them. One that looks at flags or the state hangs on the inputs
    that were asked by the exit which took it away. A key or plug in the circuit hangs on itself.
    """
    for logic in subject.sequences.values():
        walk = walked(subject, logic)
        done: set[tuple[object, ...]] = set()
        for name in _motors(logic):
            alike = (logic.functions[name].inhibits, switches_of(subject, logic, name), name)
            if alike in done:
                continue
            done.add(alike)
            path = _least_guarded(_Inhibits(subject, logic, name), walk, name)
            if isinstance(path, str):
                yield Undecided(logic, ("functions", name), f"inhibits before '{name}'", path)
            elif path is not None:
                steps, met, count = path
                known = ", ".join(one.text for one in met) or "none"
                what = f"a path to '{name}' comes past {count} independent inhibits, not two"
                details = (*steps_text(steps), f"fires {name}; inhibits met: {known}")
                yield Claim(logic, ("functions", name), what, (name,), details)


def _least_guarded(
    inhibits: _Inhibits, walk: Walk, name: str
) -> tuple[tuple[Step, ...], list[_Met], int] | str | None:
    """The shortest path that is guarded too little, what it meets and how many count."""
    begin = inhibits.begin(walk)
    came: dict[_Place, tuple[_Place, Step] | None] = {begin: None}
    queue = deque([begin])
    while queue:
        place = queue.popleft()
        for step in walk.steps.get(place.node, ()):
            there = inhibits.after(place, step)
            if step.fires([name]):
                met = inhibits.met(there, step)
                if met is not None and _independent(met) < 2:
                    return (*_way(came, place, walk), step), met, _independent(met)
            if there not in came:
                came[there] = place, step
                queue.append(there)
        if len(came) > MOST_NODES:
            return f"there are more than {MOST_NODES} ways"
    return None


def _way(
    came: Mapping[_Place, tuple[_Place, Step] | None], place: _Place, walk: Walk
) -> tuple[Step, ...]:
    steps: list[Step] = []
    before = came[place]
    while before is not None:
        steps.append(before[1])
        before = came[before[0]]
    return (walk.start, *reversed(steps))


# --- continuity -----------------------------------------------------------------------------------


def _needs_all(subject: Subject) -> str | None:
    lack = _no_motor(subject) or needs_vehicle(subject)
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
        if not walk.whole and _motors(logic):
            yield cut_short(logic, "whether continuity is asked for on every path")
        for name in _motors(logic):
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
    needs=_no_motor,
)
def motor_under_parachute(subject: Subject) -> Iterator[Claim | Undecided]:
    """An inhibit has to be in place by the flags alone, whatever state it comes to."""
    for logic in subject.sequences.values():
        chutes = [one.name for one in logic.functions.values() if one.kind == "parachute"]
        walk = walked(subject, logic)
        if not walk.whole and chutes and _motors(logic):
            yield cut_short(logic, "whether a motor can be lit under a parachute")
        every = [step for steps in walk.steps.values() for step in steps]
        for name in _motors(logic):
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


RULES = (few_inhibits, ignition_without_continuity, motor_under_parachute)
