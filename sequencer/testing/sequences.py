"""Random small sequences and random input streams.

They are built as the loader would build them, so that every executor can be asked to agree on
them. The streams are meant to hurt: values jump between a few numbers that lie on and beside the
limits, some are NaN, infinite or huge, inputs go stale, and the clock leaves ticks out.

Everything is drawn from a `random.Random`, because Hypothesis takes a hundred times as long to
draw a sequence piece by piece. `sequences()` and `streams()` seed one per example; with
``shrink=True`` Hypothesis controls every draw and can make a failing example small.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

from hypothesis import strategies as st

from sequencer.expressions import Node
from sequencer.sequence.model import (
    FUNCTION_VERBS,
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
from sequencer.testing.expressions import Vocabulary, random_number, random_truth

__all__ = ["Step", "random_sequence", "random_stream", "sequences", "streams"]

RATE_HZ = 100
_DT = 0.01
_PULSED = [kind for kind in FUNCTION_VERBS if kind != "servo"]
_PLAIN = [0.0, 1.0, -1.0, 0.5, 2.0, 3.0]
_NASTY = [-0.0, 1e308, -1e308, 5e-324, math.nan, math.inf, -math.inf]


@dataclass(frozen=True, slots=True)
class Step:
    """What one tick is given; see `sequencer.execute.Executor.tick`."""

    clock: int
    values: tuple[float, ...]
    fresh: tuple[bool, ...]


_NUMBER_KINDS = (
    *("expression", "low_pass", "filtered_rate", "integral", "peak", "median3", "age", "timer"),
)
_TRUTH_KINDS = ("truth", "latch", "vote")


def _block(  # noqa: C901, PLR0911 - one branch per kind
    rng: Random, words: Vocabulary, kind: str
) -> Block:
    """A block of this kind over the names that are known so far."""

    def number() -> Node:
        return random_number(rng, words, 1)

    def truth() -> Node:
        return random_truth(rng, words, 1)

    a, dt = ("a", rng.choice([0.1, 0.5, 1.0 / 3.0])), ("dt", _DT)
    rate = ("rate_hz", float(RATE_HZ))
    gate = rng.choice([None, None, *words.inputs])
    if kind == "expression":
        return Block(kind, ((kind, number()),))
    if kind == "truth":
        return Block("expression", (("expression", truth()),))
    if kind == "age":
        return Block(kind, (), (rate,), subject=rng.choice(words.inputs))
    if kind == "vote":
        members = tuple((f"member_{index}", truth()) for index in range(1, rng.randint(2, 5)))
        needed, quorum = rng.randint(1, len(members)), rng.randint(1, len(members))
        return Block(kind, members, (("needed", float(needed)), ("quorum", float(quorum))))
    reset = (("reset_when", truth()),) * rng.randint(0, 1)
    if kind == "timer":
        return Block(kind, (("start_when", truth()), *reset), (rate,))
    if kind == "latch":
        return Block(kind, (("set_when", truth()), *reset))
    if kind == "attitude":
        rates = tuple((f"rate_{axis}", number()) for axis in "xyz")
        return Block(kind, (*rates, *reset), (dt,), gate)
    of = ("of", number())
    if kind == "integral":
        running = (("while", truth()),) * rng.randint(0, 1)
        return Block(kind, (of, *running, *reset), (dt, ("initial", 0.5)), gate)
    if kind == "peak":
        return Block(kind, (of, *reset), (), gate)
    coefficients = {"low_pass": (a,), "filtered_rate": (a, dt), "median3": ()}[kind]
    return Block(kind, (of,), coefficients, gate)


def _estimates(rng: Random, words: Vocabulary) -> tuple[dict[str, Estimate], Vocabulary]:
    """A few estimates, each free to read those above it; the grown vocabulary beside them."""
    found: dict[str, Estimate] = {}
    for index in range(rng.randint(0, 5)):
        name = f"e{index}"
        kind = rng.choice([*_NUMBER_KINDS, *_TRUTH_KINDS, "attitude"])
        block = _block(rng, words, kind)
        if kind in _TRUTH_KINDS:
            found[name] = Estimate(name, "bool", block)
            words = replace(words, truths=(*words.truths, name))
        elif kind == "attitude":
            found[name] = Estimate(name, "deg", block, is_cosine=True)
            words = replace(words, tilts=(*words.tilts, name))
        else:
            found[name] = Estimate(name, "1", block)
            words = replace(words, numbers=(*words.numbers, name))
    return found, words


def _functions(rng: Random, inhibits: tuple[str, ...]) -> dict[str, Function]:
    found = {}
    for index in range(rng.randint(1, 3)):
        blocked = tuple(rng.sample(inhibits, rng.randint(0, len(inhibits))))
        name = f"p{index}"
        found[name] = Function(name, rng.choice(_PULSED), rng.randint(1, 6), blocked)
    for name in ("g0", "g1")[: rng.choice([0, 1, 2, 2])]:
        blocked = inhibits[: rng.choice([0, 0, 1])]
        positions = (("in", 0.0), ("out", 1.0))
        found[name] = Function(name, "servo", 0, blocked, positions, "in")
    return found


def _loops(rng: Random, words: Vocabulary, functions: dict[str, Function]) -> dict[str, Loop]:
    """A control loop, where there is a tilt to hold and two servos to hold it with."""
    if not words.tilts or "g1" not in functions:
        return {}
    rates = tuple((f"rate_{axis}", random_number(rng, words, 1)) for axis in "yz")
    gains = (("kp", 0.4), ("ki", rng.choice([0.0, 5.0])), ("kd", 0.1), ("limit", 0.1), ("dt", _DT))
    block = Block("thrust_vector_pid", rates, gains, subject=rng.choice(words.tilts))
    return {"loop": Loop("loop", block, (("y", "g0"), ("z", "g1")))}


class _Behaviour:
    """Draws commands and exits, once everything that they may name is known."""

    def __init__(
        self,
        rng: Random,
        words: Vocabulary,
        functions: dict[str, Function],
        flags: tuple[str, ...],
    ) -> None:
        self.rng = rng
        self.words = words
        self.choices = [Command(verb, flag) for flag in flags for verb in ("set", "clear")]
        for function in functions.values():
            if function.kind == "servo":
                self.choices += [
                    Command("move", function.name, place) for place, _ in function.positions
                ]
            else:
                fire = Command(FUNCTION_VERBS[function.kind], function.name)
                self.choices += [fire, fire, Command("cut", function.name)]

    def commands(self) -> tuple[Command, ...]:
        return tuple(self.rng.choices(self.choices, k=self.rng.choice([0, 0, 1, 2, 3])))

    def exits(self, name: str, sources: tuple[str, ...], *, common: bool) -> Exit:
        rng = self.rng
        return Exit(
            name=name,
            sources=sources,
            to=rng.choice(self.words.states),
            condition=random_truth(rng, self.words),
            hold_ticks=rng.choice([1, 1, 2, 3, 5]),
            fresh=rng.choice([None, None, *self.words.inputs]),
            actions=self.commands(),
            common=common,
            line=1,
            text="",
        )


def random_sequence(rng: Random) -> Sequence:
    """A sequence of one to four states with everything that the model knows."""
    states = tuple(f"s{index}" for index in range(rng.choice([1, 2, 3, 4, 4])))
    quantities = tuple(f"x{index}" for index in range(rng.randint(1, 2)))
    flags = tuple(f"f{index}" for index in range(rng.randint(0, 2)))
    words = Vocabulary(
        inputs=(*quantities, "key"),
        numbers=(*quantities, *quantities, "low", "high", "time_in_state"),
        truths=("key", *flags),
        states=states,
    )
    estimates, words = _estimates(rng, words)
    inhibits = {
        name: Inhibit(name, random_truth(rng, words, 1), "")
        for name in ("i0", "i1")[: rng.randint(0, 2)]
    }
    functions = _functions(rng, tuple(inhibits))
    loops = _loops(rng, words, functions)
    draw = _Behaviour(rng, words, functions, flags)
    common = tuple(
        draw.exits(f"c{index}", tuple(rng.sample(states, rng.randint(1, len(states)))), common=True)
        for index in range(rng.choice([0, 1, 2]))
    )
    found = {}
    for name in states:
        exits = tuple(
            draw.exits(f"{name}.{index}", (name,), common=False)
            for index in range(rng.choice([0, 1, 2]))
        )
        running = tuple(loops)[: rng.choice([0, 1, 1])]
        entry, leave = draw.commands(), draw.commands()
        found[name] = State(name, "flight", entry, leave, exits, running, 1)
    fields = (*flags, *estimates)
    return Sequence(
        name="random",
        about="",
        path=Path("random.sequence.toml"),
        rate_hz=RATE_HZ,
        boot_ticks=0,
        start=states[0],
        inputs={name: Input(name, "bool" if name == "key" else "1") for name in words.inputs},
        limits={
            "low": Limit("low", 0.0, "1", 0.0, ""),
            "high": Limit("high", 2.0, "1", 0.0, ""),
            "tilted": Limit("tilted", 0.5, "rad", 0.0, "", math.cos(0.5)),
        },
        flags={
            name: Flag(name, initial=rng.choice([True, False]), retained=rng.choice([True, False]))
            for name in flags
        },
        estimates=estimates,
        inhibits=inhibits,
        functions=functions,
        loops=loops,
        states=found,
        common_exits=common,
        publication=Publication(rng.randint(1, 4), fields) if fields else None,
        digest="",
    )


def random_stream(rng: Random, sequence: Sequence, ticks: int) -> list[Step]:
    """Inputs for this many executed ticks of a sequence; values dwell, and then jump."""
    clock = rng.choice([0, 0, 0, 2])
    values = [rng.choice(_PLAIN) for _ in sequence.inputs]
    steps = []
    for _ in range(ticks):
        for index in range(len(values)):
            if rng.random() < 0.3:  # dwells of three ticks on average
                values[index] = rng.choice(_PLAIN + _PLAIN + _NASTY)
        fresh = tuple(rng.choice([True, True, False]) for _ in values)
        steps.append(Step(clock, tuple(values), fresh))
        clock += rng.choice([1, 1, 1, 1, 1, 1, 2, 3])
    return steps


def sequences(*, shrink: bool = False) -> st.SearchStrategy[Sequence]:
    """Strategy for `random_sequence`."""
    return st.builds(random_sequence, st.randoms(use_true_random=not shrink))


def streams(
    sequence: Sequence, *, most: int = 60, shrink: bool = False
) -> st.SearchStrategy[list[Step]]:
    """Strategy for `random_stream` of up to `most` ticks."""
    return st.builds(
        random_stream,
        st.randoms(use_true_random=not shrink),
        st.just(sequence),
        st.integers(1, most),
    )
