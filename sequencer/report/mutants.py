"""Mutants on a terminal, and as JSON."""

from __future__ import annotations

import json
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from typing import Any

from rich.console import Console
from rich.text import Text

from sequencer import __version__
from sequencer.lint.solving import NOT_INSTALLED
from sequencer.report.summary import SHORT
from sequencer.studies.mutants.model import LIMITS, ROBUSTNESS, STRUCTURAL
from sequencer.studies.mutants.summary import Fate, Score, Summary

__all__ = ["FORMAT", "as_json", "print_mutants"]

#: changes when a reader of the older form would be misled
FORMAT = "drycount mutants results 1"

#: indent, text, style
Line = tuple[int, str, str]


def print_mutants(summary: Summary, out: Console, *, everything: bool = False) -> None:
    """Print what became of mutants: the score, then what nothing notices, worst first.

    everything   also who noticed each of the others
    """
    for indent, text, style in _lines(summary, everything=everything):
        lead = " " * indent
        pieces = [lead + text]
        if out.is_terminal:
            pieces = textwrap.wrap(
                text,
                max(out.width, 40),
                initial_indent=lead,
                subsequent_indent=lead + "    ",
                break_on_hyphens=False,
            )
        for piece in pieces or [""]:
            out.print(Text(piece, style=style), soft_wrap=True)


def _lines(summary: Summary, *, everything: bool) -> Iterator[Line]:
    structural, critical = summary.structural, summary.critical
    done = not structural.survived
    yield 0, f"{summary.sequence}: {_score(structural)}", "bold green" if done else "bold"
    yield 0, f"touching firing, inhibits or aborts: {_score(critical)}", ""
    yield 0, f"limits moved by 10 %: {_noticed(summary.limits)}", ""
    yield 0, f"limits moved by their own tolerance: {_noticed(summary.robustness)}", ""
    survivors = [fate for fate in summary.of(STRUCTURAL) if fate.status == "survived"]
    for title, wanted in (
        ("nothing notices, of what touches firing, inhibits or aborts, if", True),
        ("nothing notices if", False),
    ):
        chosen = [fate for fate in survivors if fate.critical == wanted]
        if chosen:
            yield 0, "", ""
            yield 0, title, "bold red" if wanted else "bold"
            for fate in chosen:
                yield from _survivor(summary, fate)
    yield from _not_compared(survivors)
    yield from _limits(summary)
    yield from _robustness(summary)
    yield from _equivalent(summary)
    if everything:
        yield from _killed(summary)
    yield from _kinds(summary)
    if summary.alone:
        yield from _worth(summary)
    yield 0, "", ""
    about = f"about: sequence {summary.sequence} {summary.digest[:SHORT]}"
    yield 0, f"{about}; {len(summary.scenarios)} scenarios", "dim"


def _score(score: Score) -> str:
    whole = score.killed + score.survived
    text = "no mutant to notice"
    if whole:
        text = f"{score.killed} of {whole} mutants noticed ({_percent(score.share)})"
    return f"{text}, {score.equivalent} more proved equivalent" if score.equivalent else text


def _percent(share: float) -> str:
    """Never rounded up to 100 %."""
    return f"{int(share * 1000) / 10:g} %"


def _noticed(score: Score) -> str:
    whole = score.killed + score.survived
    return f"{score.killed} of {whole} noticed" if whole else "none to notice"


def _place(summary: Summary, fate: Fate) -> str:
    return f"{summary.path.as_posix()}:{fate.line}"


def _survivor(summary: Summary, fate: Fate) -> Iterator[Line]:
    yield 2, f"{_place(summary, fate)}  {fate.change}", ""
    if not fate.differs:
        yield 6, "no scenario does anything else for it: write one that does", "dim"
    else:
        named = _some(fate.differs)
        yield 6, f"{named} {_do(len(fate.differs))} about it", "dim"


def _do(number: int) -> str:
    if number == 1:
        return "does something else, and expects nothing"
    return "do something else, and expect nothing"


def _some(names: tuple[str, ...], most: int = 3) -> str:
    shown = ", ".join(names[:most])
    rest = len(names) - most
    return f"{shown} and {rest} more" if rest > 0 else shown


def _not_compared(survivors: Iterable[Fate]) -> Iterator[Line]:
    """Some of these may make no difference at all, where no solver could look."""
    if any(fate.proof == NOT_INSTALLED for fate in survivors):
        yield 0, "", ""
        yield 0, f"no solver looked whether these can make a difference: {NOT_INSTALLED}", "dim"


def _limits(summary: Summary) -> Iterator[Line]:
    unseen = [fate for fate in summary.of(LIMITS) if fate.status == "survived"]
    if unseen:
        yield 0, "", ""
        yield 0, "10 % more or less of these limits make no difference to any verdict", "bold"
        for fate in unseen:
            yield 2, f"{_place(summary, fate)}  {fate.change}", ""


def _robustness(summary: Summary) -> Iterator[Line]:
    """Here it is the killed that are worth a look: a limit should bear its own tolerance."""
    shaky = [fate for fate in summary.of(ROBUSTNESS) if fate.status == "killed"]
    if shaky:
        yield 0, "", ""
        yield 0, "within its own tolerance a limit changes what comes out", "bold"
    for fate in shaky:
        yield 2, f"{_place(summary, fate)}  {fate.change}", ""
        for name, why in fate.killers.items():
            yield 6, f"{name}: {why}", "dim"


def _equivalent(summary: Summary) -> Iterator[Line]:
    proved = [fate for fate in summary.fates if fate.status == "equivalent"]
    if proved:
        yield 0, "", ""
        yield 0, "proved to make no difference", "bold"
    for fate in proved:
        yield 2, f"{_place(summary, fate)}  {fate.change}", ""
        if fate.proof:
            yield 6, fate.proof, "dim"


def _killed(summary: Summary) -> Iterator[Line]:
    yield 0, "", ""
    yield 0, "noticed", "bold"
    for fate in summary.fates:
        if fate.status == "killed":
            yield 2, f"{_place(summary, fate)}  {fate.change}", ""
            for name, why in fate.killers.items():
                yield 6, f"{name}: {why}", "dim"


def _kinds(summary: Summary) -> Iterator[Line]:
    count = Counter((fate.kind, fate.status) for fate in summary.fates)
    kinds = list(dict.fromkeys(fate.kind for fate in summary.fates))
    if not kinds:
        return
    width = max(map(len, kinds))
    yield 0, "", ""
    yield 0, f"{'':{width}}  noticed  survived  equivalent", "dim"
    for kind in sorted(kinds):
        killed, survived, proved = (
            count[kind, status] for status in ("killed", "survived", "equivalent")
        )
        yield 0, f"{kind:{width}}  {killed:>7}  {survived:>8}  {proved:>10}", ""


def _worth(summary: Summary) -> Iterator[Line]:
    """What would go unnoticed without each scenario."""
    alone: Counter[str] = Counter()
    for fate in summary.of(STRUCTURAL):
        if len(fate.killers) == 1:
            alone.update(list(fate.killers))
    yield 0, "", ""
    yield 0, "structural mutants that one scenario alone notices", "bold"
    width = max(map(len, summary.scenarios))
    for name in sorted(summary.scenarios, key=lambda each: (-alone[each], each)):
        if alone[name]:
            yield 2, f"{name:<{width}}  {alone[name]:>4}", ""
    idle = [name for name in summary.scenarios if not alone[name]]
    if idle:
        yield 2, f"none, of these: {', '.join(idle)}", ""


def as_json(summary: Summary) -> str:
    """The results as one JSON document, ending in a newline."""
    names = ("structural", "critical", "limits", "robustness")
    document: dict[str, Any] = {
        "format": FORMAT,
        "version": __version__,
        "sequence": summary.sequence,
        "file": str(summary.path),
        "digest": summary.digest,
        "scenarios": list(summary.scenarios),
        "second_killers": summary.alone,
        **{name: _counts(getattr(summary, name)) for name in names},
        "mutants": [asdict(fate) for fate in summary.fates],
    }
    return json.dumps(document, indent=1) + "\n"


def _counts(score: Score) -> dict[str, float]:
    return asdict(score) | {"share": score.share}
