"""Results as JUnit XML for a continuous integration server.

One flight is one testcase; its time is the time flown, not the time the computer took, so that the
file is the same on every run. There is no official standard: the form follows junit-10.xsd (see
tests/report/data), whose suite time has at most three decimals.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from xml.etree import ElementTree as ET

from sequencer.flight.result import Result
from sequencer.report.divergence import divergence_lines
from sequencer.report.summary import about, at, count, event_text, quantity

__all__ = ["as_junit"]

# characters that XML 1.0 cannot hold at all (section 2.2 of the recommendation)
_FORBIDDEN = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

#: of lines in a failure's text, in characters
_WIDTH = 100


def as_junit(results: Sequence[Result]) -> str:
    """The results as one XML document, ending in a newline."""
    total = count(results)
    seconds = sum(_seconds(result) for result in results)
    suite = ET.Element(
        "testsuite",
        {
            "name": "drycount",
            "tests": str(total.all),
            "failures": str(total.short),
            "errors": str(total.failed),
            "skipped": "0",
            "time": f"{seconds:.3f}",
        },
    )
    hashes = about(results)
    if hashes:
        properties = ET.SubElement(suite, "properties")
        for what, digest in hashes:
            ET.SubElement(properties, "property", {"name": _clean(what), "value": _clean(digest)})
    for result in results:
        suite.append(_case(result))
    top = ET.Element("testsuites")
    top.append(suite)
    ET.indent(top, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(top, encoding="unicode") + "\n"


def _case(result: Result) -> ET.Element:
    case = ET.Element(
        "testcase",
        {
            "name": _clean(result.name),
            "classname": _clean(".".join(result.path.parent.parts).strip("./")) or "drycount",
            "time": f"{_seconds(result):.3f}",
        },
    )
    if result.error is not None:
        error = {"type": "input", "message": _clean(result.error)}
        ET.SubElement(case, "error", error).text = _clean(result.error)
    elif result.shortfalls:
        failure = {"type": "shortfall", "message": _clean(result.shortfalls[0].what)}
        ET.SubElement(case, "failure", failure).text = _clean(_details(result))
    if result.record is not None:
        ET.SubElement(case, "system-out").text = _clean(_verdicts(result))
    return case


def _details(result: Result) -> str:
    lines = []
    for shortfall in result.shortfalls:
        lines.append(shortfall.what)
        if shortfall.divergence is not None:
            lines += divergence_lines(shortfall.divergence, _WIDTH)
        if shortfall.first_wrong is not None and result.record is not None:
            event = shortfall.first_wrong
            lines.append(f"  first wrong {at(result.record, event.tick)} {event_text(event)}")
        verdict = shortfall.verdict
        if verdict is not None and verdict.margin is not None:
            margin = quantity(verdict.margin, verdict.unit)
            lines.append(f"  margin {margin} {verdict.requirement}")
    return "\n".join(lines)


def _verdicts(result: Result) -> str:
    if result.record is None:
        return ""
    lines = [f"outcome: {result.record.outcome}"]
    lines += [
        f"{verdict.requirement}: {verdict.status}, margin {quantity(verdict.margin, verdict.unit)}"
        for verdict in result.record.verdicts
    ]
    return "\n".join(lines)


def _seconds(result: Result) -> float:
    return 0.0 if result.record is None else result.record.seconds(result.record.ticks)


def _clean(text: str) -> str:
    return _FORBIDDEN.sub("\ufffd", text)
