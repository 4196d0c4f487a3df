"""What the mutants of a sequence come to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from sequencer.sequence import Sequence as FlightLogic
from sequencer.studies.mutants.equivalent import Prover
from sequencer.studies.mutants.model import LIMITS, ROBUSTNESS, STRUCTURAL, Mutant
from sequencer.studies.mutants.results import Found

__all__ = ["Fate", "Score", "Summary", "summarise"]


@dataclass(frozen=True, slots=True)
class Fate:
    """What became of a mutant.

    status     "killed", "equivalent" (proved) or "survived"
    killers    scenarios that notice, with the first way in which each falls short: one of them, or
               two where that was asked for
    differs    scenarios in which it does something else that nobody notices
    proof      why it is equivalent, or why that could not be shown
    """

    id: str
    kind: str
    line: int
    change: str
    critical: bool
    status: Literal["killed", "equivalent", "survived"]
    killers: Mapping[str, str]
    differs: tuple[str, ...]
    proof: str


@dataclass(frozen=True, slots=True)
class Score:
    """Counts of mutants; `share` is that of the killed among those not proved equivalent."""

    killed: int
    survived: int
    equivalent: int

    @property
    def share(self) -> float:
        """From 0 to 1; 1 where there is nothing to kill."""
        return self.killed / (self.killed + self.survived) if self.killed + self.survived else 1.0


@dataclass(frozen=True, slots=True)
class Summary:
    """All mutants of a sequence.

    fates        of all, in the order of the file
    scenarios    that were flown
    alone        whether a second killer of each was looked for
    """

    sequence: str
    path: Path
    digest: str
    scenarios: tuple[str, ...]
    fates: tuple[Fate, ...]
    alone: bool

    def of(self, kinds: frozenset[str], *, critical: bool = False) -> tuple[Fate, ...]:
        """Mutants of some kinds."""
        return tuple(
            fate for fate in self.fates if fate.kind in kinds and (fate.critical or not critical)
        )

    @property
    def structural(self) -> Score:
        """Of those that change the logic itself."""
        return _score(self.of(STRUCTURAL))

    @property
    def critical(self) -> Score:
        """Of those among them that touch firing, inhibits or aborts."""
        return _score(self.of(STRUCTURAL, critical=True))

    @property
    def limits(self) -> Score:
        """Of limits moved by 10 %."""
        return _score(self.of(LIMITS))

    @property
    def robustness(self) -> Score:
        """Of limits moved by their own tolerance: here nothing should be noticed."""
        return _score(self.of(ROBUSTNESS))


def _score(fates: Sequence[Fate]) -> Score:
    count = [sum(fate.status == each for fate in fates) for each in ("killed", "survived")]
    return Score(count[0], count[1], len(fates) - sum(count))


def summarise(
    logic: FlightLogic,
    mutants: Sequence[Mutant],
    found: Sequence[Found],
    names: Mapping[str, str],
    *,
    alone: bool,
) -> Summary:
    """Sum up what was found; whoever survives is tried to be proved equivalent.

    names   of the scenarios by their keys
    """
    prover = Prover(logic)
    fates = []
    for mutant, each in zip(mutants, found, strict=True):
        killers = {names[key]: why for key, why in each.killers.items() if key in names}
        proved, proof = False, ""
        if not killers and mutant.kind not in ROBUSTNESS | LIMITS:
            proved, proof = prover.same(mutant)
        fates.append(
            Fate(
                id=mutant.id,
                kind=mutant.kind.value,
                line=mutant.line,
                change=mutant.change,
                critical=mutant.critical,
                status="killed" if killers else "equivalent" if proved else "survived",
                killers=dict(list(killers.items())[: 2 if alone else 1]),
                differs=tuple(names[key] for key in each.lived if key in names),
                proof=proof,
            )
        )
    return Summary(
        sequence=logic.name,
        path=logic.path,
        digest=logic.digest,
        scenarios=tuple(names.values()),
        fates=tuple(fates),
        alone=alone,
    )
