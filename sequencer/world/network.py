"""The network behind each battery, solved in closed form.

Every channel that conducts hangs on its computer's battery: switch, wire and connectors in series,
then its loads in parallel. With the open-circuit voltage V0, the internal resistance Ri, the
current I0 of the computer and its servos, and G = sum over channels of 1/(R_channel + R_loads),
Kirchhoff's laws give the voltage at the terminals

    V = (V0 - Ri I0) / (1 + Ri G)
"""

from __future__ import annotations

import math
from typing import Final

from sequencer.vehicle.capacity import SWITCHES
from sequencer.world.air import celsius
from sequencer.world.jit import Record, compiled, plain
from sequencer.world.layout import FaultKind
from sequencer.world.taps import fault_at, fault_size

__all__ = ["LEAST_RESISTANCE", "resistance_seen", "series_resistance", "settle", "switch_channels"]

_IGNITER_OPEN: Final = plain(FaultKind.IGNITER_OPEN)
_IGNITER_SHORTED: Final = plain(FaultKind.IGNITER_SHORTED)
_IGNITER_SHORTS_AFTER: Final = plain(FaultKind.IGNITER_SHORTS_AFTER)
_CHANNEL_DEAD: Final = plain(FaultKind.CHANNEL_DEAD)
_CHANNEL_SHORTED_ON: Final = plain(FaultKind.CHANNEL_SHORTED_ON)
_CHANNEL_INTERMITTENT: Final = plain(FaultKind.CHANNEL_INTERMITTENT)
_CHANNEL_RESISTANCE: Final = plain(FaultKind.CHANNEL_RESISTANCE)
_WRONG_MAP: Final = plain(FaultKind.WRONG_MAP)
_ON: Final = plain(1)
_OFF: Final = plain(0)
#: ohm; keeps the current of a short circuit finite
LEAST_RESISTANCE: Final = 1e-3
#: ohm; what is left of a bridge that is a short
_SHORT: Final = 0.02
#: of copper, 1/K from 20 C
_COPPER: Final = 0.00393


@compiled()
def _any_switch(commands: Record, bits: int, wanted: int) -> bool:
    """Whether any switch of these bits stands as wanted: _ON or _OFF."""
    if bits == 0:
        return False
    for i in range(SWITCHES):
        if (bits >> i) & 1 != 0 and (commands.switch[i] != 0) == (wanted != 0):
            return True
    return False


@compiled()
def _broken(state: Record, params: Record, commands: Record, channel: int) -> bool:
    """Whether no current at all, test current included, gets through the channel now."""
    if _any_switch(commands, params.channel_opened_by[channel], _ON):
        return True
    if params.faults == 0:
        return False
    if fault_at(params, commands, _CHANNEL_DEAD, channel):
        return True
    period = fault_size(params, commands, _CHANNEL_INTERMITTENT, channel, 0.0)
    if period <= 0.0:
        return False
    # half a tick on, so that no rounding decides on which side of an edge a tick lies
    turns = (state.tick + 0.5) / (params.rate_hz * period)
    return bool(turns - math.floor(turns) >= 0.5)


@compiled()
def _commanded(params: Record, commands: Record, channel: int) -> bool:
    """Whether some computer drives this channel, wrong maps included."""
    source = channel
    for i in range(params.faults):
        if commands.fault[i] == 0 or params.fault_kind[i] != _WRONG_MAP:
            continue
        place, other = params.fault_place[i], int(params.fault_size[i])
        if source == place:
            source = other
        elif source == other:
            source = place
    return bool(commands.channel[source] != 0)


@compiled()
def series_resistance(params: Record, commands: Record, channel: int) -> float:
    """Of switch, wire and connectors at the air's temperature, ohm."""
    wire = params.channel_wire[channel]
    if wire > 0.0:
        wire *= 1.0 + _COPPER * (celsius(params, 0.0) - 20.0)
    worn = fault_size(params, commands, _CHANNEL_RESISTANCE, channel, 0.0)
    return float(params.channel_resistance[channel] + wire + worn)


@compiled()
def switch_channels(state: Record, params: Record, commands: Record) -> bool:
    """Note for this tick which channels are switched through; whether any is.

    A channel that is shorted on stays behind its key, and does not need its computer.
    """
    found = False
    for c in range(params.channels):
        on = 1 if _commanded(params, commands, c) else 0
        if fault_at(params, commands, _CHANNEL_SHORTED_ON, c):
            on = 2
        if on != 0 and (
            _any_switch(commands, params.channel_closed_by[c], _OFF)
            or _broken(state, params, commands, c)
        ):
            on = 0
        state.channel_on[c] = on
        if on != 0:
            found = True
            state.channel_ohm[c] = series_resistance(params, commands, c)
    return found


@compiled(inline=True)
def _conductance(state: Record, params: Record, commands: Record, load: int) -> float:
    """Of one load as it is now, 1/ohm: whole, open or a short."""
    if fault_at(params, commands, _IGNITER_OPEN, load):
        return 0.0
    if fault_at(params, commands, _IGNITER_SHORTED, load):
        return 1.0 / _SHORT
    if state.load_spent[load] == 0:
        return 1.0 / max(float(params.load_resistance[load]), LEAST_RESISTANCE)
    if params.load_shorts[load] != 0 or fault_at(params, commands, _IGNITER_SHORTS_AFTER, load):
        return 1.0 / _SHORT
    return 0.0


@compiled()
def resistance_seen(state: Record, params: Record, commands: Record, channel: int) -> float:
    """Resistance (ohm) that a test current finds in a channel; inf when nothing conducts.

    The test current goes round the channel's switch and its key, not round its safe plug.
    """
    conductance = 0.0
    for i in range(params.loads):
        if params.load_channel[i] == channel:
            conductance += _conductance(state, params, commands, i)
    if conductance == 0.0 or _broken(state, params, commands, channel):
        return math.inf
    return series_resistance(params, commands, channel) + 1.0 / conductance


@compiled()
def _connect(state: Record, params: Record, commands: Record) -> None:
    """Conductances of the loads, the channels, and all that hangs on each battery."""
    for c in range(params.channels):
        state.channel_siemens[c] = 0.0
    for i in range(params.loads):
        state.load_siemens[i] = 0.0
        c = params.load_channel[i]
        if c < 0 or state.channel_on[c] == 0:
            continue
        if state.channel_on[c] == 1 and state.powerless[params.channel_battery[c]] != 0:
            continue
        state.load_siemens[i] = _conductance(state, params, commands, i)
        state.channel_siemens[c] += state.load_siemens[i]
    for c in range(params.channels):
        if state.channel_siemens[c] > 0.0:
            whole = max(state.channel_ohm[c] + 1.0 / state.channel_siemens[c], LEAST_RESISTANCE)
            state.battery_siemens[params.channel_battery[c]] += 1.0 / whole


@compiled()
def _share(state: Record, params: Record) -> None:
    """Currents through the loads at the batteries' voltages."""
    for i in range(params.loads):
        amps = 0.0
        if state.load_siemens[i] > 0.0:
            c = params.load_channel[i]
            parallel = state.channel_siemens[c]
            whole = max(state.channel_ohm[c] + 1.0 / parallel, LEAST_RESISTANCE)
            through = state.battery_volts[params.channel_battery[c]] / whole
            amps = through * state.load_siemens[i] / parallel
        state.load_amps[i] = amps
        state.load_peak[i] = max(state.load_peak[i], amps)


@compiled()
def settle(state: Record, params: Record, commands: Record) -> None:
    """All voltages and currents of this moment."""
    for b in range(params.batteries):
        state.battery_siemens[b] = 0.0
        state.battery_steady[b] = 0.0 if state.powerless[b] != 0 else params.battery_draw[b]
    for i in range(params.servos):
        state.battery_steady[params.servo_battery[i]] += state.servo_amps[i]
    if state.circuit_busy != 0:
        _connect(state, params, commands)
    for b in range(params.batteries):
        volts, inner = state.battery_open[b], state.battery_inner[b]
        steady, siemens = state.battery_steady[b], state.battery_siemens[b]
        across = (volts - inner * steady) / (1.0 + inner * siemens)
        amps = steady + across * siemens
        if across <= 0.0:  # more is asked for than it can give
            across = 0.0
            amps = volts / max(inner, LEAST_RESISTANCE)
        state.battery_volts[b] = across
        state.battery_amps[b] = amps
        state.battery_least[b] = min(state.battery_least[b], across)
        state.battery_peak[b] = max(state.battery_peak[b], amps)
    if state.circuit_busy != 0:
        _share(state, params)
