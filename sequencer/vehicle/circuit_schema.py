"""Batteries, channels and loads of the vehicle file as typed tables."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from sequencer.documents import Strict
from sequencer.vehicle import capacity
from sequencer.vehicle.bounds import MEANT, Amperes, Name, Ohms, Volts, Word

__all__ = ["BatteryTable", "ChannelTable", "HotWireTable", "LoadTable"]

Charge = Annotated[float, Field(ge=0, le=1)]
Celsius = Annotated[float, Field(ge=-90, le=100)]
Factor = Annotated[float, Field(gt=0, le=100), MEANT]
Points = Field(min_length=1, max_length=capacity.BATTERY_POINTS)


class BatteryTable(Strict):
    """[computers.NAME.battery]: exactly one of open_circuit_v and open_circuit_v_at.

    open_circuit_v_at goes over the charge (0 to 1), resistance_factor_at over the temperature.
    """

    open_circuit_v: Volts | None = None
    open_circuit_v_at: Annotated[tuple[tuple[Charge, Volts], ...], Points] | None = None
    charge: Charge | None = None
    capacity_a_h: Annotated[float, Field(gt=0, le=1000), MEANT] | None = None
    resistance_ohm: Annotated[float, Field(ge=0, le=100)]
    resistance_factor_at: Annotated[tuple[tuple[Celsius, Factor], ...], Points] | None = None
    sense_factor: Annotated[float, Field(gt=0, le=10), MEANT] = 1.0
    draw_a: Amperes = 0.0
    brown_out_v: Volts | None = None
    brown_out_s: Annotated[float, Field(ge=0, le=10)] | None = None


class ChannelTable(Strict):
    """[computers.NAME.channels.NAME]: an output that switches the battery to what is plugged in."""

    resistance_ohm: Ohms
    connector_ohm: Ohms = 0.0
    wire_m: Annotated[float, Field(gt=0, le=10_000), MEANT] | None = None
    wire_awg: Annotated[int, Field(ge=0, le=50)] | None = None
    test_current_a: Amperes = 0.0
    closed_by: tuple[Name, ...] = ()
    opened_by: tuple[Name, ...] = ()


class HotWireTable(Strict):
    """`hot_wire` of [loads.NAME]."""

    heat_capacity_j_k: Annotated[float, Field(gt=0, le=1000), MEANT]
    loss_w_k: Annotated[float, Field(gt=0, le=1000), MEANT]
    loss_wind_w_s_k_m: Annotated[float, Field(ge=0, le=1000)] = 0.0
    burns_at_c: Annotated[float, Field(ge=60, le=2000)]
    burn_s: Annotated[float, Field(ge=0, le=60)]


class LoadTable(Strict):
    """[loads.NAME]: what is plugged into a channel; it does one thing once it is hot enough."""

    plug: Word
    lights: Word | None = None
    separates: Literal[True] | None = None
    deploys: Word | None = None
    releases: Literal[True] | None = None
    signals: Literal[True] | None = None
    resistance_ohm: Annotated[float, Field(gt=0, le=100_000), MEANT]
    fire_energy_j: Annotated[float, Field(gt=0, le=1000), MEANT] | None = None
    fire_energy_sd: Annotated[float, Field(ge=0, le=0.5)] | None = None
    no_fire_a: Annotated[float, Field(gt=0, le=100), MEANT] | None = None
    all_fire_a: Annotated[float, Field(gt=0, le=100), MEANT] | None = None
    after_firing: Literal["open", "short"] | None = None
    hot_wire: HotWireTable | None = None
