"""`sequencer.flight.clock` in whole numbers.

A world tick is worth `Cpu.SPEED` parts of own time, an own tick `Computer.TURN` of them; both are
whole for every drift of the scenario, so nothing is lost.
"""

from __future__ import annotations

from typing import Final

from sequencer.flight.batch.jit import compiled, plain
from sequencer.flight.batch.layout import Cpu, Table

__all__ = ["advance", "set_speed"]

_COUNT: Final = plain(Cpu.COUNT)
_SINCE: Final = plain(Cpu.SINCE)
_REMAIN: Final = plain(Cpu.REMAIN)
_SPEED: Final = plain(Cpu.SPEED)
_FALLS_ON: Final = plain(Cpu.FALLS_ON)


@compiled(inline=True)
def _count_from(cpu: Table, computer: int, tick: int) -> None:
    cpu[computer, _REMAIN] -= cpu[computer, _SPEED] * (tick - cpu[computer, _SINCE])
    cpu[computer, _SINCE] = tick


@compiled(inline=True)
def _place(cpu: Table, computer: int) -> None:
    """The next own tick falls on the nearest world tick; halfway on the later one."""
    speed = cpu[computer, _SPEED]
    ahead = (2 * cpu[computer, _REMAIN] + speed) // (2 * speed)
    cpu[computer, _FALLS_ON] = cpu[computer, _SINCE] + ahead


@compiled(inline=True)
def advance(cpu: Table, computer: int, turn: int, tick: int) -> None:
    """The own tick that was due is over; `turn` is `Computer.TURN`."""
    cpu[computer, _COUNT] += 1
    _count_from(cpu, computer, tick)
    cpu[computer, _REMAIN] += turn
    _place(cpu, computer)


@compiled()
def set_speed(cpu: Table, computer: int, speed: int, tick: int) -> None:
    """From this world tick on its clock runs at this speed."""
    _count_from(cpu, computer, tick)
    cpu[computer, _SPEED] = speed
    _place(cpu, computer)
