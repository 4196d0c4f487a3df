"""All rules, in the order in which `drycount lint --rules` tells them.

A module of rules lists its own as `RULES`; to add one, write a check with the decorator
`sequencer.lint.findings.rule` and put it there.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sequencer.lint import (
    constant,
    holds,
    inhibits,
    motors,
    order,
    parachutes,
    sensing,
    states,
    unused,
    wiring,
)
from sequencer.lint.findings import Claim, Rule, rule
from sequencer.lint.subject import Subject

__all__ = ["IDLE_ACCEPTANCE", "RULES"]


@rule(
    "idle-acceptance",
    "an [[accepted]] table that accepts nothing that is found",
    "what it spoke of is mended, renamed or was never there; it would hide the next of its kind",
)
def IDLE_ACCEPTANCE(subject: Subject) -> Iterable[Claim]:  # noqa: N802 - it is a constant
    """Judged once all findings are known, in `sequencer.lint.judging`."""
    del subject
    return ()


#: by id
RULES: Mapping[str, Rule] = {
    each.id: each
    for each in (
        *states.RULES,
        *inhibits.RULES,
        *motors.RULES,
        *parachutes.RULES,
        *holds.RULES,
        *sensing.RULES,
        *wiring.RULES,
        *unused.RULES,
        *constant.RULES,
        *order.RULES,
        IDLE_ACCEPTANCE,
    )
}
