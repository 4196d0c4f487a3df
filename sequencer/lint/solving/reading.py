"""What a condition goes by, once the estimates without a memory have been seen through."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sequencer.expressions import InState, LimitCosine, Node, Variable, walk
from sequencer.lint.solving.answers import Moment
from sequencer.sequence.model import Estimate, Sequence

__all__ = ["is_seen_through", "moment_for", "moment_of", "quantities", "touched", "touches"]


def is_seen_through(estimate: Estimate) -> bool:
    """Whether an estimate is only a name for an expression: it remembers nothing."""
    return estimate.block.gate is None and estimate.block.kind in ("expression", "vote")


def quantities(sequence: Sequence, node: Node) -> tuple[str, ...]:
    """Inputs, flags, estimates with a memory and `time_in_state`, each once, in reading order."""
    return tuple(dict.fromkeys(_read(sequence, node)))


def _given(sequence: Sequence, name: str) -> tuple[Node, ...]:
    """The expressions of an estimate that is seen through."""
    estimate = sequence.estimates[name]
    if not is_seen_through(estimate):
        return ()
    return tuple(node for _, node in estimate.block.arguments)


def _read(sequence: Sequence, node: Node) -> list[str]:
    found: list[str] = []
    for part in walk(node):
        if not isinstance(part, Variable) or part.name in sequence.limits:
            continue
        given = _given(sequence, part.name) if part.name in sequence.estimates else ()
        if given:
            for inner in given:
                found += _read(sequence, inner)
        else:
            found.append(part.name)
    return found


def touches(sequence: Sequence, node: Node) -> frozenset[str]:
    """All names that it goes by, also through estimates with a memory: declared and limits."""
    return touched(sequence, node)[0]


def moment_for(
    sequence: Sequence, nodes: Iterable[Node], state: str, flags: Mapping[str, bool]
) -> Moment:
    """What of a state and its flags conditions go by, so that equal questions look equal."""
    return moment_of([touched(sequence, node) for node in nodes], state, flags)


def moment_of(
    found: Iterable[tuple[frozenset[str], bool]], state: str, flags: Mapping[str, bool]
) -> Moment:
    """The same, from what was found `touched`."""
    found = list(found)
    read = frozenset[str]().union(*(names for names, _ in found))
    known = {name: value for name, value in flags.items() if name in read}
    return Moment(state=state if any(asks for _, asks in found) else None, flags=known)


def touched(sequence: Sequence, node: Node) -> tuple[frozenset[str], bool]:
    """What it `touches`, and whether it asks for the state anywhere on the way."""
    names: set[str] = set()
    asks = False
    for part in walk(node):
        if isinstance(part, InState):
            asks = True
        elif isinstance(part, Variable | LimitCosine):
            names.add(part.name)
            if part.name in sequence.estimates:
                for _, given in sequence.estimates[part.name].block.arguments:
                    inner, state_too = touched(sequence, given)
                    names |= inner
                    asks = asks or state_too
    return frozenset(names), asks
