"""What `drycount lint` has found, as JSON of our own and as SARIF 2.1.0.

SARIF: Static Analysis Results Interchange Format, OASIS Standard, 27 March 2020.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from sequencer import __version__
from sequencer.lint import RULES, Finding, Report

__all__ = ["FORMAT", "as_json", "as_sarif"]

#: changes when a reader of the older form would be misled
FORMAT = "drycount lint 1"

_SCHEMA = (
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
)


def as_json(report: Report) -> str:
    """Everything of a report: findings, what was not decided, what was not looked at."""
    document = {
        "format": FORMAT,
        "version": __version__,
        "sequences": [path.as_posix() for path in report.sequences],
        "open": len(report.open),
        "findings": [
            {
                "rule": finding.rule,
                "sentence": finding.sentence,
                "file": finding.file.as_posix(),
                "line": finding.line,
                "names": list(finding.names),
                "details": list(finding.details),
                "reason": finding.reason,
                "accepted": finding.accepted,
            }
            for finding in report.findings
        ],
        "undecided": [
            {"rule": rule, "file": file.as_posix(), "line": line, "sentence": sentence}
            for rule, file, line, sentence in report.undecided
        ],
        "not_looked_at": [{"rule": one.rule, "why": one.why} for one in report.skipped],
    }
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def as_sarif(report: Report) -> str:
    """One run in SARIF 2.1.0; what is accepted is a result that is suppressed in its source."""
    ids = list(RULES)
    notes = [
        _notification(f"{one.rule} had nothing to look at: {one.why}") for one in report.skipped
    ]
    notes += [
        _notification(f"{rule} is not decided: {sentence}", file, line)
        for rule, file, line, sentence in report.undecided
    ]
    run = {
        "tool": {
            "driver": {
                "name": "drycount",
                "semanticVersion": __version__,
                "rules": [
                    {
                        "id": rule.id,
                        "shortDescription": {"text": _sentence(rule.meaning)},
                        "fullDescription": {"text": _sentence(rule.reason)},
                        "defaultConfiguration": {"level": "warning"},
                    }
                    for rule in RULES.values()
                ],
            }
        },
        "columnKind": "unicodeCodePoints",
        "invocations": [{"executionSuccessful": True, "toolExecutionNotifications": notes}],
        "results": [_result(finding, ids) for finding in report.findings],
    }
    document = {"$schema": _SCHEMA, "version": "2.1.0", "runs": [run]}
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def _result(finding: Finding, ids: list[str]) -> dict[str, Any]:
    text = "\n".join((_sentence(finding.sentence), *finding.details))
    result: dict[str, Any] = {
        "ruleId": finding.rule,
        "ruleIndex": ids.index(finding.rule),
        "level": "warning",
        "message": {"text": text},
        "locations": [_location(finding.file, finding.line)],
    }
    if finding.accepted is not None:
        result["suppressions"] = [
            {"kind": "inSource", "status": "accepted", "justification": finding.accepted}
        ]
    return result


def _notification(text: str, file: Path | None = None, line: int = 1) -> dict[str, Any]:
    note: dict[str, Any] = {"level": "note", "message": {"text": _sentence(text)}}
    if file is not None:
        note["locations"] = [_location(file, line)]
    return note


def _location(file: Path, line: int) -> dict[str, Any]:
    return {
        "physicalLocation": {
            "artifactLocation": {"uri": _uri(file)},
            "region": {"startLine": max(line, 1)},
        }
    }


def _uri(file: Path) -> str:
    """Relative to where the command ran, which is how services find the file in a repository."""
    here, whole = Path.cwd(), file.absolute()
    if whole.is_relative_to(here):
        # a relative reference: percent-encoded as the absolute one, without its scheme and root
        return whole.as_uri().removeprefix(here.as_uri().rstrip("/") + "/")
    return whole.as_uri()


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}" + ("" if text.endswith(".") else ".")
