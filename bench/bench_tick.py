"""What a tick costs: of the reference executor against a bare `transitions` trigger, and of the
compiled one against the reference.

The bare machine has the same states, the same exits and the same conditions (three per state),
and does nothing but change state. Both are driven in turn, many short rounds, and the least time
of each counts, so that a busy machine slows both alike.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from transitions import Machine

from sequencer.execute import CompiledExecutor, ReferenceExecutor
from sequencer.execute.values import Compiled, Memory, compile_expression, names_of
from sequencer.expressions import Comparison, Variable
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
    Sequence,
    State,
)

__all__ = ["measure"]

_STATES = 10
_TICKS = 100
_ROUNDS = 200


def _exit(name: str, source: int, to: int, quantity: str, limit: str) -> Exit:
    return Exit(
        name=name,
        sources=(f"s{source}",),
        to=f"s{to % _STATES}",
        condition=Comparison(">", Variable(quantity), Variable(limit)),
        hold_ticks=1,
        fresh=None,
        actions=(Command("fire", "charge"),),
        common=False,
        line=1,
        text=f"{quantity} > {limit}",
    )


def _sequence(estimates: dict[str, Estimate]) -> Sequence:
    """Ten states in a ring with three exits each; only the last exit of a state can be taken."""
    states = {}
    for index in range(_STATES):
        exits = tuple(
            _exit(f"s{index} {quantity}", index, index + 1, quantity, limit)
            for quantity, limit in (("a", "never"), ("b", "never"), ("c", "often"))
        )
        states[f"s{index}"] = State(f"s{index}", "flight", (), (), exits, (), 1)
    return Sequence(
        name="bench",
        about="a ring",
        path=Path("bench"),
        rate_hz=100,
        boot_ticks=0,
        start="s0",
        inputs={name: Input(name, "m") for name in "abc"},
        limits={
            "never": Limit("never", 1e9, "m", 0.0, ""),
            "often": Limit("often", 0.0, "m", 0.0, ""),
        },
        flags={"armed": Flag("armed", initial=True, retained=False)},
        estimates=estimates,
        inhibits={
            "unarmed": Inhibit("unarmed", Comparison(">", Variable("a"), Variable("never")), "")
        },
        functions={"charge": Function("charge", "separation", 5, ("unarmed",))},
        loops={},
        states=states,
        common_exits=(),
        publication=None,
        digest="",
    )


def _estimates() -> dict[str, Estimate]:
    """One filter per input, a rate and a sum: what a small rocket computes on every tick."""
    a = ("a", 0.1)
    dt = ("dt", 0.01)
    blocks = {
        "low_a": Block("low_pass", (("of", Variable("a")),), (a,)),
        "low_b": Block("low_pass", (("of", Variable("b")),), (a,)),
        "rate_c": Block("filtered_rate", (("of", Variable("c")),), (a, dt)),
        "sum_a": Block("integral", (("of", Variable("a")),), (("initial", 0.0), dt)),
        "peak_b": Block("peak", (("of", Variable("b")),)),
    }
    return {name: Estimate(name, "m", block) for name, block in blocks.items()}


def _bare(sequence: Sequence, memory: Memory) -> Callable[[], bool]:
    """The trigger of a machine with the same conditions and nothing else."""
    names = names_of(sequence)
    model = _Model()
    machine = Machine(model, list(sequence.states), initial=sequence.start, auto_transitions=False)
    for name in sequence.states:
        for way in sequence.eligible_exits(name):
            condition = partial(_holds, compile_expression(way.condition, names), memory)
            machine.add_transition("tick", name, way.to, conditions=condition)
    return model.tick


class _Model:
    tick: Callable[[], bool]


def _holds(condition: Compiled, memory: Memory) -> bool:
    return condition(memory) is True


def _time(work: Callable[[int], object], first: int) -> float:
    start = time.perf_counter()
    for clock in range(first, first + _TICKS):
        work(clock)
    return (time.perf_counter() - start) / _TICKS


def _ratio(estimates: dict[str, Estimate], c: float) -> float:
    """Least tick time over least trigger time, with input `c` at this value."""
    sequence = _sequence(estimates)
    values, fresh = [1.0, 2.0, c], [True, True, True]
    executor = ReferenceExecutor(sequence)
    memory: Memory = [None] * names_of(sequence).size
    for name, value in zip("abc", values, strict=True):
        memory[names_of(sequence).cells[name]] = value
    trigger = _bare(sequence, memory)
    ticks, triggers = [], []
    for turn in range(_ROUNDS):
        ticks.append(_time(lambda clock: executor.tick(clock, values, fresh), turn * _TICKS))
        triggers.append(_time(lambda _: trigger(), 0))
    return min(ticks) / min(triggers)


def _gain(estimates: dict[str, Estimate], c: float) -> float:
    """Least tick time of the reference over that of the compiled executor."""
    sequence = _sequence(estimates)
    values, fresh = [1.0, 2.0, c], [True, True, True]
    reference, compiled = ReferenceExecutor(sequence), CompiledExecutor(sequence)
    slow, fast = [], []
    for turn in range(_ROUNDS):
        first = turn * _TICKS
        slow.append(_time(lambda clock: reference.tick(clock, values, fresh), first))
        fast.append(_time(lambda clock: compiled.tick(clock, values, fresh), first))
    return min(slow) / min(fast)


def measure() -> list[tuple[str, float, str, str]]:
    """Per case: what, ratio of a tick to a bare trigger, its unit, and the most that is allowed."""
    cases: tuple[tuple[str, dict[str, Estimate], float, str], ...] = (
        ("quiet tick", {}, -1.0, "<= 2"),
        ("tick that changes state", {}, 1.0, "<= 2"),
        ("quiet tick, 5 estimates", _estimates(), -1.0, "<= 4"),
        ("tick that changes state, 5 estimates", _estimates(), 1.0, "<= 4"),
    )
    ratios = [
        (name, _ratio(estimates, c), "bare triggers", target)
        for name, estimates, c, target in cases
    ]
    gain = _gain(_estimates(), -1.0)
    return [*ratios, ("the same by the compiled executor, called from Python", gain, "times", "")]
