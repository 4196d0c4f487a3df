"""Static analysis of sequences, with the vehicle that they fly and with each other."""

from sequencer.lint.findings import Claim, Finding, Report, Rule, Skipped, Undecided, rule
from sequencer.lint.judging import lint
from sequencer.lint.rules import RULES
from sequencer.lint.subject import Subject, read_subjects

__all__ = [
    "RULES",
    "Claim",
    "Finding",
    "Report",
    "Rule",
    "Skipped",
    "Subject",
    "Undecided",
    "lint",
    "read_subjects",
    "rule",
]
