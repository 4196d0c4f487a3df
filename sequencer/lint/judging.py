"""Runs the rules over subjects: claims become findings, and acceptances are held against them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from sequencer.documents import located
from sequencer.errors import nearest
from sequencer.lint.findings import Finding, Report, Rule, Skipped, Undecided
from sequencer.lint.rules import IDLE_ACCEPTANCE, RULES
from sequencer.lint.subject import Subject
from sequencer.sequence.model import Acceptance

__all__ = ["lint"]


def lint(
    subjects: Subject | Iterable[Subject], rules: Sequence[Rule] = tuple(RULES.values())
) -> Report:
    """Everything that `rules` find in the subjects, each thing once, in the order of the files.

    Raises InputError for an acceptance that names no rule.
    """
    given = (subjects,) if isinstance(subjects, Subject) else tuple(subjects)
    _check_acceptances(given)
    found: dict[Finding, None] = {}
    undecided: dict[tuple[str, Path, int, str], None] = {}
    skipped: list[Skipped] = []
    ran: set[tuple[str, Path]] = set()  # (rule, sequence that it has looked at)
    for each in rules:
        lacks = [each.needs(subject) for subject in given]
        looked = [subject for subject, lack in zip(given, lacks, strict=True) if lack is None]
        reasons = dict.fromkeys(lack for lack in lacks if lack is not None)
        if not looked:
            skipped.append(Skipped(each.id, "; ".join(reasons)))
        ran |= {(each.id, logic.path) for one in looked for logic in one.sequences.values()}
        claims = [_claims(each, subject, undecided) for subject in looked]
        for own in claims:
            for finding in own:
                also = [
                    other
                    for subject, other in zip(looked, claims, strict=True)
                    if _flies(subject, finding.sequence)
                ]
                if not each.everywhere or all(finding in other for other in also):
                    found[finding] = None
    findings = _accepted(given, list(found), ran)
    files = dict.fromkeys(logic.path for one in given for logic in one.sequences.values())
    order = {path: number for number, path in enumerate(files)}
    last = len(order)
    return Report(
        tuple(sorted(findings, key=lambda f: (order.get(f.file, last), str(f.file), f.line))),
        tuple(sorted(undecided, key=lambda entry: (order.get(entry[1], last), entry[2]))),
        tuple(skipped),
        tuple(files),
    )


def _flies(subject: Subject, sequence: Path) -> bool:
    return any(logic.path == sequence for logic in subject.sequences.values())


def _claims(
    rule: Rule, subject: Subject, undecided: dict[tuple[str, Path, int, str], None]
) -> dict[Finding, None]:
    found: dict[Finding, None] = {}
    for claim in rule.check(subject):
        if isinstance(claim, Undecided):
            file = claim.logic.path
            sentence = f"{claim.sentence}: {claim.why}"
            undecided[rule.id, file, subject.line(file, claim.at), sentence] = None
            continue
        file = claim.file or claim.logic.path
        finding = Finding(
            rule=rule.id,
            sentence=claim.sentence,
            file=file,
            line=subject.line(file, claim.at),
            names=claim.names,
            details=claim.details,
            reason=rule.reason,
            sequence=claim.logic.path,
        )
        found[finding] = None
    return found


def _check_acceptances(subjects: Iterable[Subject]) -> None:
    """Refuse acceptances of rules that do not exist."""
    for subject in subjects:
        for logic in subject.sequences.values():
            for number, entry in enumerate(logic.accepted):
                if entry.rule not in RULES:
                    raise located(
                        logic.path,
                        ("accepted", number, "rule"),
                        f"no rule is called '{entry.rule}'",
                        nearest(entry.rule, RULES),
                    )


def _about(entry: Acceptance, findings: Iterable[Finding]) -> str:
    """What an acceptance speaks of; of names that no finding of its rule has, the nearest."""
    known = list(dict.fromkeys(name for finding in findings for name in finding.names))
    text = " and ".join(f"'{name}'" for name in entry.about)
    guesses = [nearest(name, known) for name in entry.about if name not in known]
    hints = " and ".join(f"'{guess}'" for guess in guesses if guess)
    return f"{text}; did you mean {hints}?" if hints else text


def _accepted(
    subjects: Iterable[Subject], findings: list[Finding], ran: set[tuple[str, Path]]
) -> list[Finding]:
    """The findings with what accepts them; acceptances that accept nothing are found as well."""
    logics = {logic.path: logic for one in subjects for logic in one.sequences.values()}
    result = list(findings)
    for path, logic in logics.items():
        for entry in logic.accepted:
            used = False
            for number, finding in enumerate(result):
                if (
                    finding.rule == entry.rule
                    and finding.sequence == path
                    and set(entry.about) <= set(finding.names)
                ):
                    used = True
                    result[number] = finding.with_acceptance(entry.reason)
            if not used and (entry.rule, path) in ran:
                about = _about(
                    entry,
                    (
                        each
                        for each in findings
                        if each.rule == entry.rule and each.sequence == path
                    ),
                )
                result.append(
                    Finding(
                        rule=IDLE_ACCEPTANCE.id,
                        sentence=f"nothing that '{entry.rule}' finds is about {about}",
                        file=path,
                        line=entry.line,
                        names=(entry.rule, *entry.about),
                        details=(),
                        reason=IDLE_ACCEPTANCE.reason,
                        sequence=path,
                    )
                )
    return result
