"""Makes of a difference, and of the ticks that led to it, what a person is told."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sequencer.execute import Outputs
from sequencer.flight.agreement import Difference, Happening
from sequencer.flight.divergence_words import Later, Side, at_odds, did, what_differs
from sequencer.flight.explaining import Asked, Moment, decision, read_by, readings
from sequencer.record import Divergence, time_text
from sequencer.sequence import Sequence as FlightLogic
from sequencer.sequence.phrases import commanded_by

__all__ = ["Found", "Tick", "tell"]

#: kinds of events that are about functions
_OF_FUNCTIONS = frozenset({"fired", "ignored", "blocked", "moved", "ended", "cut"})


@dataclass(frozen=True, slots=True, eq=False)
class Tick:
    """One tick of both.

    now      world tick
    moment   the model's side of it
    its      outputs of the other
    """

    now: int
    moment: Moment
    its: Outputs


class Found:
    """A difference, what led to it, and what whoever was behind did afterwards.

    ticks    up to the one on which it was found
    boot     number of the boot that it happened in
    late     ticks of that boot that were left out so far; `last_late` is the clock of the last
    over     whether what comes afterwards need not be followed any longer
    """

    def __init__(
        self,
        difference: Difference,
        ticks: Sequence[Tick],
        boot: int,
        late: int = 0,
        last_late: int | None = None,
    ) -> None:
        self.difference = difference
        self.boot = boot
        self.late = late
        self.last_late = last_late
        self.after: Later | None = None
        mine, other = at_odds(difference)
        self._awaited = other if mine is None else mine if other is None else None
        self._of_the_model = mine is None
        self.over = self._awaited is None
        self.ticks = [each for each in ticks if each.moment.clock <= difference.clock]
        for each in ticks[len(self.ticks) :]:
            self.follow(each.moment.clock, each.moment.outputs.events, each.its.events)

    def follow(self, clock: int, model: Sequence[Happening], its: Sequence[Happening]) -> None:
        """A tick after it: whether what was missing comes now, or another exit instead.

        Of the model only the very same counts: what else it does is an answer to the other's world.
        """
        awaited = self._awaited
        if self.over or awaited is None:
            return
        for event in model if self._of_the_model else its:
            instead = event[0] == awaited[0] == "took"
            if event == awaited or (instead and not self._of_the_model):
                self.after = Later(event, clock - self.difference.clock)
            if event == awaited or instead:
                self.over = True
                return


def tell(logic: FlightLogic, found: Found, tolerance_s: float, rate_hz: int) -> Divergence:
    """What was found, explained.

    tolerance_s   of the target, s
    rate_hz       world ticks per second
    """
    difference, last = found.difference, found.ticks[-1]
    here = last.moment
    moments = [each.moment for each in found.ticks]
    sides = (
        Side("the model", here.outputs, here.state),
        Side("the firmware", last.its, here.state),
    )
    since = f" after boot {found.boot}" if found.boot else ""
    at = f"{time_text(last.now, rate_hz)} (tick {here.clock}{since}, in {here.state})"
    said = what_differs(logic, difference, sides, _tail(found, tolerance_s, logic.rate_hz))
    asked = _in_question(logic, difference)
    model, firmware = did(logic, difference, sides)
    return Divergence(
        computer=logic.name,
        tick=last.now,
        clock=here.clock,
        boot=found.boot,
        state=here.state,
        sentence=f"{logic.name}: at {at} {said}",
        model=model,
        firmware=firmware,
        decisions=tuple(decision(logic, each, moments) for each in asked),
        inputs=readings(logic, (name for each in asked for name in read_by(each)), here),
        declared=tuple(dict.fromkeys(_declared(logic, difference))),
        late=found.late,
        last_late=found.last_late,
    )


def _tail(found: Found, tolerance_s: float, rate_hz: int) -> str:
    """What became of an event that one of them did not have."""
    within = f" for more than {tolerance_s:g} s" if tolerance_s else ""
    after = found.after
    if after is None:
        return within
    time = f"{after.ticks / rate_hz:g} s"
    mine, other = at_odds(found.difference)
    if after.event in {mine, other}:
        return f" until {time} later ({_ticks(after.ticks)})"
    return f"{within}, and took '{after.event[1]}' {time} later"


def _in_question(logic: FlightLogic, difference: Difference) -> list[Asked]:
    """What decided on the events that the difference is about, or on the first other output."""
    own = [way for state in logic.states.values() for way in state.exits]
    exits = {way.name: way for way in (*logic.common_exits, *own)}
    found: dict[str, Asked] = {}
    for event in at_odds(difference):
        if event is None:
            continue
        kind, name, detail = event
        if kind == "took" and name in exits:
            found[f"exit {name}"] = exits[name]
        if kind in {"blocked", "cut"} and detail in logic.inhibits:
            found[f"inhibit {detail}"] = logic.inhibits[detail]
    return list(found.values()) or list(_of_a_level(logic, difference))


def _of_a_level(logic: FlightLogic, difference: Difference) -> Iterator[Asked]:
    """What a demand or a published value comes from."""
    if difference.missing or difference.extra or not difference.levels:
        return
    part, at = difference.levels[0]
    if at is None:
        return
    if part == "demands":
        servos = [each.name for each in logic.functions.values() if each.kind == "servo"]
        for loop in logic.loops.values():
            if servos[at] in (name for _, name in loop.outputs):
                yield loop
    if part == "message" and logic.publication is not None:
        name = logic.publication.fields[at]
        if name in logic.estimates:
            yield logic.estimates[name]


def _declared(logic: FlightLogic, difference: Difference) -> Iterator[str]:
    """What the file says of the functions that one of them had to do with, and of messages."""
    for event in filter(None, at_odds(difference)):
        kind, name, _ = event
        function = logic.functions.get(name)
        if kind not in _OF_FUNCTIONS or function is None:
            continue
        for where in commanded_by(logic, name):
            yield f"'{name}' {where}"
        if function.pulse_ticks:
            yield f"'{name}' lasts {_length(logic, function.pulse_ticks)}"
    if difference.levels[:1] == (("message", None),) and logic.publication is not None:
        yield f"a message every {_length(logic, logic.publication.period_ticks)}"


def _length(logic: FlightLogic, ticks: int) -> str:
    return f"{ticks / logic.rate_hz:g} s ({_ticks(ticks)})"


def _ticks(count: int) -> str:
    return "1 tick" if count == 1 else f"{count} ticks"
