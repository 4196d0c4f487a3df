"""Blocks and control loops of the interpreter, equation by equation as in `blocks` and `loops`.

The order of operations in every formula is part of its meaning.
"""

from __future__ import annotations

import math
from typing import Final

from sequencer.execute.evaluating import (
    BAD,
    Code,
    Numbers,
    evaluate,
    holds,
    is_finite,
    larger,
    smaller,
)
from sequencer.execute.jit import compiled, plain
from sequencer.execute.layout import (
    CLOCK,
    ESTIMATE_WIDTH,
    LOOP_WIDTH,
    NONE,
    BlockKind,
    EstimateRow,
    Head,
    LoopRow,
)

__all__ = ["ask_loop", "estimate"]

_NONE: Final = plain(NONE)
_LOW_PASS: Final = plain(BlockKind.LOW_PASS)
_FILTERED_RATE: Final = plain(BlockKind.FILTERED_RATE)
_INTEGRAL: Final = plain(BlockKind.INTEGRAL)
_PEAK: Final = plain(BlockKind.PEAK)
_MEDIAN3: Final = plain(BlockKind.MEDIAN3)
_AGE: Final = plain(BlockKind.AGE)
_TIMER: Final = plain(BlockKind.TIMER)
_LATCH: Final = plain(BlockKind.LATCH)
_VOTE: Final = plain(BlockKind.VOTE)
_ATTITUDE: Final = plain(BlockKind.ATTITUDE)
_RATE_HZ: Final = plain(Head.RATE_HZ)
_HEARD: Final = plain(Head.M_HEARD)
_LOOPS_AT: Final = plain(Head.LOOPS_AT)
_ASKED: Final = plain(Head.M_ASKED)
_KIND: Final = plain(EstimateRow.KIND)
_REGISTERS: Final = plain(EstimateRow.REGISTERS)
_NUMBERS: Final = plain(EstimateRow.NUMBERS)
_SUBJECT: Final = plain(EstimateRow.SUBJECT)
_ARGUMENTS: Final = plain(EstimateRow.ARGUMENTS)
_COUNT: Final = plain(EstimateRow.COUNT)
_WIDTH: Final = plain(ESTIMATE_WIDTH)
_LOOP_WIDTH: Final = plain(LOOP_WIDTH)
_LOOP_TILT: Final = plain(LoopRow.ATTITUDE_PLACE)
_LOOP_ATTITUDE: Final = plain(LoopRow.ATTITUDE_REGISTERS)
_LOOP_RATE_Y: Final = plain(LoopRow.RATE_Y)
_LOOP_RATE_Z: Final = plain(LoopRow.RATE_Z)
_LOOP_NUMBERS: Final = plain(LoopRow.NUMBERS)
_LOOP_REGISTERS: Final = plain(LoopRow.REGISTERS)
_HALF: Final = math.sqrt(0.5)


@compiled()
def _low_pass(numbers: Numbers, memory: Numbers, n: int, r: int, x: float) -> tuple[float, float]:
    """Registers: started, y."""
    y = x
    if memory[r] != 0.0:
        y = memory[r + 1] + numbers[n] * (x - memory[r + 1])
        if not is_finite(y):
            return BAD, 1.0
    memory[r] = 1.0
    memory[r + 1] = y
    return y, 0.0


@compiled()
def _filtered_rate(
    numbers: Numbers, memory: Numbers, n: int, r: int, x: float, x_bad: float
) -> tuple[float, float]:
    """Registers: started, y, xp, n."""
    started = memory[r] != 0.0
    if started:
        memory[r + 3] += 1.0
    if x_bad != 0.0:
        return BAD, 1.0
    if started:
        rate = (x - memory[r + 2]) / (memory[r + 3] * numbers[n + 1])
        y = memory[r + 1] + numbers[n] * (rate - memory[r + 1])
        if not is_finite(y):
            return BAD, 1.0
        memory[r + 1] = y
    memory[r] = 1.0
    memory[r + 2] = x
    memory[r + 3] = 0.0
    return memory[r + 1], 0.0


@compiled()
def _integral(
    code: Code, numbers: Numbers, memory: Numbers, n: int, r: int, arguments: int
) -> tuple[float, float]:
    """Register: y. Numbers: dt, initial."""
    if holds(code, memory, code[arguments + 2]):
        memory[r] = numbers[n + 1]
        return memory[r], 0.0
    running = code[arguments + 1]
    if running != _NONE and not holds(code, memory, running):
        return memory[r], 0.0
    x, bad = evaluate(code, memory, code[arguments])
    y = memory[r] + x * numbers[n]
    if bad != 0.0 or not is_finite(y):
        return BAD, 1.0
    memory[r] = y
    return y, 0.0


@compiled()
def _peak(code: Code, memory: Numbers, r: int, arguments: int) -> tuple[float, float]:
    """Registers: started, y."""
    if holds(code, memory, code[arguments + 1]):
        memory[r] = 0.0
        memory[r + 1] = 0.0
    x, bad = evaluate(code, memory, code[arguments])
    if bad != 0.0:
        return BAD, 1.0
    memory[r + 1] = larger(memory[r + 1], x) if memory[r] != 0.0 else x
    memory[r] = 1.0
    return memory[r + 1], 0.0


@compiled()
def _median3(memory: Numbers, r: int, x: float) -> tuple[float, float]:
    """Registers: started, x1, x2."""
    if memory[r] == 0.0:
        memory[r] = 1.0
        memory[r + 1] = x
        memory[r + 2] = x
    low = smaller(x, memory[r + 1])
    high = larger(x, memory[r + 1])
    y = larger(low, smaller(high, memory[r + 2]))
    memory[r + 2] = memory[r + 1]
    memory[r + 1] = x
    return y, 0.0


@compiled()
def _timer(code: Code, memory: Numbers, r: int, arguments: int) -> tuple[float, float]:
    """Registers: running, since."""
    if holds(code, memory, code[arguments + 1]):
        memory[r] = 0.0
        memory[r + 1] = 0.0
    elif memory[r] == 0.0 and holds(code, memory, code[arguments]):
        memory[r] = 1.0
        memory[r + 1] = memory[CLOCK]
    if memory[r] == 0.0:
        return 0.0, 0.0
    return (memory[CLOCK] - memory[r + 1]) / code[_RATE_HZ], 0.0


@compiled()
def _latch(code: Code, memory: Numbers, r: int, arguments: int) -> tuple[float, float]:
    """Register: on."""
    if holds(code, memory, code[arguments]):
        memory[r] = 1.0
    elif holds(code, memory, code[arguments + 1]):
        memory[r] = 0.0
    return memory[r], 0.0


@compiled()
def _vote(
    code: Code, numbers: Numbers, memory: Numbers, n: int, arguments: int, count: int
) -> tuple[float, float]:
    """Numbers: needed, quorum."""
    known = 0
    true = 0
    for i in range(count):
        value, bad = evaluate(code, memory, code[arguments + i])
        if bad == 0.0:
            known += 1
            if value != 0.0:
                true += 1
    if known < numbers[n + 1]:
        return BAD, 1.0
    return (1.0 if true >= numbers[n] else 0.0), 0.0


@compiled()
def _cosine(memory: Numbers, r: int) -> float:
    return float(2.0 * (memory[r + 1] * memory[r + 3] - memory[r] * memory[r + 2]))


@compiled()
def _attitude(
    code: Code, numbers: Numbers, memory: Numbers, n: int, r: int, arguments: int
) -> tuple[float, float]:
    """Registers: q0 to q3. Number: dt."""
    if holds(code, memory, code[arguments + 3]):
        memory[r] = _HALF
        memory[r + 1] = 0.0
        memory[r + 2] = -_HALF
        memory[r + 3] = 0.0
        return _cosine(memory, r), 0.0
    x, x_bad = evaluate(code, memory, code[arguments])
    y, y_bad = evaluate(code, memory, code[arguments + 1])
    z, z_bad = evaluate(code, memory, code[arguments + 2])
    if x_bad != 0.0 or y_bad != 0.0 or z_bad != 0.0:
        return BAD, 1.0
    half_dt = 0.5 * numbers[n]
    q0, q1, q2, q3 = memory[r], memory[r + 1], memory[r + 2], memory[r + 3]
    n0 = q0 + half_dt * (-q1 * x - q2 * y - q3 * z)
    n1 = q1 + half_dt * (q0 * x + q2 * z - q3 * y)
    n2 = q2 + half_dt * (q0 * y - q1 * z + q3 * x)
    n3 = q3 + half_dt * (q0 * z + q1 * y - q2 * x)
    square = n0 * n0 + n1 * n1 + n2 * n2 + n3 * n3
    if not is_finite(square) or square == 0.0:
        return BAD, 1.0
    norm = math.sqrt(square)
    memory[r] = n0 / norm
    memory[r + 1] = n1 / norm
    memory[r + 2] = n2 / norm
    memory[r + 3] = n3 / norm
    return _cosine(memory, r), 0.0


@compiled()
def _of_one(
    code: Code, numbers: Numbers, memory: Numbers, row: int, arguments: int
) -> tuple[float, float]:
    """Blocks whose first argument is always evaluated, and whose output is bad where it is."""
    kind = code[row + _KIND]
    n = code[row + _NUMBERS]
    r = code[row + _REGISTERS]
    x, bad = evaluate(code, memory, code[arguments])
    if kind == _FILTERED_RATE:
        return _filtered_rate(numbers, memory, n, r, x, bad)
    if bad != 0.0:
        return BAD, 1.0
    if kind == _LOW_PASS:
        return _low_pass(numbers, memory, n, r, x)
    if kind == _MEDIAN3:
        return _median3(memory, r, x)
    return x, 0.0


@compiled()
def estimate(code: Code, numbers: Numbers, memory: Numbers, row: int) -> tuple[float, float]:
    """One update of the estimate whose row begins at `row`: (value, bad bit)."""
    kind = code[row + _KIND]
    n = code[row + _NUMBERS]
    r = code[row + _REGISTERS]
    arguments = code[row + _ARGUMENTS]
    if kind == _INTEGRAL:
        return _integral(code, numbers, memory, n, r, arguments)
    if kind == _PEAK:
        return _peak(code, memory, r, arguments)
    if kind == _AGE:
        since = memory[code[_HEARD] + code[row + _SUBJECT]]
        return (memory[CLOCK] - since) / code[_RATE_HZ], 0.0
    if kind == _TIMER:
        return _timer(code, memory, r, arguments)
    if kind == _LATCH:
        return _latch(code, memory, r, arguments)
    if kind == _VOTE:
        return _vote(code, numbers, memory, n, arguments, code[row + _COUNT])
    if kind == _ATTITUDE:
        return _attitude(code, numbers, memory, n, r, arguments)
    return _of_one(code, numbers, memory, row, arguments)


@compiled()
def _integrated(i: float, e: float, dt: float, ki: float, limit: float) -> float:
    i += e * dt
    part = ki * i
    if part > limit:
        return limit / ki
    return -limit / ki if part < -limit else i


@compiled()
def _clamped(value: float, limit: float) -> float:
    return larger(smaller(value, limit), -limit)


@compiled()
def ask_loop(code: Code, numbers: Numbers, memory: Numbers, loop: int) -> None:
    """One tick of a thrust-vector loop: its demands (y, z, whether there are any) into memory."""
    row = code[_LOOPS_AT] + loop * _LOOP_WIDTH
    asked = code[_ASKED] + 3 * loop
    memory[asked + 2] = 0.0
    rate_y, y_bad = evaluate(code, memory, code[row + _LOOP_RATE_Y])
    rate_z, z_bad = evaluate(code, memory, code[row + _LOOP_RATE_Z])
    tilt_bad = memory[code[row + _LOOP_TILT] + 1]
    if tilt_bad != 0.0 or y_bad != 0.0 or z_bad != 0.0:
        return
    q = code[row + _LOOP_ATTITUDE]
    q0, q1, q2, q3 = memory[q], memory[q + 1], memory[q + 2], memory[q + 3]
    n = code[row + _LOOP_NUMBERS]
    kp, ki, kd, limit, dt = (
        numbers[n],
        numbers[n + 1],
        numbers[n + 2],
        numbers[n + 3],
        numbers[n + 4],
    )
    u_y = 2.0 * (q2 * q3 + q0 * q1)
    u_z = q0 * q0 - q1 * q1 - q2 * q2 + q3 * q3
    e_y = -u_z
    e_z = u_y
    r = code[row + _LOOP_REGISTERS]
    i_y = _integrated(memory[r], e_y, dt, ki, limit)
    i_z = _integrated(memory[r + 1], e_z, dt, ki, limit)
    demand_y = kp * e_y + ki * i_y - kd * rate_y
    demand_z = kp * e_z + ki * i_z - kd * rate_z
    if not is_finite(demand_y) or not is_finite(demand_z):
        return
    memory[r] = i_y
    memory[r + 1] = i_z
    memory[asked] = _clamped(demand_y, limit)
    memory[asked + 1] = _clamped(demand_z, limit)
    memory[asked + 2] = 1.0
