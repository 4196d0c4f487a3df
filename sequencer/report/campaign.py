"""A campaign on a terminal, and as JSON."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import asdict
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Any

from rich.console import Console
from rich.text import Text

from sequencer import __version__
from sequencer.report.summary import SHORT, quantity
from sequencer.studies.summary import Requirement, Share, Spread, Summary

__all__ = ["FORMAT", "as_json", "print_campaign"]

#: changes when a reader of the older form would be misled
FORMAT = "drycount campaign results 1"

_NAMES = {
    "apogee_m": "apogee",
    "touchdown_speed_m_s": "landing speed",
    "touchdown_sideways_m_s": "sideways speed",
    "touchdown_tilt_deg": "tilt at touchdown",
}
_UNITS = {
    "apogee_m": "m",
    "touchdown_speed_m_s": "m/s",
    "touchdown_sideways_m_s": "m/s",
    "touchdown_tilt_deg": "deg",
}


def print_campaign(summary: Summary, out: Console) -> None:
    """Print what a campaign came to: first what it proves, then how, then where to look."""
    for line, style in _lines(summary):
        out.print(Text(line, style=style), soft_wrap=not out.is_terminal)


def _lines(summary: Summary) -> Iterator[tuple[str, str]]:
    design = summary.design
    how: str = design.sampling
    if design.replicates > 1:
        how += f", {design.replicates} replicates"
    yield f"{summary.scenario}: {summary.flights} flights, seed {design.seed}, {how}", "bold"
    for sentence in summary.sentences:
        yield sentence, ""
    look, of = summary.look
    if look < of:
        yield f"stopped at look {look} of {of}: all intervals are narrow enough", ""
    percent = f"{100.0 * summary.confidence:.4g} %"
    yield f"all of the model, not of the vehicle; intervals at {percent} confidence", "dim"
    yield "", ""
    shares = (summary.as_expected, *summary.outcomes)
    width = max(len(share.name) for share in shares)
    for share in shares:
        yield _share(share, share.name, width), ""
    yield from _requirements(summary)
    yield "", ""
    yield from _numbers(summary)
    if summary.worst:
        yield "", ""
        yield "worst flights", "bold"
        for worst in summary.worst:
            margin = quantity(worst.margin, worst.unit)
            yield f"  {worst.flight:>8}  {worst.outcome:<12}  {margin}  {worst.requirement}", ""
    yield "", ""
    hashes = "; ".join(f"{name} {digest[:SHORT]}" for name, digest in summary.hashes.items())
    yield f"about: {hashes}", "dim"


def _share(share: Share, name: str, width: int) -> str:
    interval = share.interval
    shown = f"{_percent(interval.estimate)} ({_down(interval.low)} .. {_up(interval.high)})"
    return f"  {name:<{width}}  {share.count:>8}  {shown}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.3g} %"


def _down(share: float) -> str:
    return _outwards(share, ROUND_FLOOR)


def _up(share: float) -> str:
    return _outwards(share, ROUND_CEILING)


def _outwards(share: float, way: str) -> str:
    """An end of an interval with three digits: rounded so that it never promises more."""
    exact = Decimal(f"{100.0 * share:.9g}")
    if not exact:
        return "0 %"
    step = Decimal(1).scaleb(exact.adjusted() - 2)
    return f"{float(exact.quantize(step, rounding=way)):.3g} %"


def _requirements(summary: Summary) -> Iterator[tuple[str, str]]:
    broken = [each for each in summary.requirements if each.broken.count]
    if broken:
        yield "", ""
        yield "broken requirements", "bold"
        width = max(len(each.name) for each in broken)
        for each in sorted(broken, key=lambda rule: -rule.broken.count):
            yield _share(each.broken, each.name, width), "red"
            yield from _drivers(each)
    kept = [each for each in summary.requirements if not each.broken.count]
    # a count has nothing to spare in any good flight
    near = [each for each in kept if each.unit != "1" and _is_near(each.margin)]
    if near:
        yield "", ""
        yield "margins of what was always kept (least, 5 %, median)", "bold"
        width = max(len(each.name) for each in near)
        for each in near:
            margin = each.margin
            assert margin is not None  # noqa: S101 - as chosen above
            shown = (quantity(n, each.unit) for n in (margin.least, margin.low, margin.median))
            yield f"  {each.name:<{width}}  {', '.join(shown)}{_limit(margin, each.unit)}", ""
    idle = [each.name for each in kept if each.margin is None]
    far = len(kept) - len(near) - len(idle)
    if far:
        yield f"{far} more were always kept and nothing came near", ""
    if idle:
        yield f"never put to the test: {', '.join(idle)}", ""


def _is_near(margin: Spread | None) -> bool:
    return margin is not None and math.isfinite(margin.least)


def _drivers(rule: Requirement) -> Iterator[tuple[str, str]]:
    if rule.margin is not None:
        margin = rule.margin
        shown = (quantity(n, rule.unit) for n in (margin.least, margin.low, margin.median))
        yield f"      margin: {', '.join(shown)} (least, 5 %, median)", ""
    if rule.drivers:
        named = ", ".join(f"{each.quantity} {each.correlation:+.2f}" for each in rule.drivers)
        yield f"      goes with: {named}", ""
    else:
        yield "      goes with: nothing that stands out", ""


def _limit(spread: Spread, unit: str) -> str:
    if spread.limit is None or not math.isfinite(spread.limit):
        return ""
    return f"; 95 % of all keep {quantity(spread.limit, unit)}"


def _numbers(summary: Summary) -> Iterator[tuple[str, str]]:
    for name, title in _NAMES.items():
        spread = summary.facts.get(name)
        if spread is not None:
            unit = _UNITS[name]
            numbers = f"{spread.median:.4g} {unit} ({spread.low:.4g} .. {spread.high:.4g})"
            yield f"{title}: {numbers} in 90 % of {spread.flights} flights", ""
    down = summary.touchdown
    if down is not None:
        yield (
            (
                f"touchdown: {down.east_m:.1f} m east, {down.north_m:.1f} m north; 50 % within "
                f"{down.radius_50_m:.1f} m of there, 95 % within {down.radius_95_m:.1f} m"
            ),
            "",
        )


def as_json(summary: Summary) -> str:
    """The results as one JSON document, ending in a newline; infinite numbers are text."""
    document = {"format": FORMAT, "version": __version__, **_plain(asdict(summary))}
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def _plain(value: Any) -> Any:  # noqa: ANN401 - whatever a summary holds
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    return value
