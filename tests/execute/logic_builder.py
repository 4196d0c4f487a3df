"""Builds small sequences for the tests of executors: whatever is not said is left out."""

from __future__ import annotations

from pathlib import Path

from sequencer.execute import ReferenceExecutor
from sequencer.expressions import Comparison, Node, Not, Variable
from sequencer.sequence.model import (
    Block,
    Command,
    Estimate,
    Exit,
    Flag,
    Function,
    Inhibit,
    Input,
    Limit,
    Loop,
    Publication,
    Sequence,
    State,
)

NAN = float("nan")


def var(name: str) -> Node:
    return Variable(name)


def above(left: str, right: str) -> Node:
    return Comparison(">", Variable(left), Variable(right))


def no(name: str) -> Node:
    return Not(Variable(name))


def commands(*texts: str) -> tuple[Command, ...]:
    """ "fire motor", "move fins out" ..."""
    return tuple(Command(*text.split()) for text in texts)


def way(name, sources, to, when, *, hold=1, fresh=None, do=(), common=False):
    sources = (sources,) if isinstance(sources, str) else tuple(sources)
    return Exit(name, sources, to, when, hold, fresh, commands(*do), common, 1, "")


def state(name, *exits, entry=(), leave=(), loops=()):
    return State(name, "flight", commands(*entry), commands(*leave), exits, tuple(loops), 1)


def estimate(name, kind, *arguments, unit="1", gate=None, subject=None, **coefficients):
    block = Block(kind, arguments, tuple(coefficients.items()), gate, subject)
    return Estimate(name, unit, block, is_cosine=kind == "attitude")


def named(items):
    return {item.name: item for item in items}


def logic(
    *states,
    numbers=("x",),
    truths=(),
    limits=None,
    flags=(),
    estimates=(),
    inhibits=None,
    functions=(),
    loops=(),
    common=(),
    publish=None,
    rate_hz=100,
) -> Sequence:
    """A sequence that starts in its first state; limits are `zero` and `one` unless given."""
    inputs = [Input(name, "1") for name in numbers] + [Input(name, "bool") for name in truths]
    limits = {"zero": 0.0, "one": 1.0} if limits is None else limits
    return Sequence(
        name="flight",
        about="",
        path=Path("test.sequence.toml"),
        rate_hz=rate_hz,
        boot_ticks=0,
        start=states[0].name,
        inputs=named(inputs),
        limits={name: Limit(name, value, "1", 0.0, "") for name, value in limits.items()},
        flags=named(flags),
        estimates=named(estimates),
        inhibits={name: Inhibit(name, node, "") for name, node in (inhibits or {}).items()},
        functions=named(functions),
        loops=named(loops),
        states=named(states),
        common_exits=tuple(common),
        publication=Publication(*publish) if publish else None,
        digest="",
    )


def pulse(name, ticks=3, kind="igniter", inhibits=()):
    return Function(name, kind, ticks, tuple(inhibits))


def servo(name, start="in", inhibits=(), **positions):
    return Function(
        name,
        "servo",
        0,
        tuple(inhibits),
        tuple((positions or {"in": 0.0, "out": 1.0}).items()),
        start,
    )


def flag(name, *, initial=False, retained=False):
    return Flag(name, initial, retained)


def loop(name, tilt, rates=("gy", "gz"), outputs=(("y", "gy_servo"), ("z", "gz_servo")), **gains):
    gains = {"kp": 1.0, "ki": 0.0, "kd": 0.0, "limit": 0.1, "dt": 0.01, **gains}
    arguments = tuple(zip(("rate_y", "rate_z"), map(Variable, rates), strict=True))
    return Loop(
        name, Block("thrust_vector_pid", arguments, tuple(gains.items()), None, tilt), outputs
    )


class Run:
    """Ticks an executor and remembers what came out."""

    def __init__(self, sequence: Sequence, executor=ReferenceExecutor) -> None:
        self.executor = executor(sequence)
        self.names = list(sequence.inputs)
        self.clock = 0
        self.outputs = []

    def tick(self, *, late: int = 0, stale: tuple[str, ...] = (), **values: float):
        """One tick; inputs that are named are refreshed, all others (and `stale` ones) are not."""
        self.clock += late
        fresh = [name in values and name not in stale for name in self.names]
        out = self.executor.tick(
            self.clock, [float(values.get(name, NAN)) for name in self.names], fresh
        )
        self.clock += 1
        self.outputs.append(out)
        return out

    def reboot(self) -> None:
        self.executor.boot(self.executor.flags())
        self.clock = 0

    def __getitem__(self, register: str) -> float:
        return self.executor.registers()[register]


def events(out, *kinds):
    """The events of a tick as "kind name", of these kinds only if any are given."""
    return [f"{kind} {name}" for kind, name, _ in out.events if not kinds or kind in kinds]
