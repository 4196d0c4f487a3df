"""Requirements judged over one flight record.

Status, in this order:
  broken         at least one stretch of the scope broke it, whatever is unknown elsewhere
  not exercised  no stretch, or what it asks about never came in any
  not decided    the record ended, or a value was missing, before it could be told
  met            all the rest; a margin of zero is met
"""

from __future__ import annotations

from collections.abc import Iterable

from sequencer.checks.answers import answered
from sequencer.checks.demands import Answer, Count, ExactlyOne, Holds, Presence, Requirement
from sequencer.checks.exclusive import exactly_one
from sequencer.checks.findings import Finding
from sequencer.checks.holding import holding
from sequencer.checks.presence import count, presence
from sequencer.checks.scopes import Segment, Segments, segments
from sequencer.checks.view import View
from sequencer.checks.wording import at
from sequencer.record import FlightRecord, Verdict

__all__ = ["judge"]


def judge(
    record: FlightRecord, requirements: Iterable[Requirement], *, sentences: bool = True
) -> tuple[Verdict, ...]:
    """One verdict for each requirement, in their order.

    sentences   False: they do not say why, which is a sixth quicker

    Raises UsageError if a signal was recorded in another unit than a requirement reads it in.
    """
    view = View(record)
    return tuple(_verdict(requirement, view, sentences=sentences) for requirement in requirements)


def _verdict(requirement: Requirement, view: View, *, sentences: bool) -> Verdict:
    status, finding, margin = _found(requirement, view)
    if margin is not None:
        margin = 0.0 if margin == 0 else float(margin)  # no minus zero, no numpy number
    return Verdict(
        requirement=requirement.name,
        status=status,
        margin=margin,
        unit=requirement.unit,
        start=finding.start,
        end=finding.end,
        because=_sentence(finding.text()) if sentences else "",
        reason=requirement.reason,
    )


def _found(requirement: Requirement, view: View) -> tuple[str, Finding, float | None]:
    """What it came to: the status, what tells most, and the margin."""
    stretches = segments(requirement.scope, view)
    findings = [
        finding
        for segment in stretches.found
        if (finding := _examine(requirement, segment, view)) is not None
    ]
    broken = [finding for finding in findings if finding.broken]
    if broken:
        worst = min(broken, key=lambda finding: finding.high)
        return "broken", worst, worst.high
    if not findings:
        return _unasked(requirement, stretches, view)
    waiting = [finding for finding in findings if not finding.kept]
    if waiting:
        return "not decided", waiting[0], None
    least = min(findings, key=lambda finding: finding.low)
    return "met", least, least.low


def _examine(requirement: Requirement, segment: Segment, view: View) -> Finding | None:
    match requirement.demand:
        case Presence() as demand:
            return presence(demand, segment, view)
        case Count() as demand:
            return count(demand, segment, view)
        case Holds() as demand:
            return holding(demand, segment, view)
        case ExactlyOne() as demand:
            return exactly_one(demand, segment, view)
        case Answer() as demand:
            return answered(demand, segment, view)


def _unasked(
    requirement: Requirement, stretches: Segments, view: View
) -> tuple[str, Finding, float | None]:
    if stretches.pending and not stretches.found:
        return (
            "not decided",
            Finding(
                0,
                0,
                None,
                None,
                lambda: (
                    f"the record ended at {at(view, view.last)} before {stretches.missing} came"
                ),
            ),
            None,
        )

    def unasked() -> str:
        if stretches.missing:
            return f"{stretches.missing} never came, so there was nothing to judge"
        demand = requirement.demand
        asked = demand.trigger.text if isinstance(demand, Answer) else "its window"
        return f"{asked} never came inside the scope, so there was nothing to judge"

    return "not exercised", Finding(0, 0, None, None, unasked), None


def _sentence(text: str) -> str:
    """One line; long lists of labels stay readable in a terminal only up to a point."""
    return " ".join(text.split())
