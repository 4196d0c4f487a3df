"""Flies all mutants of a sequence, or what is missing of them, and sums up."""

from __future__ import annotations

import contextlib
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import groupby
from pathlib import Path

from sequencer import compiling
from sequencer.compiling import lean_numba
from sequencer.errors import UsageError
from sequencer.execute.recording import prepare as prepare_following
from sequencer.flight.batch.jit import prepare as prepare_batch
from sequencer.flight.preparing import prepare
from sequencer.flight.workers import cores
from sequencer.scenario import SUFFIX
from sequencer.scenario.finding import find_scenarios
from sequencer.sequence import load_sequence
from sequencer.studies.mutants.baseline import Baseline
from sequencer.studies.mutants.crew import Baselines, Crew, Group
from sequencer.studies.mutants.flying import Which
from sequencer.studies.mutants.making import mutants_of, sample
from sequencer.studies.mutants.model import Mutant
from sequencer.studies.mutants.ordering import can_show
from sequencer.studies.mutants.results import Found, Results
from sequencer.studies.mutants.summary import Summary, summarise
from sequencer.studies.platforms import platform_here

__all__ = ["fly_mutants"]

#: mutants of one task at most: what is in the air when somebody stops it is lost
_TASK = 12
#: least time between two writings of the results, s
_PAUSE_S = 2.0

#: (how many are done, of how many) -> None
Progress = Callable[[int, int], None]


def fly_mutants(
    sequence: Path,
    paths: Sequence[Path] = (),
    *,
    draw: tuple[int, int] | None = None,
    folder: Path | None = None,
    jobs: int | None = None,
    alone: bool = False,
    progress: Progress | None = None,
    announce: Callable[[str], None] | None = None,
) -> Summary:
    """Fly every mutant of a sequence through the scenarios that fly it, and sum up.

    paths    scenarios, and folders of them; none: those beside the sequence
    draw     (how many, seed): only some of the mutants
    folder   where results are kept, and read from; None: in the user's cache
    jobs     worker processes, 1: none beside this one; nothing but the time depends on it
    alone    look for a second scenario that notices: what the first alone notices is known then

    Raises InputError for files that cannot be used, UsageError where no scenario flies the sequence
    or one falls short as it is.
    """
    logic = load_sequence(sequence)
    files = find_scenarios(paths or [sequence.parent])
    mutants = mutants_of(logic)
    if draw is not None:
        mutants = sample(mutants, *draw)
    if folder is None:
        folder = compiling.cache_parent() / "mutants"
    about = {"sequence": logic.digest, **platform_here()}
    results = Results(folder, logic.name, about)
    with lean_numba():
        prepare(announce)
        prepare_batch(announce)
        prepare_following(announce)
    with contextlib.ExitStack() as stack:
        given = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="drycount-")))
        crew = stack.enter_context(Crew(sequence, given, jobs or cores()))
        stack.callback(results.write)
        suite = _suite(sequence, crew, files)
        flyer = _Flyer(crew, suite, results, progress, 2 if alone else 1)
        baselines = flyer.baselines(mutants)
        flyer.mutants(mutants, baselines)
        results.write()
    found = [results.of(mutant.id) for mutant in mutants]
    names = {key: which.name for key, which in suite.items()}
    return summarise(logic, mutants, found, names, alone=alone)


def _suite(sequence: Path, crew: Crew, files: Sequence[Path]) -> dict[str, Which]:
    """The scenarios that fly the sequence, by their keys, in the order of the files."""
    keys = dict(crew.look(files))
    chosen = [path for path in files if keys[path] is not None]
    if not chosen:
        raise UsageError(f"{sequence}: none of {len(files)} scenarios flies it")
    short = [path.name.removesuffix(SUFFIX) for path in chosen]
    suite = {}
    for path, name in zip(chosen, short, strict=True):
        key = keys[path] or ""
        suite[key] = Which(name if short.count(name) == 1 else str(path), path, key)
    return suite


class _Flyer:
    """Does what is not known yet."""

    def __init__(
        self,
        crew: Crew,
        suite: dict[str, Which],
        results: Results,
        progress: Progress | None,
        wanted: int,
    ) -> None:
        self._crew = crew
        self._suite = suite
        self._results = results
        self._progress = progress or (lambda _done, _all: None)
        self._wanted = wanted
        self._before = 0
        self._written = time.monotonic()

    def baselines(self, mutants: Sequence[Mutant]) -> Baselines:
        """Fly scenarios as they stand: those that nothing is known of, or that mutants need.

        Raises UsageError where one falls short.
        """
        known = {key: self._results.baseline(key) for key in self._suite}
        needed = {key for key, baseline in known.items() if baseline is None}
        for mutant in mutants:
            needed |= self._missing(mutant, known)
        missing = [which for key, which in self._suite.items() if key in needed]
        for done, (which, baseline) in enumerate(self._crew.baselines(missing), 1):
            known[which.key] = baseline
            self._results.add_baseline(which.key, baseline)
            self._progress(done, len(needed) + len(mutants))
            self._write()
        whole = {key: baseline for key, baseline in known.items() if baseline is not None}
        short = [self._suite[key].name for key, each in whole.items() if each.shortfall is not None]
        if short:
            raise UsageError(
                f"{', '.join(short)} {'falls' if len(short) == 1 else 'fall'} short as it is: what "
                "would notice a change has to be as expected without it"
            )
        self._before = len(needed)
        return whole

    def mutants(self, mutants: Sequence[Mutant], baselines: Baselines) -> None:
        """Fly mutants through all scenarios that could notice and are not known not to."""
        done = self._before
        whole = self._before + len(mutants)
        groups = list(self._groups(mutants, baselines))
        done += len(mutants) - sum(len(group.known) for group in groups)
        self._progress(done, whole)
        for found in self._crew.fly(groups):
            for each in found:
                self._results.add(each)
            done += len(found)
            self._progress(done, whole)
            self._write()

    def _groups(self, mutants: Sequence[Mutant], baselines: Baselines) -> Iterator[Group]:
        """Mutants of one part fly together, so that one learns from the other who notices."""
        for _, several in groupby(
            sorted(mutants, key=lambda mutant: mutant.about), key=lambda mutant: mutant.about
        ):
            part = tuple(several)
            for i in range(0, len(part), _TASK):
                task = part[i : i + _TASK]
                if any(self._missing(mutant, baselines) for mutant in task):
                    known = tuple(self._known(self._results.of(mutant.id)) for mutant in task)
                    yield Group(known, self._suite, baselines, self._wanted)

    def _missing(self, mutant: Mutant, baselines: Mapping[str, Baseline | None]) -> set[str]:
        """Scenarios that a mutant has still to be flown through."""
        found = self._known(self._results.of(mutant.id))
        if len(found.killers) >= self._wanted:
            return set()
        seen = {*found.lived, *found.same, *found.killers}
        return {
            key
            for key, baseline in baselines.items()
            if key not in seen and (baseline is None or can_show(mutant, baseline))
        }

    def _known(self, found: Found) -> Found:
        """What is known of a mutant in the scenarios of this suite."""
        return Found(
            found.id,
            {key: why for key, why in found.killers.items() if key in self._suite},
            [key for key in found.lived if key in self._suite],
            [key for key in found.same if key in self._suite],
        )

    def _write(self) -> None:
        now = time.monotonic()
        if now - self._written >= _PAUSE_S:
            self._written = now
            self._results.write()
