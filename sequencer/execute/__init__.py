"""A sequence, one tick at a time."""

from sequencer.execute.fast import CompiledExecutor
from sequencer.execute.interface import Executor, Outputs
from sequencer.execute.reference import ReferenceExecutor

__all__ = ["CompiledExecutor", "Executor", "Outputs", "ReferenceExecutor"]
