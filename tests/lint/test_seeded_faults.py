"""Faults put into the demo, one place at a time: lint finds each by the name of its rule.

The demo itself is clean, without one acceptance in its files.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from seeding import DEMO, seeded

from sequencer.lint import RULES, constant, lint, order, read_subjects

SEEDS = tomllib.loads((Path(__file__).parent / "data" / "seeds.toml").read_text())["seeds"]


@pytest.mark.parametrize(
    "seed", SEEDS, ids=[f"{n}-{seed['rule']}-{seed['about']}" for n, seed in enumerate(SEEDS, 1)]
)
def test_a_seeded_fault_is_found(tmp_path, seed):
    subject = seeded(tmp_path, seed["file"], (seed["old"], seed["new"]))
    found = lint(subject, [RULES[seed["rule"]]]).open
    assert any(seed["about"] in finding.names for finding in found), [f.sentence for f in found]
    for finding in found:
        assert finding.rule == seed["rule"]
        assert finding.sentence
        assert finding.file.name.startswith(("flight", "pad", "sandpiper"))


def test_every_rule_of_structure_has_a_seed():
    solved = {each.id for each in (*constant.RULES, *order.RULES)}  # test_seeded_conditions.py
    assert set(RULES) - solved - {"idle-acceptance"} <= {seed["rule"] for seed in SEEDS}
    assert len(SEEDS) >= 40


def test_the_demo_is_clean_and_accepts_nothing():
    report = lint(read_subjects([DEMO]))
    assert [f"{one.file.name}:{one.line} {one.sentence}" for one in report.findings] == []
    assert {path.name for path in report.sequences} == {
        "flight.sequence.toml",
        "pad.sequence.toml",
        "pad_unverified.sequence.toml",
    }
    assert all("[[accepted]]" not in Path(path).read_text() for path in report.sequences)
