"""A suite that every target passes, whatever executes the sequence behind it.

    check_target("exec:build/{computer}", sequence)

It opens the target as flights do, gives it inputs that lead through the sequence, good and bad, and
holds every tick against the reference executor. Targets of other packages are welcome to it.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any, Final

from sequencer.errors import UsageError
from sequencer.execute import Outputs, ReferenceExecutor
from sequencer.flight.agreement import Agreement
from sequencer.flight.divergence_words import Side, what_differs
from sequencer.flight.target import Boot, Capability, Target, open_target
from sequencer.sequence import Sequence as FlightLogic

__all__ = ["NotConformingError", "check_target", "inputs_for"]

_OTHER: Final = "0" * 63 + "1"

#: (tick, values, fresh)
Given = tuple[int, list[float], list[bool]]


class NotConformingError(AssertionError):
    """A target does not do what every target does; one line says what, and on which tick."""


def check_target(
    spec: str,
    sequence: FlightLogic,
    *,
    ticks: int = 300,
    seed: int = 1,
    opener: Callable[[FlightLogic], Target] | None = None,
) -> tuple[str, ...]:
    """Put a target to the test with one sequence; what was found in order, in words.

    spec     as ``--on`` takes it
    ticks    of each run
    opener   opens the target instead of `spec`, which then only names it

    Raises NotConformingError at the first thing that is not as it must be, and whatever error
    opening the target raises. Of a target whose times may differ from the model's (`tolerance_s`
    above 0) it wants only that outputs have their form and repeat themselves.
    """
    suite = _Suite(spec, sequence, ticks, seed, opener)
    return tuple(check() for check in suite.checks())


def inputs_for(sequence: FlightLogic, ticks: int, seed: int) -> Iterator[Given]:
    """Inputs that lead through a sequence: (tick, values, fresh) as `Target.exchange` takes them.

    Values lie about the limits of the sequence and stay for a while, so that holds run out; some
    readings are bad, some inputs stale, some ticks late. The same for the same seed.
    """
    chance = random.Random(seed)  # noqa: S311 - chance, not secrets
    limits = [limit.value for limit in sequence.limits.values()] or [0.0]
    widest = max(abs(value) for value in limits) + 1.0
    values = [0.0] * len(sequence.inputs)
    tick = 0
    for _ in range(ticks):
        for i, each in enumerate(sequence.inputs.values()):
            if chance.random() > 0.08:
                continue
            if chance.random() < 0.05:
                values[i] = chance.choice((math.nan, math.inf, -math.inf))
            elif each.unit == "bool":
                values[i] = float(chance.random() < 0.6)
            else:
                scatter = chance.uniform(-0.1, 0.1) * widest * (chance.random() < 0.7)
                values[i] = chance.choice(limits) + scatter
        yield tick, list(values), [chance.random() < 0.7 for _ in values]
        tick += 1 if chance.random() > 0.03 else chance.randint(2, 4)


class _Suite:
    def __init__(
        self,
        spec: str,
        sequence: FlightLogic,
        ticks: int,
        seed: int,
        opener: Callable[[FlightLogic], Target] | None,
    ) -> None:
        self._spec = spec
        self._sequence = sequence
        self._ticks = ticks
        self._seed = seed
        self._open = opener or (lambda logic: open_target(spec, logic, "reference"))
        self._target: Target | None = None
        self._model = ReferenceExecutor(sequence)
        self._first: list[Outputs] = []

    def checks(self) -> Iterator[Callable[[], str]]:
        """One after the other; the target is closed however they end."""
        try:
            yield self._opens
            yield self._runs_like_the_model
            yield self._repeats_itself
            yield self._keeps_flags
            yield self._shows_registers
        finally:
            if self._target is not None:
                self._target.close()
        yield self._closes
        yield self._refuses_another_sequence

    def _fail(self, what: str) -> NotConformingError:
        return NotConformingError(
            f"target '{self._spec}', sequence '{self._sequence.name}': {what}"
        )

    @property
    def _opened(self) -> Target:
        if self._target is None:
            raise self._fail("was not opened")
        return self._target

    def _opens(self) -> str:
        self._target = target = self._open(self._sequence)
        # a target of another package may keep to no types
        claims: Any = target.capabilities
        known = isinstance(claims, frozenset)
        if not (known and all(isinstance(each, Capability) for each in claims)):
            raise self._fail("its capabilities are no frozenset of Capability")
        if not 0.0 <= target.tolerance_s < math.inf:
            raise self._fail(f"its tolerance is {target.tolerance_s} s")
        facts: Mapping[str, Any] = target.describe()
        if not facts.get("target"):
            raise self._fail("does not describe what it is under 'target'")
        for name, fact in facts.items():
            if not (isinstance(fact, str) and fact.isprintable()):
                raise self._fail(f"describes its '{name}' with something else than a line of text")
        return "opens, and says what it is"

    def _runs_like_the_model(self) -> str:
        self._opened.reset(Boot.COLD)
        self._model.boot()
        self._first = self._run(self._seed)
        states = {outputs.state for outputs in self._first}
        return f"{len(self._first)} ticks from a cold boot, {len(states)} states"

    def _repeats_itself(self) -> str:
        self._opened.reset(Boot.COLD)
        self._model.boot()
        again = self._run(self._seed)
        for at, (one, other) in enumerate(zip(self._first, again, strict=True)):
            if repr(one) != repr(other):
                raise self._fail(f"the same inputs came to something else on tick number {at}")
        return "the same inputs come to the same after another cold boot"

    def _keeps_flags(self) -> str:
        if Capability.REBOOT not in self._opened.capabilities:
            return "does not claim to reboot"
        self._opened.reset(Boot.WARM)
        self._model.boot(self._model.flags())
        self._run(self._seed + 1)
        return "a warm boot keeps retained flags and nothing else"

    def _shows_registers(self) -> str:
        if Capability.REGISTERS not in self._opened.capabilities:
            return "does not claim to show registers"
        registers = getattr(self._opened, "registers", None)
        if registers is None:
            raise self._fail("claims to show registers, and has no method for it")
        found, wanted = registers(), self._model.registers()
        for name, value in wanted.items():
            if repr(found.get(name)) != repr(value):
                raise self._fail(f"register '{name}' is {found.get(name)}, not {value}")
        return f"{len(wanted)} registers"

    def _closes(self) -> str:
        self._opened.close()
        return "may be closed twice"

    def _refuses_another_sequence(self) -> str:
        if "sequence" not in self._opened.describe():
            return "brings no sequence of its own"
        try:
            self._open(replace(self._sequence, digest=_OTHER)).close()
        except UsageError as error:
            if "\n" in str(error):
                raise self._fail("refuses another sequence in more than one line") from error
            return "refuses another sequence"
        raise self._fail("takes a sequence that it does not execute")

    def _run(self, seed: int) -> list[Outputs]:
        target, exact = self._opened, self._opened.tolerance_s == 0.0
        agreement = Agreement(self._sequence)
        before, found = self._sequence.start, []
        for tick, values, fresh in inputs_for(self._sequence, self._ticks, seed):
            outputs = target.exchange(tick, values, fresh)
            wanted = self._model.tick(tick, values, fresh)
            self._shape(outputs, wanted, tick)
            difference = agreement.look(tick, wanted, outputs) if exact else None
            if difference is not None:
                sides = Side("the model", wanted, before), Side("it", outputs, before)
                raise self._fail(f"tick {tick}: {what_differs(self._sequence, difference, sides)}")
            before = wanted.state
            found.append(outputs)
        return found

    def _shape(self, found: Outputs, wanted: Outputs, tick: int) -> None:
        if found.state not in self._sequence.states:
            raise self._fail(f"tick {tick}: there is no state '{found.state}'")
        for what in ("on", "demands"):
            if len(getattr(found, what)) != len(getattr(wanted, what)):
                raise self._fail(f"tick {tick}: {len(getattr(found, what))} entries in '{what}'")
        if not all(map(math.isfinite, found.demands)):
            raise self._fail(f"tick {tick}: a demand is no finite number")
        if (found.message is None) != (wanted.message is None):
            due = "is not due" if wanted.message is None else "is due, and missing"
            raise self._fail(f"tick {tick}: a message {due}")
