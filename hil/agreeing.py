"""Whether a board executes the sequence that the host means."""

from __future__ import annotations

from collections.abc import Sequence

from hil.link import Link, LinkUnfitError
from hil.messages import NOT_TOLD, Board, Frames, NameList
from sequencer.errors import nearest
from sequencer.sequence import Sequence as FlightLogic

__all__ = ["agree"]

_SHORT = 8


def agree(link: Link, sequence: FlightLogic, wiring: str = "") -> None:
    """Raises LinkError at the first thing in which board and sequence differ.

    wiring   SHA-256 (hex) of the computer's, `Vehicle.firmware_wiring`; empty where it is not known

    Names come before hashes: that an input is missing says more than that a hash is another one.
    """
    board = link.board
    if board is None:
        raise link.error("was not greeted")
    _names(link, "input", board.inputs, NameList.INPUTS, tuple(sequence.inputs), sequence)
    _names(link, "state", board.states, NameList.STATES, tuple(sequence.states), sequence)
    functions = tuple(sequence.functions)
    _names(
        *(link, "function", board.pulses + board.servos, NameList.FUNCTIONS, functions, sequence)
    )
    _counts(link, board, sequence)
    wanted = bytes.fromhex(sequence.digest)
    if board.sequence == NOT_TOLD:
        raise link.error("does not say which sequence it executes")
    if board.sequence != wanted:
        raise link.error(
            f"executes sequence {board.sequence.hex()[:_SHORT]}, but '{sequence.name}' is "
            f"{sequence.digest[:_SHORT]}: build it anew from the present file"
        )
    if wiring and board.wiring not in {NOT_TOLD, bytes.fromhex(wiring)}:
        what = link.error(
            f"was built for wiring {board.wiring.hex()[:_SHORT]}, but '{sequence.name}' is wired "
            f"{wiring[:_SHORT]} here: export it anew with the vehicle that flies"
        )
        raise LinkUnfitError(str(what))
    frames = Frames(board)
    longest = max(frames.longest_tick, frames.plain_output)
    if longest > board.max_payload:
        raise link.error(
            f"holds {board.max_payload} bytes of payload, a frame of '{sequence.name}' needs "
            f"{longest}"
        )


def _counts(link: Link, board: Board, sequence: FlightLogic) -> None:
    servos = sum(each.kind == "servo" for each in sequence.functions.values())
    fields = len(sequence.publication.fields) if sequence.publication is not None else 0
    for what, has, wanted in (
        ("servos", board.servos, servos),
        ("published fields", board.fields, fields),
        ("ticks a second", board.rate_hz, sequence.rate_hz),
    ):
        if has != wanted:
            raise link.error(f"has {has} {what}, sequence '{sequence.name}' {wanted}")


def _names(
    link: Link,
    what: str,
    count: int,
    of_list: NameList,
    wanted: Sequence[str],
    sequence: FlightLogic,
) -> None:
    there = link.names(of_list)
    if len(there) != count:
        raise link.error(f"says that it has {count} {what}s, and names {len(there)}")
    for name in wanted:
        if name not in there:
            guess = nearest(name, there)
            hint = f"; did it mean '{guess}'?" if guess else ""
            raise link.error(f"has no {what} '{name}', sequence '{sequence.name}' has{hint}")
    for name in there:
        if name not in wanted:
            raise link.error(f"has {what} '{name}', sequence '{sequence.name}' has not")
    for at, (mine, its) in enumerate(zip(wanted, there, strict=False)):
        if mine != its:
            raise link.error(f"has '{its}' as {what} {at}, sequence '{sequence.name}' '{mine}'")
