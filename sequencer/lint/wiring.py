"""Rules about which function drives which channel, and what hangs on it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from sequencer.lint.circuits import channels_of, loads_on, needs_vehicle
from sequencer.lint.findings import Claim, rule
from sequencer.lint.subject import Subject
from sequencer.sequence import Sequence

__all__ = ["RULES"]

#: what a function of each kind is there to do, in words of the vehicle's loads
_DOES = {
    "igniter": "lights",
    "separation": "separates",
    "parachute": "deploys",
    "release": "releases",
    "horn": "signals",
    "light": "signals",
}
_WORDS = {
    "lights": "lights a motor",
    "separates": "parts the stages",
    "deploys": "brings out a parachute",
    "releases": "opens the hold-down",
    "signals": "only makes itself seen or heard",
}


def _pulsed(logic: Sequence) -> Iterator[str]:
    yield from (one.name for one in logic.functions.values() if one.kind != "servo")


def _wire(subject: Subject, logic: Sequence, function: str) -> tuple[Path, tuple[str, str, str]]:
    """File and place that say what a function is wired to."""
    assert subject.vehicle is not None  # noqa: S101 - the rules here need one
    at = ("wiring", logic.name, function)
    changed = subject.rewired
    if changed is not None:
        table = changed.data.get("wiring", {}).get(logic.name, {})
        if function in table:
            return changed.path, at
    return subject.vehicle.path, at


@rule(
    "two-on-one-channel",
    "two functions of a computer that drive the same channel",
    "whichever is commanded, both act; and an inhibit of one does not hold the other",
    needs=needs_vehicle,
)
def two_on_one_channel(subject: Subject) -> Iterator[Claim]:
    """Loads in parallel on one channel are no such thing: one function drives them."""
    for logic in subject.sequences.values():
        taken: dict[str, str] = {}
        for function in _pulsed(logic):
            for channel in channels_of(subject, logic, function):
                first = taken.setdefault(channel.name, function)
                if first == function:
                    continue
                file, at = _wire(subject, logic, function)
                what = f"'{first}' and '{function}' both drive channel '{channel.name}'"
                names = (first, function, channel.name)
                yield Claim(logic, at, what, names, file=file)


@rule(
    "wrong-load",
    "a function whose channel drives something else than it is there for, or nothing",
    "the command goes out, the flight log says so, and something else happens",
    needs=needs_vehicle,
)
def wrong_load(subject: Subject) -> Iterator[Claim]:
    """An igniter lights, a separation separates, a parachute deploys, and so on."""
    assert subject.vehicle is not None  # noqa: S101 - see `needs`
    for logic in subject.sequences.values():
        for function in _pulsed(logic):
            kind = logic.functions[function].kind
            for channel in channels_of(subject, logic, function):
                file, at = _wire(subject, logic, function)
                loads = loads_on(subject.vehicle, channel)
                if not loads:
                    what = f"nothing is plugged into channel '{channel.name}' of '{function}'"
                    yield Claim(logic, at, what, (function, channel.name), file=file)
                for load in loads:
                    if load.does == _DOES[kind]:
                        continue
                    what = (
                        f"'{function}' is a {kind}, and '{load.name}' on its channel "
                        f"'{channel.name}' {_WORDS[load.does]}"
                    )
                    names = (function, load.name, channel.name)
                    yield Claim(logic, at, what, names, file=file)


RULES = (two_on_one_channel, wrong_load)
