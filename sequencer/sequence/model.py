"""One computer's flight logic as typed, resolved, immutable data.

Everything here is SI, every name is known to exist, every unit has been checked; executors, lint
and exporters read this and nothing else. Built by `sequencer.sequence.load`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sequencer.expressions import Node

__all__ = [
    "FUNCTION_VERBS",
    "Acceptance",
    "Block",
    "Command",
    "Estimate",
    "Exit",
    "Flag",
    "Function",
    "Inhibit",
    "Input",
    "Limit",
    "Loop",
    "Publication",
    "Sequence",
    "State",
]

#: The verb that commands each kind of function. All but the servo also know `cut`.
FUNCTION_VERBS: Mapping[str, str] = {
    "igniter": "fire",  # lights a motor
    "separation": "fire",  # cuts or separates
    "parachute": "fire",  # brings people and airframe back safely
    "release": "release",  # opens the hold-down
    "horn": "sound",
    "light": "show",
    "servo": "move",
}


@dataclass(frozen=True, slots=True)
class Input:
    """A sampled quantity. `unit` is a symbol of sequencer.units ("bool" for a switch).

    period_s     nominal time between refreshes, if declared
    message      ("pad", "go") when it is field `go` of what computer `pad` publishes, else None
    """

    name: str
    unit: str
    period_s: float | None = None
    message: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class Limit:
    """A named threshold. `value` and `tolerance` are SI; `unit` is as the file wrote it.

    cosine       cosine of the value where the unit is an angle, else None
    """

    name: str
    value: float
    unit: str
    tolerance: float
    reason: str
    cosine: float | None = None


@dataclass(frozen=True, slots=True)
class Flag:
    """A remembered truth. A retained flag survives a reboot."""

    name: str
    initial: bool
    retained: bool


@dataclass(frozen=True, slots=True)
class Block:
    """A computation with or without memory; its meaning is in sequencer.execute.blocks.

    kind          "expression", "low_pass", ... (keys of sequencer.sequence.blocks.BLOCKS)
    arguments     named expressions it reads, in the order that the kind declares
    coefficients  numbers worked out at load, in the order that the kind declares
    gate          name of an input: the block is updated only on ticks that refreshed it
    subject       name of an input or estimate that it refers to as a whole (age, loops), or None
    """

    kind: str
    arguments: tuple[tuple[str, Node], ...] = ()
    coefficients: tuple[tuple[str, float], ...] = ()
    gate: str | None = None
    subject: str | None = None


@dataclass(frozen=True, slots=True)
class Estimate:
    """A quantity computed on every tick. `unit` "bool" for a truth; tilts are kept as cosines."""

    name: str
    unit: str
    block: Block
    is_cosine: bool = False


@dataclass(frozen=True, slots=True)
class Inhibit:
    """Blocks functions while its condition is true: then it is *in place*."""

    name: str
    condition: Node
    reason: str


@dataclass(frozen=True, slots=True)
class Function:
    """Something that the sequence can command.

    kind          key of FUNCTION_VERBS
    pulse_ticks   how long one command lasts (0 for a servo)
    inhibits      names of the inhibits that block it
    positions     a servo's named positions in rad (or 0..1 for a mechanism), else empty
    start         a servo's position at boot, name in `positions`
    """

    name: str
    kind: str
    pulse_ticks: int = 0
    inhibits: tuple[str, ...] = ()
    positions: tuple[tuple[str, float], ...] = ()
    start: str | None = None


@dataclass(frozen=True, slots=True)
class Command:
    """One action: verb ("fire", "release", "sound", "show", "cut", "move", "set", "clear") + name.

    position      the servo's named position, for "move"
    """

    verb: str
    name: str
    position: str | None = None


@dataclass(frozen=True, slots=True)
class Exit:
    """A guarded way out of a state (`sources` has one entry) or of several (a common exit).

    hold_ticks    N consecutive true ticks that it takes (counts only ticks that refreshed input
                  `fresh`, where that is given)
    line          in the file, for reports
    """

    name: str
    sources: tuple[str, ...]
    to: str
    condition: Node
    hold_ticks: int
    fresh: str | None
    actions: tuple[Command, ...]
    common: bool
    line: int
    text: str


@dataclass(frozen=True, slots=True)
class State:
    """A state. phase is "ground", "flight" or "after": where the vehicle is while it lasts."""

    name: str
    phase: str
    on_entry: tuple[Command, ...]
    on_leave: tuple[Command, ...]
    exits: tuple[Exit, ...]
    loops: tuple[str, ...]
    line: int


@dataclass(frozen=True, slots=True)
class Loop:
    """A control loop; `outputs` are (axis, servo function) pairs, axis as its kind declares."""

    name: str
    block: Block
    outputs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Publication:
    """What is sent to the other computers: flags and estimates, every `period_ticks` ticks."""

    period_ticks: int
    fields: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Acceptance:
    """What its author has looked at and means to keep: findings of `rule` about all of `about`."""

    rule: str
    about: tuple[str, ...]
    reason: str
    line: int


@dataclass(frozen=True, slots=True)
class Sequence:
    """The whole logic of one computer. Mappings keep the order of declaration."""

    name: str
    about: str
    path: Path
    rate_hz: int
    boot_ticks: int
    start: str
    inputs: Mapping[str, Input]
    limits: Mapping[str, Limit]
    flags: Mapping[str, Flag]
    estimates: Mapping[str, Estimate]
    inhibits: Mapping[str, Inhibit]
    functions: Mapping[str, Function]
    loops: Mapping[str, Loop]
    states: Mapping[str, State]
    common_exits: tuple[Exit, ...]
    publication: Publication | None
    digest: str
    accepted: tuple[Acceptance, ...] = ()

    def eligible_exits(self, state: str) -> tuple[Exit, ...]:
        """Exits that are tried in `state`, in order: common ones that list it, then its own."""
        common = tuple(way for way in self.common_exits if state in way.sources)
        return common + self.states[state].exits
