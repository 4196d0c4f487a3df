"""Requirements over flight records: patterns, scopes, windows; verdicts with margins."""

from sequencer.checks.demands import Requirement
from sequencer.checks.judge import judge
from sequencer.checks.load import build_requirement, build_requirements, load_requirements
from sequencer.checks.tables import RequirementTable

__all__ = [
    "Requirement",
    "RequirementTable",
    "build_requirement",
    "build_requirements",
    "judge",
    "load_requirements",
]
