"""What a set of flights exercised and what it did not: on a terminal, and for JSON."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from rich.console import Console

from sequencer.expressions import unparse
from sequencer.lint.solving import NOT_INSTALLED, has_solver
from sequencer.report.coverage import print_missing
from sequencer.report.terminal import Page
from sequencer.scenario.coverage import Coverage
from sequencer.sequence.decisions import FALSE, TRUE
from sequencer.sequence.model import Exit
from sequencer.studies.advice import gaps, missing_requirements
from sequencer.studies.independence import Leaves, Pair
from sequencer.studies.reach import DecisionReach, First, Reach, SequenceReach

__all__ = ["as_dict", "print_reach"]

#: more scenarios than this for one name are counted, not listed
LISTED = 6

_TRUTHS = {FALSE: False, TRUE: True}


def print_reach(found: Reach, faults: Coverage, out: Console, *, everything: bool = False) -> None:
    """Print, for each sequence, what was exercised in numbers, and what to fly for the rest.

    everything   also by which scenarios
    """
    page = Page.on(out)
    page.line()
    page.line(f"what {_scenarios(found.flights)} exercised", "bold")
    for one in found.sequences:
        page.line()
        _sequence(page, one, everything=everything)
    page.line()
    met = sum(bool(names) for names in found.requirements.values())
    page.line(f"requirements  {_of(met, len(found.requirements))} put to the test")
    for sentence in missing_requirements(found):
        page.wrapped("  ", sentence)
    wanted = len(faults.wanted)
    missing = len(faults.missing)
    text = f"{_of(wanted - missing, wanted)} cells that matter covered (fault by phase)"
    page.wrapped("faults        ", f"{text}{', but not:' if missing else ''}")
    print_missing(faults, out)
    page.line()
    if not has_solver():
        text = f"what nothing could ever show was not asked of a solver: {NOT_INSTALLED}"
        page.wrapped("", text, "dim")
    page.wrapped("", _closing(found), "bold")


def as_dict(found: Reach, faults: Coverage) -> dict[str, Any]:
    """The same as plain data for JSON; names with the scenarios that exercised them."""
    return {
        "scenarios": found.flights,
        "sequences": [_sequence_data(one) for one in found.sequences],
        "requirements": {name: list(names) for name, names in found.requirements.items()},
        "faults": {
            "wanted": len(faults.wanted),
            "missing": [
                {"fault": one.cell.fault, "phase": one.cell.phase, "reason": one.reason}
                for one in faults.missing
            ],
        },
    }


def _sequence(page: Page, one: SequenceReach, *, everything: bool) -> None:
    sequence = one.sequence
    flights = _scenarios(one.flights)
    page.wrapped("", f"{sequence.name}: {sequence.path.as_posix()}, in {flights}", "bold")
    parts = (
        ("states", one.states, "entered"),
        ("exits", one.exits, "taken"),
        ("functions", one.functions, "on or moved"),
        ("inhibits", one.held_back, _held(one)),
    )
    for word, names, done in parts:
        able = len(names) - (len(one.second_locks) if names is one.held_back else 0)
        if names:
            page.line(f"  {word:<10}  {_of(_reached(names), able)} {done}")
    for word, exits in (("exits", True), ("inhibits", False)):
        leaves, shown, unique, cannot = one.leaves(exits=exits)
        if leaves:
            able = leaves - cannot
            text = f"{_of(shown, able)} conditions of {word} shown to decide"
            text += f" ({_share(shown, able)})" if able else ""
            text += f", {unique} of them by unique cause" if unique < shown else ""
            text += f"; {cannot} more cannot be shown" if cannot else ""
            page.wrapped("  decisions   ", text)
    _impossible(page, one)
    if everything:
        _names(page, parts)
    found = gaps(one)
    if found:
        page.line("  to fly")
    wide = max((len(str(gap.line)) for gap in found if gap.line is not None), default=0)
    for gap in found:
        lead = "" if gap.line is None else str(gap.line)
        page.wrapped(f"  {lead:>{wide}}  ", gap.sentence)


def _impossible(page: Page, one: SequenceReach) -> None:
    """What no flight could exercise, and so need not."""
    for each in one.decisions:
        of = each.decision
        for leaf in sorted(each.cannot):
            text = f"nothing could ever show that `{unparse(of.leaves[leaf])}` alone decides "
            page.wrapped("  ", f"{text}{'exit' if of.is_exit else 'inhibit'} '{of.name}'", "dim")
    for inhibit in one.sequence.inhibits:
        if inhibit in one.second_locks:
            text = f"inhibit '{inhibit}' can never be the one that holds something back"
            page.wrapped("  ", text, "dim")


def _held(one: SequenceReach) -> str:
    locks = len(one.second_locks)
    return "held something back" + (
        f"; {locks} more can never be the one that does" if locks else ""
    )


def _names(page: Page, parts: Iterable[tuple[str, Mapping[str, tuple[str, ...]], str]]) -> None:
    """Every name with the scenarios that exercised it, or how many there are."""
    for word, names, done in parts:
        if names:
            page.line(f"  {word} {done}")
        for name, scenarios in names.items():
            few = 0 < len(scenarios) <= LISTED
            text = ", ".join(scenarios) if few else f"{_scenarios(len(scenarios))}"
            page.wrapped("    ", f"{name}: {text}")


def _closing(found: Reach) -> str:
    states = exits = all_states = all_exits = leaves = shown = 0
    for one in found.sequences:
        states, all_states = states + _reached(one.states), all_states + len(one.states)
        exits, all_exits = exits + _reached(one.exits), all_exits + len(one.exits)
        for kind in (True, False):
            count, good, _, cannot = one.leaves(exits=kind)
            leaves, shown = leaves + count - cannot, shown + good
    return (
        f"{_of(states, all_states)} states, {_of(exits, all_exits)} exits, "
        f"{_of(shown, leaves)} conditions ({_share(shown, leaves)}) shown to decide"
    )


def _sequence_data(one: SequenceReach) -> dict[str, Any]:
    return {
        "computer": one.sequence.name,
        "file": one.sequence.path.as_posix(),
        "digest": one.sequence.digest,
        "scenarios": one.flights,
        "states": _listed(one.states),
        "exits": _listed(one.exits),
        "functions": _listed(one.functions),
        "inhibits": _listed(one.held_back),
        "second_locks": sorted(one.second_locks),
        "decisions": [_decision_data(each) for each in one.decisions],
        "to_fly": [
            {
                "kind": gap.kind,
                "name": gap.name,
                "condition": gap.leaf,
                "line": gap.line,
                "sentence": gap.sentence,
            }
            for gap in gaps(one)
        ],
    }


def _decision_data(one: DecisionReach) -> dict[str, Any]:
    of = one.decision.of
    return {
        "of": "exit" if isinstance(of, Exit) else "inhibit",
        "name": of.name,
        "conditions": [
            {
                "text": unparse(leaf),
                "unique_cause": _pair(one, shown.unique),
                "masking": _pair(one, shown.masking),
                "cannot_be_shown": i in one.cannot,
            }
            for i, (leaf, shown) in enumerate(zip(one.decision.leaves, one.shown, strict=True))
        ],
    }


def _pair(one: DecisionReach, pair: Pair | None) -> dict[str, Any] | None:
    if pair is None:
        return None
    return {
        "yes": _sight(pair.yes, one.yes[pair.yes]),
        "no": _sight(pair.no, one.no[pair.no]),
    }


def _sight(leaves: Leaves, first: First) -> dict[str, Any]:
    """The conditions (None for unknown), and where they were seen so first."""
    return {
        "conditions": [_TRUTHS.get(value) for value in leaves],
        "scenario": first.scenario,
        "at_s": first.at_s,
    }


def _listed(names: Mapping[str, tuple[str, ...]]) -> dict[str, list[str]]:
    return {name: list(scenarios) for name, scenarios in names.items()}


def _reached(names: Mapping[str, tuple[str, ...]]) -> int:
    return sum(bool(scenarios) for scenarios in names.values())


def _of(part: int, whole: int) -> str:
    return f"{part} of {whole}"


def _share(part: int, whole: int) -> str:
    """Rounded down: 100 % is all of them."""
    return f"{100 * part // whole} %" if whole else "0 %"


def _scenarios(number: int) -> str:
    return "1 scenario" if number == 1 else f"{number} scenarios"
