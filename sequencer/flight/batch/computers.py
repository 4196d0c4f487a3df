"""`sequencer.flight.computer` in numbers: one own tick, loss of power, boot, log and stalls."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from sequencer.execute.layout import STATE
from sequencer.execute.layout import Head as Code
from sequencer.flight.batch.clocks import advance
from sequencer.flight.batch.jit import compiled, plain
from sequencer.flight.batch.layout import (
    NONE,
    Computer,
    Cpu,
    Flight,
    Label,
    Plan,
    Row,
    Table,
)
from sequencer.flight.batch.mail import forget_mail, read_mail, send
from sequencer.flight.batch.notes import note, word
from sequencer.world.layout import COMMANDS, OUT

__all__ = ["begin_computer", "cut_power", "restart", "sense", "turn"]

_NONE: Final = plain(NONE)
_CODE_AT: Final = plain(Computer.CODE_AT)
_CODE_END: Final = plain(Computer.CODE_END)
_NUMBERS_AT: Final = plain(Computer.NUMBERS_AT)
_NUMBERS_END: Final = plain(Computer.NUMBERS_END)
_MEMORY_AT: Final = plain(Computer.MEMORY_AT)
_MEMORY_END: Final = plain(Computer.MEMORY_END)
_INPUTS_AT: Final = plain(Computer.INPUTS_AT)
_INPUTS_END: Final = plain(Computer.INPUTS_END)
_PULSES_AT: Final = plain(Computer.PULSES_AT)
_SERVOS_AT: Final = plain(Computer.SERVOS_AT)
_SENSORS_AT: Final = plain(Computer.SENSORS_AT)
_SENSORS_END: Final = plain(Computer.SENSORS_END)
_CHANNELS_AT: Final = plain(Computer.CHANNELS_AT)
_CHANNELS_END: Final = plain(Computer.CHANNELS_END)
_SERVO_LIST_AT: Final = plain(Computer.SERVO_LIST_AT)
_RETAINED_AT: Final = plain(Computer.RETAINED_AT)
_RETAINED_END: Final = plain(Computer.RETAINED_END)
_PERIOD: Final = plain(Computer.PERIOD)
_BOOT_TICKS: Final = plain(Computer.BOOT_TICKS)
_LOGS: Final = plain(Computer.LOGS)
_LOG_MEMORY: Final = plain(Computer.LOG_MEMORY)
_LOG_BUFFER: Final = plain(Computer.LOG_BUFFER)
_STALL_EVERY: Final = plain(Computer.STALL_EVERY)
_TURN: Final = plain(Computer.TURN)
_COUNT: Final = plain(Cpu.COUNT)
_CPU_STATE: Final = plain(Cpu.STATE)
_CUTS: Final = plain(Cpu.CUTS)
_BOOTS_AT: Final = plain(Cpu.BOOTS_AT)
_BORN: Final = plain(Cpu.BORN)
_BOOT_NUMBER: Final = plain(Cpu.BOOT_NUMBER)
_NUMBERS: Final = plain(Cpu.NUMBERS)
_DRIVEN: Final = plain(Cpu.DRIVEN)
_LOG_WRITTEN: Final = plain(Cpu.LOG_WRITTEN)
_LOG_WAITING: Final = plain(Cpu.LOG_WAITING)
_LATE: Final = plain(Label.LATE)
_BOOTED: Final = plain(Label.BOOTED)
_LOG_FULL: Final = plain(Label.LOG_FULL)
_LOG_CUT: Final = plain(Label.LOG_CUT)
_PULSES: Final = plain(Code.PULSES)
_SERVOS: Final = plain(Code.SERVOS)
_UNTIL: Final = plain(Code.M_UNTIL)
_DEMAND: Final = plain(Code.M_DEMAND)
_STATE: Final = plain(STATE)
_CHANNEL: Final = word(COMMANDS, "channel")
_SERVO: Final = word(COMMANDS, "servo")
_VALUE: Final = word(OUT, "value")
_FRESH: Final = word(OUT, "fresh")
_NAN: Final = float("nan")
#: place of the logger's own writes among the reasons of a computer to be late
_LOG_WRITES: Final = plain(0)


@compiled(inline=True)
def _full(cpu: Row, row: Row) -> bool:
    return bool(cpu[_LOG_WRITTEN] + cpu[_LOG_WAITING] >= row[_LOG_MEMORY])


@compiled(inline=True)
def _start_log(plan: Plan, flight: Flight, computer: int) -> None:
    every = plan.computers[computer, _STALL_EVERY]
    if every != 0 and not _full(flight.cpu[computer], plan.computers[computer]):
        flight.stalls[computer, _LOG_WRITES, 0] = every
        flight.stalls[computer, _LOG_WRITES, 1] = flight.cpu[computer, _BORN]


@compiled(inline=True)
def _log(plan: Plan, flight: Flight, computer: int) -> None:
    """One more record of the tick that has run."""
    if plan.computers[computer, _LOGS] == 0 or _full(
        flight.cpu[computer], plan.computers[computer]
    ):
        return
    cpu = flight.cpu[computer]
    cpu[_LOG_WAITING] += 1
    full = _full(flight.cpu[computer], plan.computers[computer])
    if full or cpu[_LOG_WAITING] >= plan.computers[computer, _LOG_BUFFER]:
        cpu[_LOG_WRITTEN] += cpu[_LOG_WAITING]
        cpu[_LOG_WAITING] = 0
    if full:
        note(plan, flight, plan.labels[computer, _LOG_FULL], cpu[_LOG_WRITTEN], 0.0)
        flight.stalls[computer, _LOG_WRITES, 0] = 0


@compiled()
def begin_computer(plan: Plan, flight: Flight, computer: int) -> None:
    """Its first boot, before the first tick."""
    row = plan.computers[computer]
    for i in range(row[_MEMORY_AT], row[_MEMORY_END]):
        flight.memory[i] = plan.boot[i]
    _start_log(plan, flight, computer)


@compiled(inline=True)
def sense(plan: Plan, flight: Flight, computer: int) -> None:
    """Collect what the sensors said; the latest answer wins.

    A computer that is down hears nothing: it boots with what is said just then.
    """
    row = plan.computers[computer]
    if flight.cpu[computer, _CUTS] != 0 or flight.cpu[computer, _BOOTS_AT] != _NONE:
        for i in range(row[_INPUTS_AT], row[_INPUTS_END]):
            flight.fresh[i] = False
    for pair in range(row[_SENSORS_AT], row[_SENSORS_END], 2):
        sensor = plan.lists[pair + 1]
        if flight.out_ints[_FRESH + sensor] != 0:
            at = row[_INPUTS_AT] + plan.lists[pair]
            flight.values[at] = flight.out_reals[_VALUE + sensor]
            flight.fresh[at] = True


@compiled()
def cut_power(plan: Plan, flight: Flight, computer: int) -> None:
    """For one more reason it has no power."""
    cpu = flight.cpu[computer]
    cpu[_CUTS] += 1
    if cpu[_CUTS] > 1:
        return
    row = plan.computers[computer]
    cpu[_BOOTS_AT] = _NONE
    cpu[_DRIVEN] = 0
    cpu[_CPU_STATE] = _NONE
    for pair in range(row[_CHANNELS_AT], row[_CHANNELS_END], 2):
        flight.command_ints[_CHANNEL + plan.lists[pair + 1]] = 0
    for i in range(plan.code[row[_CODE_AT] + _SERVOS]):
        flight.command_reals[_SERVO + plan.lists[row[_SERVO_LIST_AT] + i]] = _NAN
    for i in range(row[_INPUTS_AT], row[_INPUTS_END]):
        flight.fresh[i] = False
    flight.stalls[computer, _LOG_WRITES, 0] = 0
    if row[_LOGS] != 0 and cpu[_LOG_WAITING] > 0:
        lost = cpu[_LOG_WAITING]
        cpu[_LOG_WAITING] = 0
        note(plan, flight, plan.labels[computer, _LOG_CUT], lost, 0.0)


@compiled()
def restart(plan: Plan, flight: Flight, computer: int) -> None:
    """One reason less; with the last of them gone it boots after its boot time."""
    cpu = flight.cpu[computer]
    cpu[_CUTS] -= 1
    if cpu[_CUTS] == 0:
        cpu[_BOOTS_AT] = cpu[_COUNT] + plan.computers[computer, _BOOT_TICKS]


@compiled()
def _boot(plan: Plan, flight: Flight, computer: int, count: int, tick: int) -> None:
    """Start anew with the retained flags as the last tick left them."""
    cpu = flight.cpu[computer]
    row = plan.computers[computer]
    cpu[_BOOTS_AT] = _NONE
    cpu[_BORN] = count
    cpu[_BOOT_NUMBER] += 1
    cpu[_NUMBERS] = 0
    forget_mail(plan, flight, computer, tick)
    at = row[_MEMORY_AT]
    for i in range(at, row[_MEMORY_END]):
        kept = False
        for flag in range(row[_RETAINED_AT], row[_RETAINED_END]):
            if at + plan.lists[flag] == i:
                kept = True
        if not kept:
            flight.memory[i] = plan.boot[i]
    _start_log(plan, flight, computer)
    note(plan, flight, plan.labels[computer, _BOOTED], cpu[_BOOT_NUMBER], 0.0)


@compiled(inline=True)
def _late(stalls: Table, count: int) -> bool:
    for reason in range(stalls.shape[0]):
        every = stalls[reason, 0]
        if every != 0 and (count - stalls[reason, 1]) % every == every - 1:
            return True
    return False


@compiled(inline=True)
def _drive(plan: Plan, flight: Flight, computer: int) -> None:
    """Drive what has changed; functions that share a channel are OR-ed."""
    row = plan.computers[computer]
    code, memory = row[_CODE_AT], row[_MEMORY_AT]
    until = memory + plan.code[code + _UNTIL]
    demand = memory + plan.code[code + _DEMAND]
    same = flight.cpu[computer, _DRIVEN] != 0
    flight.cpu[computer, _DRIVEN] = 1
    for i in range(plan.code[code + _PULSES]):
        on = 1 if flight.memory[until + i] > 0.0 else 0
        if on != flight.on[row[_PULSES_AT] + i]:
            same = False
            flight.on[row[_PULSES_AT] + i] = on
    for i in range(plan.code[code + _SERVOS]):
        if flight.memory[demand + i] != flight.demands[row[_SERVOS_AT] + i]:
            same = False
    if same:
        return
    for pair in range(row[_CHANNELS_AT], row[_CHANNELS_END], 2):
        flight.command_ints[_CHANNEL + plan.lists[pair + 1]] = 0
    for pair in range(row[_CHANNELS_AT], row[_CHANNELS_END], 2):
        if flight.on[row[_PULSES_AT] + plan.lists[pair]] != 0:
            flight.command_ints[_CHANNEL + plan.lists[pair + 1]] = 1
    for i in range(plan.code[code + _SERVOS]):
        value = flight.memory[demand + i]
        flight.demands[row[_SERVOS_AT] + i] = value
        flight.command_reals[_SERVO + plan.lists[row[_SERVO_LIST_AT] + i]] = value


@compiled(inline=True)
def _run(
    run: Any,  # noqa: ANN401 - a pointer to `sequencer.execute.interpret.tick`
    plan: Plan,
    flight: Flight,
    params: NDArray[np.int64],
    computer: int,
    count: int,
    tick: int,
) -> None:
    """Read mail, execute the logic, drive channels and servos, publish."""
    read_mail(plan, flight, computer, tick)
    row = plan.computers[computer]
    cpu = flight.cpu[computer]
    clock = count - cpu[_BORN]
    first, last = row[_INPUTS_AT], row[_INPUTS_END]
    run(
        plan.code[row[_CODE_AT] : row[_CODE_END]],
        plan.numbers[row[_NUMBERS_AT] : row[_NUMBERS_END]],
        flight.memory[row[_MEMORY_AT] : row[_MEMORY_END]],
        flight.queue,
        flight.told,
        clock,
        flight.values[first:last],
        flight.fresh[first:last],
    )
    for i in range(first, last):
        flight.fresh[i] = False
    cpu[_CPU_STATE] = int(flight.memory[row[_MEMORY_AT] + _STATE])
    for i in range(1, flight.told[0, 0] + 1):
        label = plan.labels[computer, flight.told[i, 0]] + flight.told[i, 1]
        note(plan, flight, label, flight.told[i, 2], 0.0)
    _drive(plan, flight, computer)
    if row[_PERIOD] != 0 and clock % row[_PERIOD] == 0:
        cpu[_NUMBERS] += 1
        send(plan, flight, params, computer, tick)


@compiled(inline=True)
def turn(
    run: Any,  # noqa: ANN401 - as above
    plan: Plan,
    flight: Flight,
    params: NDArray[np.int64],
    computer: int,
    tick: int,
) -> None:
    """The own tick that is due."""
    cpu = flight.cpu[computer]
    count = cpu[_COUNT]
    advance(flight.cpu, computer, plan.computers[computer, _TURN], tick)
    if cpu[_CUTS] != 0 or (cpu[_BOOTS_AT] != _NONE and count < cpu[_BOOTS_AT]):
        return
    if cpu[_BOOTS_AT] != _NONE:
        _boot(plan, flight, computer, count, tick)
    if _late(flight.stalls[computer], count):
        note(plan, flight, plan.labels[computer, _LATE], _NONE, 0.0)
        return
    _run(run, plan, flight, params, computer, count, tick)
    _log(plan, flight, computer)
