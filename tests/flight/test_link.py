"""Messages: strictly after, newest wins, old ones dropped."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.flight.link import Mailbox, Message


def message(arrival: str, number: int, *, boot: int = 0) -> Message:
    return Message(Fraction(arrival), boot, number, (float(number),))


def test_visible_strictly_after_arrival() -> None:
    box = Mailbox()
    box.post(message("0.07", 1))

    assert box.take(Fraction("0.07")) == (None, 0)
    taken, dropped = box.take(Fraction("0.08"))

    assert taken is not None
    assert taken.number == 1
    assert dropped == 0


def test_arrival_is_an_exact_fraction() -> None:
    """0.01 + 0.06 is 0.07 exactly, although the floating sum is 0.06999999999999999."""
    box = Mailbox()
    box.post(Message(Fraction("0.01") + Fraction("0.06"), 0, 1, (1.0,)))

    assert box.take(Fraction(7, 100)) == (None, 0)


def test_latest_wins_and_the_rest_is_not_counted_as_dropped() -> None:
    box = Mailbox()
    for number in (1, 2, 3):
        box.post(message("0", number))

    taken, dropped = box.take(Fraction(1))

    assert taken is not None
    assert taken.number == 3
    assert dropped == 0


@pytest.mark.parametrize(
    ("first", "second", "is_taken"),
    [((0, 5), (0, 5), False), ((0, 5), (0, 4), False), ((0, 5), (1, 1), True)],
    ids=["repeated", "overtaken", "sender rebooted"],
)
def test_not_newer_is_dropped(
    first: tuple[int, int], second: tuple[int, int], *, is_taken: bool
) -> None:
    box = Mailbox()
    box.post(message("0", first[1], boot=first[0]))
    box.take(Fraction(1))
    box.post(message("2", second[1], boot=second[0]))

    taken, dropped = box.take(Fraction(3))

    assert (taken is not None) is is_taken
    assert dropped == (0 if is_taken else 1)


def test_a_reboot_forgets_what_was_on_its_way_and_the_numbers() -> None:
    box = Mailbox()
    box.post(message("0", 9))
    box.take(Fraction(1))
    box.post(message("1", 10))
    box.forget()
    assert box.take(Fraction(5)) == (None, 0)

    box.post(message("6", 1))

    taken, _ = box.take(Fraction(7))
    assert taken is not None


@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 3), st.integers(0, 9)), max_size=20))
def test_whatever_arrives_numbers_only_grow(posted: list[tuple[int, int, int]]) -> None:
    box = Mailbox()
    for arrival, boot, number in posted:
        box.post(Message(Fraction(arrival, 4), boot, number, ()))
    seen = []
    dropped = 0
    for quarter in range(25):
        taken, lost = box.take(Fraction(quarter, 4))
        dropped += lost
        if taken is not None:
            assert taken.arrival < Fraction(quarter, 4)
            seen.append((taken.boot, taken.number))

    assert seen == sorted(set(seen))
    assert len(seen) + dropped <= len(posted)
