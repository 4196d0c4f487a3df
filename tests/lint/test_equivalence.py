"""A changed sequence that is proved the same behaves the same, tick by tick."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from random import Random

import pytest

from sequencer.execute import ReferenceExecutor
from sequencer.expressions import And, Not, Or, Truth
from sequencer.lint.equivalence import Original, same_meaning
from sequencer.lint.solving import Proved, Undecided, Witness
from sequencer.sequence import load_sequence
from sequencer.testing.sequences import random_sequence
from sequencer.testing.streams import random_stream

pytest.importorskip("z3")

REBOOTED = """[[states.pad.exits]]
name = "rebooted in the air"
to = "descent"
when = "flying"
"""
NEW = """[[states.ascent.exits]]
name = "new"
to = "over"
when = "out"
"""
UNDER_CHUTE = 'under_chute = { in_place_when = "in_state(descent)", reason = "no motor there" }'


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


SAME = {
    "a condition in other words": (
        [("key and not plug and not flying", "not (plug or flying or not key)")],
        "the changed expression always comes out the same",
    ),
    "a limit that is moved between two ticks": (
        [("latest = { value = 9,", "latest = { value = 8.99,")],
        "the changed expression always comes out the same",
    ),
    "a flag that is clear already": (
        [('do = ["set flying"]', 'do = ["set flying", "clear out"]')],
        "the changed commands never make a difference",
    ),
    "a command that is given twice": (
        [('on_entry = ["fire motor"]', 'on_entry = ["fire motor", "fire motor"]')],
        "the changed commands never make a difference",
    ),
    "an exit that no flags let through": (
        [
            (
                '[[states.ascent.exits]]\nname = "over the top"',
                f'{NEW}[[states.ascent.exits]]\nname = "over the top"',
            )
        ],
        "'new' is never taken",
    ),
    "exits in another order that are never true together": (
        [
            (REBOOTED, ""),
            ("[states.ignition]\n", f"{REBOOTED}\n[states.ignition]\n"),
        ],
        "'rebooted in the air' and 'armed' are never true together",
    ),
    "an inhibit that another one covers": (
        [
            ("[functions]\n", UNDER_CHUTE + "\n[functions]\n"),
            (
                'inhibits = ["key_out", "plug_in", "chute_out"]',
                'inhibits = ["key_out", "plug_in", "chute_out", "under_chute"]',
            ),
        ],
        "'motor' is blocked no more and no less",
    ),
    "a term that an earlier exit makes idle": (
        [("key and not plug and not flying", "key and not plug")],
        "an earlier exit is taken wherever 'armed' would differ",
    ),
    "nothing but words": (
        [("a parachute over the top, or by the timer", "a parachute")],
        "nothing that counts has changed",
    ),
}
OTHER = {
    "a limit that is moved": ([("latest = { value = 9,", "latest = { value = 9.9,")], Witness),
    "a term that is dropped": (
        [("key and not plug and not flying", "key and not flying")],
        Witness,
    ),
    "an inhibit that is taken off": ([(', "chute_out"]', "]")], Witness),
    "another hold": ([("hold_s = 0.5", "hold_s = 1.0")], Undecided),
    "a command that is left out": ([('do = ["set flying"]', "do = []")], Undecided),
    "a longer pulse": ([('"igniter", pulse_s = 1.0', '"igniter", pulse_s = 2.0')], Undecided),
    "another filter": ([("time_constant_s = 0.05", "time_constant_s = 0.06")], Witness),
    "another rate": ([("rate_hz = 50", "rate_hz = 100")], Undecided),
}


def changed_small(small, edits):
    plain = load_sequence(small())
    return plain, load_sequence(small(*edits))


@pytest.mark.parametrize("name", SAME)
def test_what_changes_nothing_is_proved_to(name, small):
    edits, why = SAME[name]
    assert same_meaning(*changed_small(small, edits)) == Proved(why)


@pytest.mark.parametrize("name", OTHER)
def test_what_changes_something_is_not_proved(name, small):
    edits, kind = OTHER[name]
    assert isinstance(same_meaning(*changed_small(small, edits)), kind)


def test_an_earlier_exit_that_has_to_wait_makes_no_term_idle(small):
    held = ('when = "flying"', 'when = "flying"\nhold_s = 1.0')
    plain = load_sequence(small(held))
    dropped = load_sequence(small(held, ("key and not plug and not flying", "key and not plug")))
    assert isinstance(same_meaning(plain, dropped), Witness)


def test_without_the_solver_nothing_is_proved(small, monkeypatch):
    monkeypatch.setattr("sequencer.lint.equivalence.has_solver", lambda: False)
    plain = load_sequence(small())
    assert isinstance(same_meaning(plain, plain), Undecided)
