"""Blocks with memory: each one's difference equation, its start, and what a bad value does to it.

A block is updated once per executed tick; a gated one only on ticks that refreshed its input, and
in between both its state and its output stay as they were. `dt` is the nominal time between two
updates in s. Unless a block says otherwise, an update with a bad argument, or whose result is not
finite, keeps the state and gives a bad output.

State is kept in plain float attributes, named in `registers`, so that another executor's can be
compared with it bit for bit. The order of operations in every formula is part of its meaning.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from typing import ClassVar

from sequencer.execute.values import (
    BAD,
    CLOCK,
    Compiled,
    Memory,
    Names,
    compile_expression,
    finite,
    larger,
    smaller,
)
from sequencer.sequence.model import Block

__all__ = ["BLOCKS", "BlockState", "Update", "make_block"]

#: What a block does on a tick that updates it.
Update = Callable[[Memory], "float | bool | None"]


class BlockState(ABC):
    """A block with its state.

    `first` is the output before the first update (a gated block may wait for it).
    """

    registers: ClassVar[tuple[str, ...]] = ()
    first: float | bool | None = BAD

    def __init__(self, block: Block, names: Names, rate_hz: int) -> None:
        self.rate_hz = rate_hz
        self.names = names
        self.subject = block.subject or ""
        self.arguments: Mapping[str, Compiled] = {
            name: compile_expression(node, names) for name, node in block.arguments
        }
        self.coefficients = dict(block.coefficients)
        self.prepare()
        self.reset()

    def prepare(self) -> None:  # noqa: B027 - nothing to pick out for some
        """Pick arguments and coefficients out once, so that `update` need not look them up."""

    def reset(self) -> None:  # noqa: B027 - some remember nothing
        """State at boot."""

    @abstractmethod
    def update(self, memory: Memory) -> float | bool | None:
        """One update: new state, and the output."""


def _never(_: Memory) -> bool:
    """What an optional condition comes to when it is left out."""
    return False


class Expression(BlockState):
    """The value of an expression; nothing is remembered."""

    def prepare(self) -> None:
        (self.of,) = self.arguments.values()

    def update(self, memory: Memory) -> float | bool | None:
        value: float | bool | None = self.of(memory)
        return value


class LowPass(BlockState):
    """First-order low-pass: y += a*(x - y), a = dt/(time constant + dt).

    The first finite x sets y = x. Backward Euler of T*dy/dt = x - y.
    """

    registers = ("started", "y")

    def prepare(self) -> None:
        self.of = self.arguments["of"]
        self.a = self.coefficients["a"]

    def reset(self) -> None:
        self.started = 0.0
        self.y = 0.0

    def update(self, memory: Memory) -> float | None:
        x = self.of(memory)
        if x is None:
            return BAD
        y = finite(self.y + self.a * (x - self.y)) if self.started else x
        if y is None:
            return BAD
        self.started = 1.0
        self.y = y
        return y


class FilteredRate(BlockState):
    """Low-passed rate of change: r = (x - xp)/(n*dt); y += a*(r - y).

    xp is the last finite x, n the number of updates since then, bad ones included. The first
    finite x sets y = 0.
    """

    registers = ("started", "y", "xp", "n")

    def prepare(self) -> None:
        self.of = self.arguments["of"]
        self.a = self.coefficients["a"]
        self.dt = self.coefficients["dt"]

    def reset(self) -> None:
        self.started = 0.0
        self.y = 0.0
        self.xp = 0.0
        self.n = 0.0

    def update(self, memory: Memory) -> float | None:
        x = self.of(memory)
        if self.started:
            self.n += 1.0
        if x is None:
            return BAD
        if self.started:
            r = (x - self.xp) / (self.n * self.dt)
            y = finite(self.y + self.a * (r - self.y))
            if y is None:
                return BAD
            self.y = y
        self.started = 1.0
        self.xp = x
        self.n = 0.0
        return self.y


class Integral(BlockState):
    """y += x*dt while its condition is true; held, and good, while it is not.

    `reset_when` wins: y = initial, and nothing else on that tick.
    """

    registers = ("y",)

    def prepare(self) -> None:
        self.of = self.arguments["of"]
        self.running = self.arguments.get("while")
        self.reset_when = self.arguments.get("reset_when", _never)
        self.dt = self.coefficients["dt"]
        self.initial = self.coefficients["initial"]
        self.first = self.initial

    def reset(self) -> None:
        self.y = self.initial

    def update(self, memory: Memory) -> float | None:
        if self.reset_when(memory) is True:
            self.y = self.initial
            return self.y
        if self.running is not None and self.running(memory) is not True:
            return self.y
        x = self.of(memory)
        y = BAD if x is None else finite(self.y + x * self.dt)
        if y is None:
            return BAD
        self.y = y
        return y


class Peak(BlockState):
    """Running peak: y = max(y, x), started anew by the first finite x at or after a reset."""

    registers = ("started", "y")

    def prepare(self) -> None:
        self.of = self.arguments["of"]
        self.reset_when = self.arguments.get("reset_when", _never)

    def reset(self) -> None:
        self.started = 0.0
        self.y = 0.0

    def update(self, memory: Memory) -> float | None:
        if self.reset_when(memory) is True:
            self.reset()
        x: float | None = self.of(memory)
        if x is None:
            return BAD
        self.y = larger(self.y, x) if self.started else x
        self.started = 1.0
        return self.y


class Median3(BlockState):
    """Median of the last three finite values; the first one stands for the missing two."""

    registers = ("started", "x1", "x2")

    def prepare(self) -> None:
        self.of = self.arguments["of"]

    def reset(self) -> None:
        self.started = 0.0
        self.x1 = 0.0
        self.x2 = 0.0

    def update(self, memory: Memory) -> float | None:
        x: float | None = self.of(memory)
        if x is None:
            return BAD
        if not self.started:
            self.started = 1.0
            self.x1 = self.x2 = x
        low = smaller(x, self.x1)
        high = larger(x, self.x1)
        y = larger(low, smaller(high, self.x2))
        self.x2 = self.x1
        self.x1 = x
        return y


class Age(BlockState):
    """Seconds since an input's last finite refresh, or since boot; never bad."""

    first = 0.0

    def prepare(self) -> None:
        self.heard = self.names.heard[self.subject]

    def update(self, memory: Memory) -> float:
        age: float = (memory[CLOCK] - memory[self.heard]) / self.rate_hz
        return age


class Timer(BlockState):
    """Seconds since `start_when` was first true; 0 before; `reset_when` stops it at 0 and wins.

    Never bad: an unknown condition counts as false.
    """

    registers = ("running", "since")
    first = 0.0

    def prepare(self) -> None:
        self.start_when = self.arguments["start_when"]
        self.reset_when = self.arguments.get("reset_when", _never)

    def reset(self) -> None:
        self.running = 0.0
        self.since = 0.0  # clock tick

    def update(self, memory: Memory) -> float:
        if self.reset_when(memory) is True:
            self.reset()
        elif not self.running and self.start_when(memory) is True:
            self.running = 1.0
            self.since = float(memory[CLOCK])
        return (memory[CLOCK] - self.since) / self.rate_hz if self.running else 0.0


class Latch(BlockState):
    """True from `set_when` on until `reset_when`; setting wins; unknown holds; never bad."""

    registers = ("on",)
    first = False

    def prepare(self) -> None:
        self.set_when = self.arguments["set_when"]
        self.reset_when = self.arguments.get("reset_when", _never)

    def reset(self) -> None:
        self.on = 0.0

    def update(self, memory: Memory) -> bool:
        if self.set_when(memory) is True:
            self.on = 1.0
        elif self.reset_when(memory) is True:
            self.on = 0.0
        return self.on == 1.0


class Vote(BlockState):
    """True where at least `needed` members are; bad where fewer than `quorum` are not bad."""

    def prepare(self) -> None:
        self.members = tuple(self.arguments.values())
        self.needed = self.coefficients["needed"]
        self.quorum = self.coefficients["quorum"]

    def update(self, memory: Memory) -> bool | None:
        votes = [member(memory) for member in self.members]
        if len(votes) - votes.count(None) < self.quorum:
            return BAD
        return votes.count(True) >= self.needed


class Attitude(BlockState):
    """Attitude from body rates: q += dt/2 * (q x (0, w)), then divided by its norm.

    q is the quaternion body to earth (x forward; east-north-up), scalar first, and starts nose
    up. The output is the cosine of the angle between the nose and the vertical. Source: the
    kinematic equation q' = q x (0, w)/2, one Euler step.
    """

    registers = ("q0", "q1", "q2", "q3")

    def prepare(self) -> None:
        self.rates = tuple(self.arguments[f"rate_{axis}"] for axis in "xyz")
        self.reset_when = self.arguments.get("reset_when", _never)
        self.half_dt = 0.5 * self.coefficients["dt"]
        self.reset()
        self.first = self.cosine()

    def reset(self) -> None:
        half = math.sqrt(0.5)
        self.q0, self.q1, self.q2, self.q3 = half, 0.0, -half, 0.0

    def cosine(self) -> float:
        """Third component of the nose's direction, i.e. its upward part."""
        return 2.0 * (self.q1 * self.q3 - self.q0 * self.q2)

    def update(self, memory: Memory) -> float | None:
        if self.reset_when(memory) is True:
            self.reset()
            return self.cosine()
        x, y, z = (rate(memory) for rate in self.rates)
        if x is None or y is None or z is None:
            return BAD
        q0, q1, q2, q3 = self.q0, self.q1, self.q2, self.q3
        n0 = q0 + self.half_dt * (-q1 * x - q2 * y - q3 * z)
        n1 = q1 + self.half_dt * (q0 * x + q2 * z - q3 * y)
        n2 = q2 + self.half_dt * (q0 * y - q1 * z + q3 * x)
        n3 = q3 + self.half_dt * (q0 * z + q1 * y - q2 * x)
        square = finite(n0 * n0 + n1 * n1 + n2 * n2 + n3 * n3)
        if square is None or square == 0.0:
            return BAD
        norm = math.sqrt(square)
        self.q0, self.q1, self.q2, self.q3 = n0 / norm, n1 / norm, n2 / norm, n3 / norm
        return self.cosine()


#: kind of an estimate's block -> its class
BLOCKS: Mapping[str, type[BlockState]] = {
    "expression": Expression,
    "low_pass": LowPass,
    "filtered_rate": FilteredRate,
    "integral": Integral,
    "peak": Peak,
    "median3": Median3,
    "age": Age,
    "timer": Timer,
    "latch": Latch,
    "vote": Vote,
    "attitude": Attitude,
}


def make_block(block: Block, names: Names, rate_hz: int) -> BlockState:
    """The block with its state at boot. `rate_hz` is the computer's tick rate."""
    return BLOCKS[block.kind](block, names, rate_hz)
