"""Messages: strictly after, newest wins, old ones dropped."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.flight.link import Mailbox, Message


def message(arrival: int, number: int, *, boot: int = 0) -> Message:
    return Message(arrival, boot, number, (float(number),))


def test_visible_strictly_after_arrival() -> None:
    box = Mailbox()
    box.post(message(7, 1))

    assert box.take(7) == (None, 0, 0)
    taken, dropped, _ = box.take(8)

    assert taken is not None
    assert taken.number == 1
    assert dropped == 0


def test_latest_wins_and_the_rest_is_not_counted_as_dropped() -> None:
    box = Mailbox()
    for number in (1, 2, 3):
        box.post(message(0, number))

    taken, dropped, _ = box.take(1)

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
    box.post(message(0, first[1], boot=first[0]))
    box.take(1)
    box.post(message(2, second[1], boot=second[0]))

    taken, dropped, _ = box.take(3)

    assert (taken is not None) is is_taken
    assert dropped == (0 if is_taken else 1)


def test_a_reboot_forgets_the_numbers_and_what_came_while_it_was_down() -> None:
    box = Mailbox()
    box.post(message(0, 9))
    box.take(1)
    box.post(message(1, 10))
    box.post(message(6, 1))
    box.forget(5)
    assert box.take(6) == (None, 0, 0)

    taken, *_ = box.take(7)
    assert taken is not None
    assert taken.number == 1


@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 3), st.integers(0, 9)), max_size=20))
def test_whatever_arrives_numbers_only_grow(posted: list[tuple[int, int, int]]) -> None:
    box = Mailbox()
    for arrival, boot, number in posted:
        box.post(Message(arrival, boot, number, ()))
    seen = []
    dropped = 0
    for quarter in range(25):
        taken, lost, _ = box.take(quarter)
        dropped += lost
        if taken is not None:
            assert taken.arrival < quarter
            seen.append((taken.boot, taken.number))

    assert seen == sorted(set(seen))
    assert len(seen) + dropped <= len(posted)
