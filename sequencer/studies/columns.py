"""The columns of a campaign's table, one row per flight."""

from __future__ import annotations

from sequencer.scenario import Scenario

__all__ = ["FACTS", "columns_of", "input_of", "margin_of", "status_of"]

#: facts of a flight that are kept; NaN where it has none
FACTS = (
    "apogee_m",
    "flight_s",
    "touchdown_speed_m_s",
    "touchdown_sideways_m_s",
    "touchdown_tilt_deg",
    "touchdown_east_m",
    "touchdown_north_m",
    "least_distance_m",
)


def input_of(quantity: str) -> str:
    """Column of the value that a quantity had, in the unit of its name."""
    return f"input {quantity}"


def margin_of(requirement: str) -> str:
    """Column of the margin of a requirement; NaN where it has none."""
    return f"margin {requirement}"


def status_of(requirement: str) -> str:
    """Column of what a requirement came to."""
    return f"status {requirement}"


def columns_of(scenario: Scenario) -> tuple[str, ...]:
    """All columns, in order: flight, outcome, as_expected, facts, requirements, inputs."""
    names = ["flight", "outcome", "as_expected", *FACTS]
    for requirement in scenario.requirements:
        names += [status_of(requirement.name), margin_of(requirement.name)]
    names += [input_of(each.name) for each in scenario.dispersions.each]
    return tuple(names)
