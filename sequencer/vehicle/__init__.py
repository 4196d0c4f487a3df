"""The rocket as data."""

from sequencer.vehicle.load import load_vehicle
from sequencer.vehicle.model import Vehicle
from sequencer.vehicle.rewire import rewired

__all__ = ["Vehicle", "load_vehicle", "rewired"]
