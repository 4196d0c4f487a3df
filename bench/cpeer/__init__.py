"""The world step once more, in C99: what a C compiler makes of the same model on the same memory.
The logic of a sequence too, from the tables of `sequencer.execute`.

Built at run time with the system's `cc -O3 -ffp-contract=off` (no fast-math) into a temporary
folder. Its structures are written from the record types of `sequencer.world.layout`, and the
compiler checks their sizes and the place of every field, so that both steps work on the same
records.
"""

from __future__ import annotations

from cpeer.build import CompilerError, find_compiler
from cpeer.computers import CExecutor, CFlight, turns_of
from cpeer.flying import CStep, CWorld, commands_of
from cpeer.processes import CProcesses

__all__ = [
    "CExecutor",
    "CFlight",
    "CProcesses",
    "CStep",
    "CWorld",
    "CompilerError",
    "commands_of",
    "find_compiler",
    "turns_of",
]
