"""docs/lint.md leaves out no rule and tells of none that is not there."""

from __future__ import annotations

import re
from pathlib import Path

from sequencer.lint import RULES

PAGE = (Path(__file__).parents[2] / "docs" / "lint.md").read_text(encoding="utf-8")


def test_every_rule_is_in_the_page_and_no_other():
    assert [rule for rule in RULES if f"`{rule}`" not in PAGE] == []
    assert set(re.findall(r"\*\*`([a-z-]+)`\*\*", PAGE)) <= set(RULES)


def test_rules_are_one_sentence_each_without_a_full_stop():
    for rule in RULES.values():
        for text in (rule.meaning, rule.reason):
            assert text == text.strip()
            assert not text.endswith(".")
            assert "\n" not in text
