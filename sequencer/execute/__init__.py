"""A sequence, one tick at a time."""

from sequencer.execute.interface import Executor, Outputs
from sequencer.execute.reference import ReferenceExecutor

__all__ = ["Executor", "Outputs", "ReferenceExecutor"]
