"""What lint walks holds whatever a flight can do: random sequences on random streams stay in it."""

from __future__ import annotations

from random import Random

import pytest

from sequencer.execute import ReferenceExecutor
from sequencer.lint import RULES, Subject, constant, lint, order
from sequencer.lint.possible import FREE, Can, World
from sequencer.lint.walking import Node, landed, reboot, step_of, walk_of
from sequencer.parsing import Names, Symbol, parse_condition
from sequencer.sequence import Sequence, load_sequence
from sequencer.testing.sequences import random_sequence
from sequencer.testing.streams import random_ride
from sequencer.units import TRUTH, unit

SECOND = unit("s").dimension


def node_of(executor, state):
    return Node(state, frozenset(name for name, on in executor.flags().items() if on))


@pytest.mark.parametrize("seed", range(40))
def test_no_flight_leaves_the_walk(seed):
    """Every state with its flags, every exit and every function fired is one that was walked."""
    for each in random_ride(Random(seed)):  # noqa: S311 - repeatable, not secret
        logic = each.sequence
        walk = walk_of(logic)
        assert walk.whole
        executor = ReferenceExecutor(logic)
        now, booted_at = walk.start.target, 0
        fired_at_boot = walk.start
        for number, step in enumerate(each.steps):
            if number in each.reboots:
                kept = each.reboots[number]
                executor.boot(executor.flags() if kept else None)
                fired_at_boot = reboot(logic, now) if kept else walk.start
                now, booted_at = fired_at_boot.target, step.clock
            out = executor.tick(step.clock - booted_at, list(step.values), list(step.fresh))
            took = [name for kind, name, _ in out.events if kind == "took"]
            fired = {name for kind, name, _ in out.events if kind == "fired"}
            taken = fired_at_boot
            if took:
                way = next(w for w in logic.eligible_exits(now.state) if w.name == took[0])
                taken = step_of(logic, now, way)
                assert taken in walk.steps[now]
                now = taken.target
            assert now == node_of(executor, out.state)
            assert now in walk.steps
            if took:
                here = landed(logic, taken)
                for name in fired & set(taken.fires(logic.functions)):
                    for inhibit in logic.functions[name].inhibits:
                        assert here.can(logic.inhibits[inhibit].condition) != Can(
                            true=True, false=False
                        )


@pytest.mark.parametrize("seed", range(100))
def test_any_sequence_can_be_looked_through(seed):
    logic: Sequence = random_sequence(Random(seed))  # noqa: S311 - repeatable, not secret
    solved = {each.id for each in (*constant.RULES, *order.RULES)}
    rules = [rule for rule in RULES.values() if rule.id not in solved]
    report = lint(Subject({logic.name: logic}, {}), rules)
    for finding in report.findings:
        assert finding.sentence
        assert finding.names


# --- what a condition can be, term by term --------------------------------------------------------


MEMORIES = """[estimates]
silence = { block = "age", input = "baro", unit = "s" }
aloft = { block = "timer", start_when = "flying", unit = "s" }
pushed = { block = "latch", set_when = "accel > lift", unit = "bool" }
most = { block = "vote", members = ["accel > lift", "key", "plug"], needed = 2, quorum = 2,\
 unit = "bool" }
"""


@pytest.fixture
def can(small):
    """What a condition over the small sequence can be, in a world."""
    logic = load_sequence(small(("[estimates]\n", MEMORIES)))
    symbols = {"time_in_state": Symbol(SECOND)}
    for table in (logic.inputs, logic.limits, logic.estimates):
        symbols |= {name: Symbol(unit(entry.unit).dimension) for name, entry in table.items()}
    symbols |= {name: Symbol(TRUTH) for name in logic.flags}

    def ask(text, **known):
        condition = parse_condition(text, Names(symbols, tuple(logic.states), {}))
        return World(logic, **known).can(condition)

    return ask


YES, NO, NEITHER = (
    Can(true=True, false=False),
    Can(true=False, false=True),
    Can(false=False, true=False),
)
LOST_BARO = {"lost": frozenset({"baro"})}
LOST_ACCEL = {"lost": frozenset({"accel"})}


@pytest.mark.parametrize(
    ("text", "known", "expected"),
    [
        ("accel > lift", {}, FREE),
        ("accel > lift", LOST_ACCEL, NEITHER),
        ("felt > lift", LOST_ACCEL, NEITHER),  # through a block
        ("not accel > lift", LOST_ACCEL, NEITHER),
        (
            "accel > lift or time_in_state > latest",
            LOST_ACCEL,
            YES,
        ),
        ("accel > lift and key", LOST_ACCEL, NO),
        ("key", {"lost": frozenset({"key"})}, NEITHER),
        ("flying", {"flags": {"flying": True}}, YES),
        ("flying", {"flags": {"flying": False}}, NO),
        ("flying", {}, FREE),
        ("in_state(pad)", {"state": "pad"}, YES),
        ("in_state(pad)", {"state": "ascent"}, NO),
        ("in_state(pad)", {}, FREE),
        ("silence > latest", LOST_BARO, YES),
        ("silence < latest", LOST_BARO, NO),
        ("silence > latest", {**LOST_BARO, "ages": "stay"}, NO),
        ("latest > silence", {**LOST_BARO, "ages": "stay"}, YES),
        ("silence > latest", {**LOST_BARO, "ages": "lost"}, NEITHER),
        ("silence > latest", LOST_ACCEL, FREE),
        ("most", LOST_ACCEL, FREE),  # the other two decide
        ("most", {"lost": frozenset({"key", "plug"})}, NEITHER),  # below its quorum
        ("pushed", LOST_ACCEL, NEITHER),
        ("pushed", {}, FREE),
        ("aloft > latest", {}, FREE),
        ("aloft > latest", {**LOST_ACCEL, "flags": {"flying": False}}, NO),
        ("aloft < latest", {**LOST_ACCEL, "flags": {"flying": False}}, YES),
        ("aloft > latest", {**LOST_ACCEL, "flags": {"flying": True}}, FREE),
        ("True", {}, YES),
        ("False", {}, NO),
    ],
)
def test_what_a_condition_can_be(can, text, known, expected):
    assert can(text, **known) == expected


def test_an_exit_that_waits_for_a_lost_input_is_never_taken(found):
    """`fresh` counts its refreshes alone."""
    report = found(('when = "fall > falling"\nfresh', 'when = "time_in_state >= latest"\nfresh'))
    assert [one.rule for one in report.open if one.rule == "waits-for-ever"] == []
    report = found(
        ('when = "fall > falling"', 'when = "time_in_state >= latest"'),
        (
            (
                '[[states.ascent.exits]]\nname = "by the timer"\nto = "descent"\n'
                'when = "time_in_state >= latest"\n'
            ),
            "",
        ),
    )
    assert "waits-for-ever" in {one.rule for one in report.open}
