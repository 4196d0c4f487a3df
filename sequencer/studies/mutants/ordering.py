"""Which scenarios a mutant is flown through, and in which order: the most likely killer first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from sequencer.studies.mutants.baseline import Baseline
from sequencer.studies.mutants.model import Mutant

__all__ = ["can_show", "order_for"]


def can_show(mutant: Mutant, baseline: Baseline) -> bool:
    """Whether a mutant can make a difference in a scenario; see `Shows`."""
    match mutant.shows.what:
        case "entered":
            came = baseline.states
        case "took":
            came = baseline.taken
        case "told":
            came = baseline.told
        case _:
            return True
    return not came.isdisjoint(mutant.shows.names)


def order_for(
    mutant: Mutant, baselines: Mapping[str, Baseline], killers: Mapping[str, int]
) -> list[str]:
    """The scenarios that can show a mutant, in order.

    First those that have killed most mutants of the same part, then those whose unchanged flight
    looks most like being about that part (it took the exit, or few others have to do with it), then
    the short ones.

    killers   how many mutants of the same part each scenario has killed so far
    """
    able = [name for name, baseline in baselines.items() if can_show(mutant, baseline)]
    taken = Counter(way for name in able for way in baselines[name].taken)

    def likely(name: str) -> tuple[int, bool, int, int, str]:
        baseline = baselines[name]
        part = mutant.about.removeprefix("exit ").strip("'")
        rarest = min((taken[way] for way in baseline.taken), default=0)
        return (-killers.get(name, 0), part not in baseline.taken, rarest, baseline.ticks, name)

    return sorted(able, key=likely)
