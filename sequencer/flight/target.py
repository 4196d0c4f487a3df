"""Whatever executes a sequence: one small interface for model, program, emulated core and board.

A target is chosen by one string, ``scheme`` or ``scheme:rest``. The table below names classes
as text, so that nothing is imported before it is asked for; other packages add schemes through the
entry point group ``drycount.targets``. ``flight=exec:PROGRAM,pad=model`` names one for each
computer; those it does not name are executed by the model.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from enum import Enum
from importlib import import_module
from importlib.metadata import entry_points
from typing import Any, Protocol, cast

from sequencer.errors import UsageError, nearest
from sequencer.execute import Outputs
from sequencer.sequence import Sequence as FlightLogic

__all__ = [
    "BUILT_IN",
    "Boot",
    "Capability",
    "Target",
    "check_computers",
    "check_target",
    "is_model",
    "one_at_a_time",
    "open_target",
    "schemes",
]

#: scheme -> "module:class"
BUILT_IN: Mapping[str, str] = {"model": "sequencer.flight.model:ModelTarget"}

GROUP = "drycount.targets"
#: what executes a computer for which no other target is named
MODEL = "model"

_NAMED = re.compile(r"[^:,=\s]+=")
_BETWEEN = re.compile(r",(?=[^:,=\s]+=)")


class Boot(Enum):
    """How a computer comes up: with nothing remembered, or with its retained flags."""

    COLD = "cold"
    WARM = "warm"


class Capability(Enum):
    """What a target can do beyond the plain exchange; checked when a run is planned."""

    REBOOT = "reboot"  # a warm reset keeps retained flags
    LOCK_STEP = "lock step"  # time is what `exchange` says it is
    REGISTERS = "registers"  # inner values can be read


class Target(Protocol):
    """One computer that executes a sequence.

    Use: `reset(Boot.COLD)`, then `exchange` for tick 0, 1, 2, ... (late ticks left out), `reset`
    with `Boot.WARM` wherever the computer reboots (ticks start at 0 again), `close` once at the
    end. `close` may be called twice.
    """

    capabilities: frozenset[Capability]
    #: by how much the times of its events may differ from the model's, s: more than 0 in single
    #: precision, or where its clock is its own
    tolerance_s: float

    @staticmethod
    def check(rest: str, executor: str) -> None:
        """Refuse, with UsageError, what could not be opened for any sequence."""

    def reset(self, boot: Boot) -> None:
        """Start anew; the next exchange is tick 0."""

    def exchange(self, tick: int, values: Sequence[float], fresh: Sequence[bool]) -> Outputs:
        """One tick: inputs in declaration order in, outputs of this tick out.

        `values[i]` counts only where `fresh[i]`. `tick` counts clock ticks since boot.
        """

    def close(self) -> None:
        """Let go of everything that the target holds."""

    def describe(self) -> Mapping[str, str]:
        """Facts for the record: what executed the sequence, under "target".

        A "firmware" is a SHA-256 (hex) of what executed it, for what results are about.
        """


def schemes() -> dict[str, str]:
    """Known schemes and where their classes live, entry points included."""
    found = dict(BUILT_IN)
    found.update({point.name: point.value for point in entry_points(group=GROUP)})
    return found


def check_target(spec: str, executor: str) -> None:
    """Raises UsageError for a target or an executor that could not be opened for any sequence."""
    for _, one in _by_computer(spec):
        maker, rest = _maker(one)
        maker.check(rest, executor)


def one_at_a_time(spec: str) -> bool:
    """Whether a target that `spec` names can be open only once, as a port can.

    Raises UsageError for an unknown scheme.
    """
    makers = [_maker(one)[0] for _, one in _by_computer(spec)]
    return any(getattr(maker, "one_at_a_time", False) for maker in makers)


def check_computers(spec: str, computers: Iterable[str]) -> None:
    """Raises UsageError if `spec` names a target for a computer that is none of these."""
    known = tuple(computers)
    for name, _ in _by_computer(spec):
        if name and name not in known:
            guess = nearest(name, known)
            hint = f"; did you mean '{guess}'?" if guess else f" (known: {', '.join(known)})"
            raise UsageError(f"target '{spec}' is for an unknown computer '{name}'{hint}")


def is_model(spec: str, computer: str) -> bool:
    """Whether `spec` leaves this computer to the model.

    Raises UsageError where `spec` names a computer twice.
    """
    named = dict(_by_computer(spec))
    return named.get(computer, named.get("", MODEL)).partition(":")[0] == MODEL


def open_target(spec: str, sequence: FlightLogic, executor: str, *, wiring: str = "") -> Target:
    """Make the target that `spec` names for one computer's sequence.

    wiring   SHA-256 (hex) that the computer is wired by, `Vehicle.firmware_wiring`; empty where the
             inputs come from a log. A target whose class says that it `takes_wiring` is given it

    Raises UsageError for an unknown scheme, or with the target's own one line where it cannot be
    opened.
    """
    named = dict(_by_computer(spec))
    maker, rest = _maker(named.get(sequence.name, named.get("", MODEL)))
    told = {"wiring": wiring} if getattr(maker, "takes_wiring", False) else {}
    return cast("Target", maker(sequence, rest, executor, **told))


def _by_computer(spec: str) -> Iterator[tuple[str, str]]:
    """(computer, its target); ("", target) where one is meant for all.

    Raises UsageError for a computer that has two.
    """
    if not _NAMED.match(spec):
        yield "", spec
        return
    seen = set()
    for part in _BETWEEN.split(spec):
        name, _, one = part.partition("=")
        if name in seen:
            raise UsageError(f"target '{spec}' names computer '{name}' twice")
        seen.add(name)
        yield name, one


def _maker(spec: str) -> tuple[Any, str]:
    """The class that `spec` names, and what stands behind its colon."""
    scheme, _, rest = spec.partition(":")
    known = schemes()
    if scheme not in known:
        guess = nearest(scheme, known)
        hint = f"; did you mean '{guess}'?" if guess else f" (known: {', '.join(sorted(known))})"
        raise UsageError(f"unknown target '{spec}'{hint}")
    module, _, name = known[scheme].partition(":")
    try:
        return getattr(import_module(module), name), rest
    except (ImportError, AttributeError) as error:
        raise UsageError(f"target '{scheme}' cannot be loaded: {error}") from error
