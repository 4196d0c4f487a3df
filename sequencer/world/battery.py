"""One computer's battery: its open-circuit voltage, its internal resistance, what is read of it.

A source of a voltage behind a resistance. The voltage goes with the charge that is left, the
resistance with the temperature, which is that of the air at the pad: a battery in its bay keeps
the warmth of the ground for longer than a flight lasts.
"""

from __future__ import annotations

from typing import Final

from sequencer.world.air import celsius
from sequencer.world.jit import Record, compiled, plain
from sequencer.world.layout import FaultKind
from sequencer.world.taps import fault_at, fault_size

__all__ = ["inner_resistance", "open_voltage", "sensed_volts"]

_BATTERY_LOW: Final = plain(FaultKind.BATTERY_LOW)
_BATTERY_COLD: Final = plain(FaultKind.BATTERY_COLD)
_BATTERY_RESISTANCE: Final = plain(FaultKind.BATTERY_RESISTANCE)
_BATTERY_DISCONNECTED: Final = plain(FaultKind.BATTERY_DISCONNECTED)
_BATTERY_SENSED: Final = plain(FaultKind.BATTERY_SENSED)


@compiled()
def _straight_lines(at: Record, values: Record, points: int, x: float) -> float:
    """The value at x of a table with ascending `at`, straight between points, held at the ends."""
    i = 0
    while i < points and at[i] < x:
        i += 1
    if i == 0:
        return float(values[0])
    if i == points:
        return float(values[points - 1])
    part = (x - at[i - 1]) / (at[i] - at[i - 1])
    return float(values[i - 1] + part * (values[i] - values[i - 1]))


@compiled()
def open_voltage(state: Record, params: Record, commands: Record, battery: int) -> float:
    """Open-circuit voltage at the charge that is left, V; 0 when the battery has come off."""
    if fault_at(params, commands, _BATTERY_DISCONNECTED, battery):
        return 0.0
    volts = _straight_lines(
        params.battery_charge_at[battery],
        params.battery_volts_at[battery],
        params.battery_points[battery],
        state.battery_charge[battery],
    )
    return fault_size(params, commands, _BATTERY_LOW, battery, volts)


@compiled()
def inner_resistance(params: Record, commands: Record, battery: int) -> float:
    """Internal resistance at the battery's temperature, ohm."""
    factor = fault_size(params, commands, _BATTERY_RESISTANCE, battery, 1.0)
    points = params.battery_factor_points[battery]
    if points > 0:
        colder = fault_size(params, commands, _BATTERY_COLD, battery, 0.0)
        factor *= _straight_lines(
            params.battery_celsius_at[battery],
            params.battery_factor_at[battery],
            points,
            celsius(params, 0.0) - colder,
        )
    return float(factor * params.battery_resistance[battery])


@compiled()
def sensed_volts(params: Record, commands: Record, battery: int, volts: float) -> float:
    """What the computer's divider makes of the voltage at the terminals, V."""
    factor = fault_size(params, commands, _BATTERY_SENSED, battery, 1.0)
    return float(volts * params.battery_sense[battery] * factor)
