"""What a set of flights exercised of the sequences, and what it did not."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from sequencer.errors import InputError
from sequencer.flight.result import Result, Seen
from sequencer.sequence import load_sequence
from sequencer.sequence.decisions import Decision, decisions_of
from sequencer.sequence.model import Sequence as FlightLogic
from sequencer.studies.exercised import Exercised, exercised
from sequencer.studies.independence import Leaves, Question, Shown
from sequencer.studies.possible import Rule, cannot_be_shown

__all__ = ["DecisionReach", "First", "Reach", "SequenceReach", "reach"]

#: names of scenarios, in the order in which they were flown
Names = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class First:
    """Where something was seen first: in which scenario, and when."""

    scenario: str
    at_s: float


@dataclass(frozen=True, slots=True)
class DecisionReach:
    """What was seen of one decision.

    yes       sights in which the exit was taken, or the inhibit was in place
    no        sights in which the condition was not true, or the inhibit was removed
    idle      sights of an exit whose condition was true without its being taken: not for long
              enough, or after another exit
    shown     by leaf
    cannot    leaves that nothing could ever show
    """

    decision: Decision
    question: Question
    yes: Mapping[Leaves, First]
    no: Mapping[Leaves, First]
    idle: Mapping[Leaves, First]
    shown: tuple[Shown, ...]
    cannot: frozenset[int]

    @property
    def missing(self) -> tuple[int, ...]:
        """Leaves that could be shown to decide, and are not."""
        return tuple(
            leaf
            for leaf, shown in enumerate(self.shown)
            if shown.masking is None and leaf not in self.cannot
        )


@dataclass(frozen=True, slots=True)
class SequenceReach:
    """What was exercised of one sequence; all by name, with the scenarios that did it.

    functions   a control loop of a state that was entered exercises its servos
    held_back   inhibit -> scenarios in which it blocked or cut something
    second_locks  inhibits that nothing could ever make hold anything back: others always do
    rule        what was taken to be possible
    """

    sequence: FlightLogic
    flights: int
    states: Mapping[str, Names]
    exits: Mapping[str, Names]
    functions: Mapping[str, Names]
    held_back: Mapping[str, Names]
    second_locks: frozenset[str]
    decisions: tuple[DecisionReach, ...]
    rule: Rule

    def leaves(self, *, exits: bool) -> tuple[int, int, int, int]:
        """Of all exits, or of all inhibits: leaves, shown, by unique cause, never to be shown."""
        chosen = [one for one in self.decisions if one.decision.is_exit == exits]
        every = [shown for one in chosen for shown in one.shown]
        return (
            len(every),
            sum(shown.masking is not None for shown in every),
            sum(shown.unique is not None for shown in every),
            sum(len(one.cannot) for one in chosen),
        )


@dataclass(frozen=True, slots=True)
class Reach:
    """What was exercised.

    sequences      each file once, in the order in which they flew
    requirements   name -> scenarios that put it to the test
    resting        requirement that none did -> why not, in the words of its first verdict
    """

    flights: int
    sequences: tuple[SequenceReach, ...]
    requirements: Mapping[str, Names]
    resting: Mapping[str, str]


def reach(results: Sequence[Result], rule: Rule | None = None) -> Reach:
    """What flights exercised that were flown with their decisions watched.

    rule   what cannot come about, so that it need not be flown; None: what needs no search

    Raises InputError for a sequence file that can no longer be read, or is another one by now.
    """
    flown = [result for result in results if result.record is not None]
    parts = exercised(flown)
    rule = rule or Rule()
    users: dict[tuple[Path, str], list[tuple[Result, Seen]]] = {}
    for result in flown:
        for seen in result.seen:
            users.setdefault((seen.path, seen.digest), []).append((result, seen))
    requirements: dict[str, list[str]] = {}
    words: dict[str, str] = {}
    for result in flown:
        for verdict in result.record.verdicts if result.record is not None else ():
            names = requirements.setdefault(verdict.requirement, [])
            words.setdefault(verdict.requirement, verdict.because)
            if verdict.requirement in parts[result.path].requirements:
                names.append(result.name)
    return Reach(
        len(flown),
        tuple(_of_sequence(path, digest, of, parts, rule) for (path, digest), of in users.items()),
        {name: tuple(names) for name, names in requirements.items()},
        {name: words[name] for name, names in requirements.items() if not names},
    )


def _of_sequence(
    path: Path,
    digest: str,
    users: Sequence[tuple[Result, Seen]],
    parts: Mapping[Path, Exercised],
    rule: Rule,
) -> SequenceReach:
    sequence = load_sequence(path)
    if sequence.digest != digest:
        raise InputError("is no longer the file that was flown", file=path)
    by_scenario = {result.name: parts[result.path] for result, _ in users}
    computer = sequence.name

    def among(kind: str, names: Iterable[str]) -> dict[str, Names]:
        return {
            name: tuple(
                scenario
                for scenario, found in by_scenario.items()
                if (computer, name) in getattr(found, kind)
            )
            for name in names
        }

    states = among("states", sequence.states)
    functions = among("functions", sequence.functions)
    for name, found in functions.items():
        driven = [
            scenario
            for state in sequence.states.values()
            if any(name in dict(sequence.loops[loop].outputs).values() for loop in state.loops)
            for scenario in states[state.name]
        ]
        functions[name] = tuple(one for one in by_scenario if one in {*found, *driven})
    decisions = decisions_of(sequence)
    held_back = {
        inhibit: tuple(
            scenario
            for scenario, found in by_scenario.items()
            if any(one[:2] == (computer, inhibit) for one in found.held_back)
        )
        for inhibit in sequence.inhibits
    }
    return SequenceReach(
        sequence,
        len(users),
        states,
        among("exits", [one.name for one in decisions if one.is_exit]),
        functions,
        held_back,
        frozenset(
            inhibit
            for inhibit, scenarios in held_back.items()
            if not scenarios and not rule.can_hold_back(sequence, inhibit)
        ),
        tuple(_of_decision(sequence, i, one, users, rule) for i, one in enumerate(decisions)),
        rule,
    )


def _of_decision(
    sequence: FlightLogic,
    index: int,
    decision: Decision,
    users: Iterable[tuple[Result, Seen]],
    rule: Rule,
) -> DecisionReach:
    question = Question(decision.shape, len(decision.leaves), unknown_says_no=decision.is_exit)
    yes: dict[Leaves, First] = {}
    no: dict[Leaves, First] = {}
    idle: dict[Leaves, First] = {}
    for result, seen in users:
        for sight, tick in seen.sights.items():
            if sight.decision != index or result.record is None:
                continue
            says = question.says(sight.leaves)
            if says is None:
                continue
            acts = says and (sight.taken or not decision.is_exit)
            kept = yes if acts else idle if says else no
            if sight.leaves not in kept:
                kept[sight.leaves] = First(result.name, result.record.seconds(tick))
    shown = question.shown(yes, no)
    missing = [leaf for leaf, one in enumerate(shown) if one.masking is None]
    cannot = cannot_be_shown(sequence, decision, question, missing, rule)
    return DecisionReach(decision, question, yes, no, idle, shown, cannot)
