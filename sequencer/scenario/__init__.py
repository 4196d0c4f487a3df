"""Scenario files: what is flown, what goes wrong, and what must come out."""

from sequencer.scenario.dispersed import dispersed
from sequencer.scenario.expect import Expectation, Shortfall, compare
from sequencer.scenario.load import SUFFIX, load_scenario
from sequencer.scenario.model import CrewAction, PlannedFault, Recording, Scenario, Wires
from sequencer.scenario.outcome import OUTCOMES

__all__ = [
    "OUTCOMES",
    "SUFFIX",
    "CrewAction",
    "Expectation",
    "PlannedFault",
    "Recording",
    "Scenario",
    "Shortfall",
    "Wires",
    "compare",
    "dispersed",
    "load_scenario",
]
