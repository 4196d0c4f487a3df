"""`sequencer.flight.moment` in numbers: when what is planned is active."""

from __future__ import annotations

from typing import Final

from sequencer.flight.batch.jit import compiled, plain
from sequencer.flight.batch.layout import (
    NEVER,
    NONE,
    Cpu,
    Flight,
    Moment,
    MomentState,
    Plan,
    Row,
    When,
)
from sequencer.flight.batch.notes import word
from sequencer.world.layout import OUT

__all__ = ["active"]

_NONE: Final = plain(NONE)
_NEVER: Final = plain(NEVER)
_WHEN: Final = plain(Moment.WHEN)
_WAIT: Final = plain(Moment.WAIT)
_LASTS: Final = plain(Moment.LASTS)
_AT: Final = plain(Moment.AT)
_LABEL: Final = plain(Moment.LABEL)
_COMPUTER: Final = plain(Moment.COMPUTER)
_STATE: Final = plain(Moment.STATE)
_UNTIL: Final = plain(Moment.UNTIL)
_WHILE_IN: Final = plain(Moment.WHILE_IN)
_TIME: Final = plain(When.TIME)
_EVENT: Final = plain(When.EVENT)
_IN_STATE: Final = plain(When.STATE)
_ABOVE: Final = plain(When.ABOVE)
_BEEN_ABOVE: Final = plain(MomentState.BEEN_ABOVE)
_BEGINS: Final = plain(MomentState.BEGINS)
_ENDS: Final = plain(MomentState.ENDS)
_BEFORE: Final = plain(MomentState.ENDINGS_BEFORE)
_CPU_STATE: Final = plain(Cpu.STATE)
_HEIGHT: Final = word(OUT, "height")


@compiled(inline=True)
def _count(counts: Row, label: int) -> int:
    return 0 if label == _NONE else int(counts[label])


@compiled(inline=True)
def _came(plan: Plan, flight: Flight, moment: int, tick: int) -> bool:
    row = plan.moments[moment]
    when = row[_WHEN]
    if when == _TIME:
        return bool(tick >= row[_AT])
    if when == _EVENT:
        return _count(flight.counts, row[_LABEL]) > 0
    if when == _IN_STATE:
        return bool(row[_WHILE_IN] != 0) or _count(flight.counts, row[_LABEL]) > 0
    height = flight.out_reals[_HEIGHT]
    if when == _ABOVE:
        return bool(height > plan.heights[moment])
    if height > plan.heights[moment]:
        flight.moment[moment, _BEEN_ABOVE] = 1
    return bool(flight.moment[moment, _BEEN_ABOVE] != 0 and height < plan.heights[moment])


@compiled(inline=True)
def _ended(plan: Plan, flight: Flight, moment: int) -> bool:
    until = plan.moments[moment, _UNTIL]
    if until == _NONE:
        return False
    count = _count(flight.counts, until)
    if flight.moment[moment, _BEFORE] == _NONE:
        flight.moment[moment, _BEFORE] = count
    return bool(count > flight.moment[moment, _BEFORE])


@compiled(inline=True)
def active(plan: Plan, flight: Flight, moment: int, tick: int) -> bool:
    """Whether it has begun by this tick and is not over; asked once on every tick."""
    row = plan.moments[moment]
    now = flight.moment[moment]
    if row[_WHILE_IN] != 0 and flight.cpu[row[_COMPUTER], _CPU_STATE] != row[_STATE]:
        now[_BEGINS] = _NONE
        return False
    if now[_BEGINS] == _NONE:
        if not _came(plan, flight, moment, tick):
            return False
        start = row[_AT] if row[_WHEN] == _TIME else tick
        now[_BEGINS] = start + row[_WAIT]
        now[_ENDS] = _NEVER if row[_LASTS] == _NEVER else now[_BEGINS] + row[_LASTS]
    if tick < now[_BEGINS] or tick >= now[_ENDS]:
        return False
    if _ended(plan, flight, moment):
        now[_ENDS] = tick
        return False
    return True
