"""Random small sequences, built as the loader would build them; see `sequencer.testing.streams`.

Everything is drawn from a `random.Random`, because Hypothesis takes a hundred times as long to
draw a sequence piece by piece. `sequences()` seeds one per example; with ``shrink=True`` Hypothesis
controls every draw and can make a failing example small.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
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

__all__ = ["random_sequence", "sequences"]

_RATES_HZ = [1, 30, 50, 100, 100, 400, 1000]
_PULSED = [kind for kind in FUNCTION_VERBS if kind != "servo"]
_NUMBER_KINDS = (
    *("expression", "low_pass", "filtered_rate", "integral", "peak", "median3", "age", "timer"),
)
_TRUTH_KINDS = ("truth", "latch", "vote")


def _block(  # noqa: C901, PLR0911 - one branch per kind
    rng: Random, words: Vocabulary, kind: str, rate_hz: int
) -> Block:
    """A block of this kind over the names that are known so far."""

    def number() -> Node:
        return random_number(rng, words, 1)

    def truth() -> Node:
        return random_truth(rng, words, 1)

    rate = ("rate_hz", float(rate_hz))
    gate = rng.choice([None, None, *words.inputs])
    dt = ("dt", 1.0 / rate_hz if gate is None else rng.choice([1.0 / rate_hz, 0.04, 1.7]))
    a = ("a", dt[1] / (rng.choice([0.01, 0.2, 5.0]) + dt[1]))
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
        return Block(
            kind, (of, *running, *reset), (dt, ("initial", rng.choice([0.0, 0.5, -7.3]))), gate
        )
    if kind == "peak":
        return Block(kind, (of, *reset), (), gate)
    coefficients = {"low_pass": (a,), "filtered_rate": (a, dt), "median3": ()}[kind]
    return Block(kind, (of,), coefficients, gate)


def _estimates(
    rng: Random, words: Vocabulary, rate_hz: int
) -> tuple[dict[str, Estimate], Vocabulary]:
    """A few estimates, each free to read those above it; the grown vocabulary beside them."""
    found: dict[str, Estimate] = {}
    for index in range(rng.choice([0, 1, 2, 3, 4, 5, 9])):
        name = f"e{index}"
        kind = rng.choice([*_NUMBER_KINDS, *_TRUTH_KINDS, "attitude"])
        block = _block(rng, words, kind, rate_hz)
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
    for name in ("g0", "g1", "g2", "g3")[: rng.choice([0, 1, 2, 2, 4])]:
        blocked = inhibits[: rng.choice([0, 0, 1])]
        positions = (("in", 0.0), ("out", 1.0), ("between", 0.1 + 0.2))
        found[name] = Function(name, "servo", 0, blocked, positions, rng.choice(["in", "between"]))
    names = list(found)
    rng.shuffle(names)  # those with a pulse and servos are declared in any order
    return {name: found[name] for name in names}


def _loops(
    rng: Random, words: Vocabulary, functions: dict[str, Function], rate_hz: int
) -> dict[str, Loop]:
    """Control loops, where there is a tilt to hold and two servos for each to hold it with."""
    found: dict[str, Loop] = {}
    servos = sorted(name for name, function in functions.items() if function.kind == "servo")
    for number in range(len(servos) // 2 if words.tilts else 0):
        rates = tuple((f"rate_{axis}", random_number(rng, words, 1)) for axis in "yz")
        gains = (
            ("kp", rng.choice([0.4, -0.7])),
            ("ki", rng.choice([0.0, 5.0, -0.3])),
            ("kd", rng.choice([0.1, 0.0])),
            ("limit", rng.choice([0.1, 1.5])),
            ("dt", 1.0 / rate_hz),
        )
        block = Block("thrust_vector_pid", rates, gains, subject=rng.choice(words.tilts))
        outputs = [("y", servos[2 * number]), ("z", servos[2 * number + 1])]
        found[f"loop{number}"] = Loop(f"loop{number}", block, tuple(outputs))
    return found


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
            condition=random_truth(rng, self.words, rng.choice([1, 2, 2, 3])),
            hold_ticks=rng.choice([1, 1, 2, 3, 5, 12]),
            fresh=rng.choice([None, None, *self.words.inputs]),
            actions=self.commands(),
            common=common,
            line=1,
            text="",
        )


def _publication(rng: Random, fields: Iterable[str]) -> Publication | None:
    chosen = tuple(name for name in fields if rng.random() < 0.8)
    return Publication(rng.randint(1, 4), chosen) if chosen else None


def random_sequence(rng: Random, name: str = "random") -> Sequence:
    """A sequence of one to four states with everything that the model knows."""
    rate_hz = rng.choice(_RATES_HZ)
    states = tuple(f"s{index}" for index in range(rng.choice([1, 2, 3, 4, 4])))
    quantities = tuple(f"x{index}" for index in range(rng.randint(1, 2)))
    flags = tuple(f"f{index}" for index in range(rng.randint(0, 2)))
    limits = {
        "low": Limit("low", 0.0, "1", 0.0, ""),
        "high": Limit("high", 2.0, "1", 0.0, ""),
        "tilted": Limit("tilted", 0.5, "rad", 0.0, "", math.cos(0.5)),
        "level": Limit("level", math.pi / 2, "rad", 0.0, "", math.cos(math.pi / 2)),
    }
    words = Vocabulary(
        inputs=(*quantities, "key"),
        numbers=(*quantities, *quantities, "low", "high", "time_in_state"),
        truths=("key", *flags),
        angles=("tilted", "level"),
        states=states,
    )
    estimates, words = _estimates(rng, words, rate_hz)
    inhibits = {
        inhibit: Inhibit(inhibit, random_truth(rng, words, 1), "")
        for inhibit in ("i0", "i1", "i2")[: rng.randint(0, 3)]
    }
    functions = _functions(rng, tuple(inhibits))
    loops = _loops(rng, words, functions, rate_hz)
    draw = _Behaviour(rng, words, functions, flags)
    common = tuple(
        draw.exits(f"c{index}", tuple(rng.sample(states, rng.randint(1, len(states)))), common=True)
        for index in range(rng.choice([0, 1, 2]))
    )
    found = {}
    for state in states:
        exits = tuple(
            draw.exits(f"{state}.{index}", (state,), common=False)
            for index in range(rng.choice([0, 1, 2]))
        )
        running = tuple(rng.sample(tuple(loops), rng.randint(0, len(loops))))
        entry, leave = draw.commands(), draw.commands()
        found[state] = State(state, "flight", entry, leave, exits, running, 1)
    return Sequence(
        name=name,
        about="",
        path=Path("random.sequence.toml"),
        rate_hz=rate_hz,
        boot_ticks=0,
        start=rng.choice(states),
        inputs={put: Input(put, "bool" if put == "key" else "1") for put in words.inputs},
        limits=limits,
        flags={
            flag: Flag(flag, initial=rng.choice([True, False]), retained=rng.choice([True, False]))
            for flag in flags
        },
        estimates=estimates,
        inhibits=inhibits,
        functions=functions,
        loops=loops,
        states=found,
        common_exits=common,
        publication=_publication(rng, (*flags, *estimates)),
        digest="",
    )


def sequences(*, shrink: bool = False) -> st.SearchStrategy[Sequence]:
    """Strategy for `random_sequence`."""
    return st.builds(random_sequence, st.randoms(use_true_random=not shrink))
