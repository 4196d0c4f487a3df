"""A changed sequence that is proved the same behaves the same, tick by tick."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from random import Random

import pytest

from sequencer.execute import ReferenceExecutor
from sequencer.expressions import And, Not, Or, Truth
from sequencer.lint.equivalence import Original
from sequencer.lint.solving import Proved, Witness
from sequencer.testing.sequences import random_sequence
from sequencer.testing.streams import random_stream

pytest.importorskip("z3")


def change(rng, sequence):
    """One small change of a sequence somewhere; None where there is no place for it."""
    kinds = [changed_limit, changed_command, changed_inhibit, changed_order, changed_estimate]
    return rng.choice([*[changed_exit] * 4, *kinds])(rng, sequence)


def with_exit(sequence, way, *others):
    """The sequence with one exit replaced by none, one or more."""

    def swapped(ways):
        return tuple(new for old in ways for new in (others if old is way else (old,)))

    states = {
        name: replace(state, exits=swapped(state.exits)) for name, state in sequence.states.items()
    }
    return replace(sequence, states=states, common_exits=swapped(sequence.common_exits))


def changed_condition(rng, node):
    """Another condition, which often means the same."""
    kind = rng.randrange(6)
    if kind == 0:
        return Not(Not(node))
    if kind == 1:
        return And((Truth(True), node))
    if kind == 2:
        return Not(node)
    if kind == 3 and isinstance(node, And | Or):
        dropped = rng.randrange(len(node.operands))
        left = node.operands[:dropped] + node.operands[dropped + 1 :]
        return left[0] if len(left) == 1 else type(node)(left)
    if kind == 4 and isinstance(node, And | Or):
        return type(node)(node.operands[::-1])
    return Or((node, node))


def changed_exit(rng, sequence):
    ways = [*sequence.common_exits, *(w for s in sequence.states.values() for w in s.exits)]
    if not ways:
        return None
    way = rng.choice(ways)
    kind = rng.randrange(5)
    if kind == 0:
        return with_exit(sequence, way)
    if kind == 1:
        return with_exit(sequence, way, replace(way, hold_ticks=2 * way.hold_ticks))
    if kind == 2:
        return with_exit(sequence, way, replace(way, to=rng.choice(list(sequence.states))))
    if kind == 3 and way.actions:
        return with_exit(sequence, way, replace(way, actions=way.actions[1:]))
    return with_exit(sequence, way, replace(way, condition=changed_condition(rng, way.condition)))


def changed_limit(rng, sequence):
    limit = sequence.limits[rng.choice(list(sequence.limits))]
    value = limit.value * 1.1 + rng.choice([0.0, 1e-9])
    cosine = None if limit.cosine is None else math.cos(value)
    moved = replace(limit, value=value, cosine=cosine)
    return replace(sequence, limits={**sequence.limits, limit.name: moved})


def changed_command(rng, sequence):
    state = sequence.states[rng.choice(list(sequence.states))]
    part = rng.choice(["on_entry", "on_leave"])
    commands = list(getattr(state, part))
    if not commands:
        return None
    if rng.random() < 0.5:
        del commands[rng.randrange(len(commands))]
    else:
        commands.append(rng.choice(commands))
    moved = replace(state, **{part: tuple(commands)})
    return replace(sequence, states={**sequence.states, state.name: moved})


def changed_inhibit(rng, sequence):
    function = sequence.functions[rng.choice(list(sequence.functions))]
    if not function.inhibits:
        return None
    left = list(function.inhibits)
    if rng.random() < 0.6 or function.kind == "servo":
        del left[rng.randrange(len(left))]
        moved = replace(function, inhibits=tuple(left))
        return replace(sequence, functions={**sequence.functions, function.name: moved})
    if rng.random() < 0.3:
        moved = replace(function, pulse_ticks=function.pulse_ticks + 1)
        return replace(sequence, functions={**sequence.functions, function.name: moved})
    inhibit = sequence.inhibits[left[0]]
    moved = replace(inhibit, condition=changed_condition(rng, inhibit.condition))
    return replace(sequence, inhibits={**sequence.inhibits, inhibit.name: moved})


def changed_order(rng, sequence):
    if rng.random() < 0.3 and len(sequence.common_exits) > 1:
        return replace(sequence, common_exits=sequence.common_exits[::-1])
    several = [state for state in sequence.states.values() if len(state.exits) > 1]
    if not several:
        return None
    state = rng.choice(several)
    moved = replace(state, exits=state.exits[::-1])
    return replace(sequence, states={**sequence.states, state.name: moved})


def changed_estimate(rng, sequence):
    names = [name for name, each in sequence.estimates.items() if each.block.arguments]
    if not names:
        return None
    estimate = sequence.estimates[rng.choice(names)]
    arguments = list(estimate.block.arguments)
    index = rng.randrange(len(arguments))
    key, node = arguments[index]
    if estimate.unit != "bool" and not key.endswith(("_when", "while")):
        return None
    arguments[index] = key, changed_condition(rng, node)
    moved = replace(estimate, block=replace(estimate.block, arguments=tuple(arguments)))
    return replace(sequence, estimates={**sequence.estimates, estimate.name: moved})


def told(outputs):
    """Events, without the inhibit that has blocked or cut: no check reads it."""
    return [
        (kind, name, "" if kind in ("blocked", "cut") else detail)
        for kind, name, detail in outputs.events
    ]


def assert_flies_alike(rng, sequence, changed, ticks=60):
    """Both on the same random stream with reboots: every event, output and message is the same."""
    ours, theirs = ReferenceExecutor(sequence), ReferenceExecutor(changed)
    booted = 0
    for step in random_stream(rng, sequence, ticks):
        if rng.random() < 0.03:
            kept = ours.flags() if rng.random() < 0.8 else None
            ours.boot(kept)
            theirs.boot(kept)
            booted = step.clock
        first, second = (
            executor.tick(step.clock - booted, step.values, step.fresh)
            for executor in (ours, theirs)
        )
        assert told(first) == told(second)
        assert (first.state, first.on) == (second.state, second.on)
        assert first.demands == second.demands
        assert repr(first.message).replace("-0.0", "0.0") == repr(second.message).replace(
            "-0.0", "0.0"
        )


def soak(seed, sequences, changes=6, rides=4):
    rng = Random(seed)  # noqa: S311 - examples, not secrets
    answers = Counter()
    for _ in range(sequences):
        sequence = random_sequence(rng)
        original = Original(sequence)
        for _ in range(changes):
            changed = change(rng, sequence)
            if changed is None or changed == sequence:
                continue
            answer = original.same_meaning(changed)
            answers[type(answer)] += 1
            if isinstance(answer, Proved):
                for _ in range(rides):
                    assert_flies_alike(rng, sequence, changed)
    return answers


def test_whatever_is_proved_the_same_flies_alike():
    answers = soak(7, 12, changes=5, rides=3)
    assert answers[Proved] >= 20, answers
    assert answers[Witness] >= 3, answers
