"""Rules about what is declared, sent or set and then does nothing."""

from __future__ import annotations

from collections.abc import Iterator

from sequencer.errors import nearest
from sequencer.expressions import variables
from sequencer.lint.findings import Claim, rule
from sequencer.lint.reading import exits_of, readers
from sequencer.lint.subject import Subject
from sequencer.sequence import Command, Sequence

__all__ = ["RULES", "commands_of"]


def commands_of(logic: Sequence) -> Iterator[Command]:
    """Every command of a sequence."""
    for state in logic.states.values():
        yield from state.on_entry
        yield from state.on_leave
    for way in exits_of(logic):
        yield from way.actions


def _read(logic: Sequence) -> set[str]:
    """Names that any expression reads, or that anything waits for or watches."""
    found = {name for _, node in readers(logic) for name in variables(node)}
    for estimate in logic.estimates.values():
        found |= {estimate.block.gate or "", estimate.block.subject or ""}
    for loop in logic.loops.values():
        found.add(loop.block.subject or "")
    return found | {way.fresh or "" for way in exits_of(logic)}


def _sent(logic: Sequence) -> tuple[str, ...]:
    return logic.publication.fields if logic.publication is not None else ()


def _left_over(logic: Sequence, table: str, used: set[str], what: str) -> Iterator[Claim]:
    """What a table of the sequence declares and is not used, in the order of the file."""
    for name in getattr(logic, table):
        if name not in used:
            yield Claim(logic, (table, name), f"{what} '{name}'", (name,))


@rule(
    "unused-input",
    "an input that nothing reads",
    "either a check that was meant is missing, or a sensor is carried that decides nothing",
)
def unused_input(subject: Subject) -> Iterator[Claim]:
    """Neither an expression nor a gate, an age or a fresh count uses it."""
    for logic in subject.sequences.values():
        yield from _left_over(logic, "inputs", _read(logic), "nothing reads input")


@rule(
    "unused-limit",
    "a limit that nothing compares with",
    "a threshold was worked out and written down, and the comparison that needs it is missing",
)
def unused_limit(subject: Subject) -> Iterator[Claim]:
    """No expression has it."""
    for logic in subject.sequences.values():
        yield from _left_over(logic, "limits", _read(logic), "nothing compares with limit")


@rule(
    "unused-estimate",
    "an estimate that nothing reads and nobody is sent",
    "it costs time on every tick, and the decision it was made for is taken without it",
)
def unused_estimate(subject: Subject) -> Iterator[Claim]:
    """Neither read, nor published, nor the attitude of a loop."""
    for logic in subject.sequences.values():
        read = _read(logic) | set(_sent(logic))
        yield from _left_over(logic, "estimates", read, "nothing reads estimate")


@rule(
    "unused-flag",
    "a flag that nothing reads, sends or judges a flight by",
    "what it remembers changes nothing; often the condition that should ask for it is missing",
    everywhere=True,
)
def unused_flag(subject: Subject) -> Iterator[Claim]:
    """A flag that is set may still be for requirements: known only where scenarios are."""
    for logic in subject.sequences.values():
        read = _read(logic) | set(_sent(logic))
        moved = {each.name for each in commands_of(logic) if each.verb in ("set", "clear")}
        for name in logic.flags:
            if name in read:
                continue
            if name not in moved:
                what = f"nothing sets, clears or reads flag '{name}'"
            elif subject.words is None or _spoken(subject.words, logic.name, name):
                continue
            else:
                what = f"flag '{name}' is set, and neither the logic nor a requirement reads it"
            yield Claim(logic, ("flags", name), what, (name,))


def _spoken(words: frozenset[str], computer: str, name: str) -> bool:
    return f"{computer}_{name}" in words or f"{computer}.{name}" in words


@rule(
    "flag-never-set",
    "a flag that is read and never changes",
    "every condition that asks for it always gets the same answer",
)
def flag_never_set(subject: Subject) -> Iterator[Claim]:
    """Read by an expression or sent, but nothing moves it away from its initial value."""
    for logic in subject.sequences.values():
        read = _read(logic) | set(_sent(logic))
        for name, flag in logic.flags.items():
            verb = "clear" if flag.initial else "set"
            moved = any(each.verb == verb and each.name == name for each in commands_of(logic))
            if name in read and not moved:
                word = "true" if flag.initial else "false"
                what = f"flag '{name}' is read, but nothing {verb}s it: it is always {word}"
                yield Claim(logic, ("flags", name), what, (name,))


@rule(
    "unused-function",
    "a function that nothing commands",
    "a channel, its wire and its load are carried along and never do anything",
)
def unused_function(subject: Subject) -> Iterator[Claim]:
    """No command but `cut`, and no loop, moves it."""
    for logic in subject.sequences.values():
        used = {each.name for each in commands_of(logic) if each.verb != "cut"}
        used |= {servo for loop in logic.loops.values() for _, servo in loop.outputs}
        yield from _left_over(logic, "functions", used, "nothing commands function")


@rule(
    "unused-inhibit",
    "an inhibit that blocks no function",
    "a protection is written down and protects nothing",
)
def unused_inhibit(subject: Subject) -> Iterator[Claim]:
    """No function lists it."""
    for logic in subject.sequences.values():
        used = {name for function in logic.functions.values() for name in function.inhibits}
        yield from _left_over(logic, "inhibits", used, "no function lists inhibit")


@rule(
    "unused-loop",
    "a control loop that no state runs",
    "the motor that it was to steer burns unsteered",
)
def unused_loop(subject: Subject) -> Iterator[Claim]:
    """No state lists it."""
    for logic in subject.sequences.values():
        used = {name for state in logic.states.values() for name in state.loops}
        yield from _left_over(logic, "loops", used, "no state runs control loop")


def _no_receivers(subject: Subject) -> str | None:
    if subject.whole or len(subject.sequences) > 1:
        return None
    return "only one sequence is known: its messages are read by others"


@rule(
    "message-unread",
    "a published field that no other computer reads",
    "somebody was to hear of it and does not; or the message is longer than it need be",
    needs=_no_receivers,
    everywhere=True,
)
def message_unread(subject: Subject) -> Iterator[Claim]:
    """No input of another sequence of the set is `from` it."""
    read = {
        entry.message
        for logic in subject.sequences.values()
        for entry in logic.inputs.values()
        if entry.message is not None
    }
    for logic in subject.sequences.values():
        for index, name in enumerate(_sent(logic)):
            if (logic.name, name) not in read:
                what = f"'{name}' is published and no other computer reads it"
                yield Claim(logic, ("publish", "fields", index), what, (name,))


def _no_senders(subject: Subject) -> str | None:
    one = len(subject.sequences) == 1 and not subject.whole
    named = any(
        each.message for logic in subject.sequences.values() for each in logic.inputs.values()
    )
    return "only one sequence is known: its messages come from others" if one and named else None


@rule(
    "message-unsent",
    "an input from a message that nobody sends",
    "it is bad for ever, and every condition that waits for it waits for ever",
    needs=_no_senders,
)
def message_unsent(subject: Subject) -> Iterator[Claim]:
    """The computer is not in the set, or publishes no such field."""
    for logic in subject.sequences.values():
        for name, entry in logic.inputs.items():
            if entry.message is None:
                continue
            computer, field = entry.message
            sender = subject.sequences.get(computer)
            if sender is None:
                what = f"input '{name}' is from computer '{computer}', which does not fly with it"
            elif field not in _sent(sender):
                what = f"input '{name}' is from '{computer}.{field}', which is not published"
                guess = nearest(field, _sent(sender))
                what += f"; did you mean '{computer}.{guess}'?" if guess else ""
            else:
                continue
            yield Claim(logic, ("inputs", name), what, (name, f"{computer}.{field}"))


RULES = (
    unused_input,
    unused_limit,
    unused_estimate,
    unused_flag,
    flag_never_set,
    unused_function,
    unused_inhibit,
    unused_loop,
    message_unread,
    message_unsent,
)
