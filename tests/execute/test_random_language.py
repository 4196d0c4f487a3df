"""Random sequences leave out nothing that a sequence can say: else comparing them shows little."""

from __future__ import annotations

from random import Random

import pytest

from sequencer import expressions
from sequencer.expressions import Arithmetic, Comparison, Function, InState, LimitCosine, walk
from sequencer.sequence.blocks import BLOCKS, LOOP_BLOCKS
from sequencer.sequence.model import FUNCTION_VERBS
from sequencer.testing.streams import random_ride


@pytest.fixture(scope="module")
def rides():
    return [random_ride(Random(seed)) for seed in range(400)]  # noqa: S311 - no secret


@pytest.fixture(scope="module")
def logics(rides):
    return [each.sequence for ride in rides for each in ride]


@pytest.fixture(scope="module")
def blocks(logics):
    return [each.block for logic in logics for each in logic.estimates.values()]


def commands_of(logic):
    ways = [*logic.common_exits]
    for state in logic.states.values():
        yield from (*state.on_entry, *state.on_leave)
        ways += state.exits
    for way in ways:
        yield from way.actions


def trees(logic):
    yield from (each.condition for each in (*logic.inhibits.values(), *logic.common_exits))
    for state in logic.states.values():
        yield from (way.condition for way in state.exits)
    for block in (each.block for each in (*logic.estimates.values(), *logic.loops.values())):
        yield from (tree for _, tree in block.arguments)


def test_every_block_with_and_without_what_it_may_leave_out(blocks):
    for kind, table in BLOCKS.items():
        drawn = [block for block in blocks if block.kind == kind]
        assert drawn, kind
        may_be_gated = "on_fresh" in table.model_fields
        assert {block.gate is not None for block in drawn} == (
            {True, False} if may_be_gated else {False}
        )
        for name, field in table.model_fields.items():
            if name in {"while_", "reset_when"} and not field.is_required():
                key = field.alias or name
                assert {key in dict(block.arguments) for block in drawn} == {True, False}, key


def test_every_node_operator_and_function(logics):
    nodes = [node for logic in logics for tree in trees(logic) for node in walk(tree)]
    every = {
        kind
        for kind in vars(expressions).values()
        if isinstance(kind, type) and issubclass(kind, expressions.Node)
    }
    assert {type(node) for node in nodes} == every - {expressions.Node}
    assert {n.operator for n in nodes if isinstance(n, Arithmetic)} == set("+-*/")
    compared = {n.operator for n in nodes if isinstance(n, Comparison)}
    assert compared == {"<", "<=", ">", ">=", "==", "!="}
    assert {n.name for n in nodes if isinstance(n, Function)} == {"abs", "sqrt", "min", "max"}
    assert {len(n.states) for n in nodes if isinstance(n, InState)} >= {1, 2}
    tilts = [n for n in nodes if isinstance(n, Comparison)]
    assert any(isinstance(n.left, LimitCosine) for n in tilts)
    assert any(isinstance(n.right, LimitCosine) for n in tilts)


def test_every_function_and_every_command(logics):
    functions = [each for logic in logics for each in logic.functions.values()]
    for kind in FUNCTION_VERBS:
        assert {bool(each.inhibits) for each in functions if each.kind == kind} == {True, False}
    verbs = {command.verb for logic in logics for command in commands_of(logic)}
    assert verbs == {*FUNCTION_VERBS.values(), "cut", "set", "clear"}
    assert {flag.retained for logic in logics for flag in logic.flags.values()} == {True, False}


def test_every_kind_of_exit_and_loop(logics):
    own = [way for logic in logics for state in logic.states.values() for way in state.exits]
    common = [way for logic in logics for way in logic.common_exits]
    for ways in (own, common):
        assert {(way.fresh is not None, way.hold_ticks > 1) for way in ways} == {
            (fresh, held) for fresh in (True, False) for held in (True, False)
        }
        assert any(way.to in way.sources for way in ways)
        assert any(way.actions for way in ways)
    assert any(len(way.sources) > 1 for way in common)
    assert {each.block.kind for logic in logics for each in logic.loops.values()} == set(
        LOOP_BLOCKS
    )
    running = {len(state.loops) for logic in logics for state in logic.states.values()}
    assert running == {0, 1, 2}


def test_publication_messages_and_reboots(rides, logics):
    assert {logic.publication is None for logic in logics} == {True, False}
    assert {len(ride) for ride in rides} == {1, 2}
    assert any(each.heard for ride in rides for each in ride)
    assert {kept for ride in rides for each in ride for kept in each.reboots.values()} == {
        True,
        False,
    }
    skipped = {
        after.clock - step.clock
        for ride in rides
        for each in ride
        for step, after in zip(each.steps, each.steps[1:], strict=False)
    }
    assert skipped >= {1, 2, 3}
