"""Messages between computers: every field that is read must be published, in the same unit."""

from __future__ import annotations

from collections.abc import Mapping

from sequencer.documents import located
from sequencer.errors import InputError, nearest
from sequencer.sequence.model import Input, Sequence
from sequencer.units import TRUTH, Dimension, unit

__all__ = ["check_messages"]


def check_messages(sequences: Mapping[str, Sequence]) -> None:
    """Checks the inputs that come from other computers; `sequences` by name of the computer.

    Raises InputError for an unknown computer, a field that it does not publish, or a unit of
    another dimension.
    """
    for sequence in sequences.values():
        for entry in sequence.inputs.values():
            if entry.message is not None:
                _check(sequence, entry, entry.message, sequences)


def _check(
    sequence: Sequence,
    entry: Input,
    message: tuple[str, str],
    sequences: Mapping[str, Sequence],
) -> None:
    computer, field = message
    if computer not in sequences:
        near = nearest(computer, sequences)
        raise _error(sequence, entry, f"no computer '{computer}' in this scenario", near)
    sender = sequences[computer]
    published = () if sender.publication is None else sender.publication.fields
    if field not in published:
        what = f"computer '{computer}' publishes no '{field}'"
        raise _error(sequence, entry, what, nearest(field, published))
    sent = _dimension(sender, field)
    if unit(entry.unit).dimension != sent:
        what = f"'{entry.name}' is read in '{entry.unit}' but '{computer}.{field}' is in {sent}"
        raise _error(sequence, entry, what, None)


def _dimension(sender: Sequence, field: str) -> Dimension:
    return TRUTH if field in sender.flags else unit(sender.estimates[field].unit).dimension


def _error(sequence: Sequence, entry: Input, what: str, near: str | None) -> InputError:
    return located(sequence.path, ("inputs", entry.name), what, near)
