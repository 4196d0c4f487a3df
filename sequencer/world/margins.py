"""How surely each load fires, and how surely its continuity check does not fire it.

The currents are those of the compiled world: a vehicle on its pad whose loads never warm up, one
channel, or several, switched on for one tick. So there is one implementation of the network.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from sequencer.vehicle import Vehicle
    from sequencer.vehicle.model import Load
    from sequencer.world.jit import Record

__all__ = ["Margin", "firing_margins"]

#: J; no battery of ours gives so much in one tick
_NEVER = 1e12


@dataclass(frozen=True, slots=True)
class Margin:
    """One load: currents in A, voltages at its battery's terminals in V.

    alone_a, alone_v         while its channel alone is on
    together_a, together_v   while every channel of its computer is on that has a load of its kind
    together                 how many loads conduct then
    all_fire_a, no_fire_a    of the load; None where its file gives none
    test_a                   test current of its channel's continuity check, 0 for none
    """

    load: str
    channel: str
    does: str
    alone_a: float
    alone_v: float
    together_a: float
    together_v: float
    together: int
    all_fire_a: float | None
    no_fire_a: float | None
    test_a: float

    @property
    def firing_ratio(self) -> float | None:
        """The smaller of both currents as a multiple of the all-fire current."""
        if self.all_fire_a is None:
            return None
        return min(self.alone_a, self.together_a) / self.all_fire_a

    @property
    def test_share(self) -> float | None:
        """The test current as a share of the no-fire current; None without either."""
        if not self.no_fire_a or not self.test_a:
            return None
        return self.test_a / self.no_fire_a

    @property
    def is_short(self) -> bool:
        """Whether the load cannot be relied on to fire."""
        ratio = self.firing_ratio
        return ratio is not None and ratio < 1.0


def firing_margins(vehicle: Vehicle, params: np.void) -> tuple[Margin, ...]:
    """The margins of every load, in the order of the vehicle's.

    params   the vehicle and its weather as `sequencer.world.assemble.assemble` makes them

    Batteries are as at the start, no fault is active, every key that a channel needs is turned.
    """
    bench = _Bench(vehicle, params)
    margins = []
    for index, load in enumerate(vehicle.loads.values()):
        channel = vehicle.channels[load.channel]
        alone = bench.switched_on([load.channel])
        kin = [other for other in vehicle.loads.values() if _fire_together(vehicle, load, other)]
        together = bench.switched_on(other.channel for other in kin)
        battery = tuple(vehicle.computers).index(channel.computer)
        margins.append(
            Margin(
                load=load.name,
                channel=load.channel,
                does=load.does,
                alone_a=float(alone["load_current"][index]),
                alone_v=float(alone["battery_least"][battery]),
                together_a=float(together["load_current"][index]),
                together_v=float(together["battery_least"][battery]),
                together=int(np.count_nonzero(together["load_current"])),
                all_fire_a=load.all_fire_a,
                no_fire_a=load.no_fire_a,
                test_a=channel.test_current_a,
            )
        )
    return tuple(margins)


def _fire_together(vehicle: Vehicle, load: Load, other: Load) -> bool:
    computers = {vehicle.channels[each.channel].computer for each in (load, other)}
    return load.does == other.does and len(computers) == 1


class _Bench:
    """Worlds in which nothing warms up, each for one set of channels."""

    def __init__(self, vehicle: Vehicle, params: np.void) -> None:
        self._vehicle = vehicle
        self._channels = list(vehicle.channels)
        self._switches = list(vehicle.switches)
        self._params = params.copy()
        for name, value in {
            "load_energy": _NEVER,
            "load_capacity": 0.0,
            "sensors": 0,
            "substeps": 1,
            "turbulence_w20": 0.0,
        }.items():
            self._params[name] = value
        self._known: dict[frozenset[str], Record] = {}

    def switched_on(self, channels: Iterable[str]) -> Record:
        """OUT after one tick with these channels on, and no others."""
        from sequencer.world.world import World  # noqa: PLC0415 - loads the kernel

        wanted = frozenset(channels)
        if wanted not in self._known:
            world = World(self._params)
            for name in wanted:
                world.commands["channel"][self._channels.index(name)] = 1
                for key in self._vehicle.channels[name].closed_by:
                    world.commands["switch"][self._switches.index(key)] = 1
            self._known[wanted] = world.step().copy()
        return self._known[wanted]
