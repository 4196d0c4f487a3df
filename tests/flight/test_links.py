"""What lies between computers: chance that is the same everywhere, faults, the umbilical."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from types import SimpleNamespace

import pytest

from sequencer.flight.link import Mailbox, Message
from sequencer.flight.links import Links
from sequencer.scenario.model import Link, PlannedFault
from sequencer.scenario.trigger import Trigger
from sequencer.world.chance import SOURCE_LINK, philox, uniform_pair

RATE = 100
FULL = 4000


def fault(kind: str, size: float = 0.0, place: str = "pad") -> PlannedFault:
    return PlannedFault(kind, kind, place, None, Trigger(at_s=0.0), size)


def arrivals(
    link: Link,
    *active: PlannedFault,
    messages: int = FULL,
    seed: int = 1,
    flight: int = 0,
    sender: str = "pad",
    height: float = 0.0,
) -> list[tuple[int, Fraction]]:
    """(number, seconds on the way) of everything that arrives of one message a tick."""
    box = Mailbox()
    scenario = SimpleNamespace(
        link=link, params={"seed": seed, "flight": flight}, rate_hz=RATE, faults=active
    )
    links = Links(scenario, {"pad": [box], "flight": [box]}, 0.25)
    for each in active:
        links.begin(each, 0)
    links.rise(height)
    posted: list[Message] = []
    box.post = posted.append
    for number in range(messages):
        links.send(sender, Message(links.now(number), 0, number, ()), number)
    per_s = links.now(RATE)
    return [
        (each.number, Fraction(each.arrival - links.now(each.number), per_s)) for each in posted
    ]


def numbers(found: Sequence[tuple[int, Fraction]]) -> list[int]:
    return [number for number, _ in found]


def test_a_plain_link_only_delays() -> None:
    assert arrivals(Link(Fraction(1, 300)), messages=3) == [(n, Fraction(1, 300)) for n in range(3)]


@pytest.mark.parametrize("loses", [0.05, 0.3, 0.9])
def test_as_many_are_lost_as_is_said(loses: float) -> None:
    """Within four standard deviations of the binomial distribution."""
    got = len(arrivals(Link(Fraction(0), loses=loses)))
    spread = (FULL * loses * (1.0 - loses)) ** 0.5
    assert abs(got - FULL * (1.0 - loses)) < 4.0 * spread


def test_all_or_none() -> None:
    assert arrivals(Link(Fraction(0), loses=1.0)) == []
    assert len(arrivals(Link(Fraction(0), repeats=1.0))) == 2 * FULL


def test_a_worse_link_loses_the_same_ones_and_more() -> None:
    good = set(numbers(arrivals(Link(Fraction(0), loses=0.1))))
    bad = set(numbers(arrivals(Link(Fraction(0), loses=0.2))))
    assert bad < good


def test_chance_depends_on_seed_flight_and_sender_only() -> None:
    link = Link(Fraction(0), loses=0.5)
    once = arrivals(link, messages=64)
    assert once == arrivals(link, messages=64)
    assert once == arrivals(link, messages=128)[: len(once)]
    others = (
        arrivals(link, messages=64, seed=2),
        arrivals(link, messages=64, flight=1),
        arrivals(link, messages=64, sender="flight"),
    )
    assert all(other != once for other in others)


def test_chance_is_that_of_the_world() -> None:
    """The same Philox words as the compiled generator gives, which has its published vectors."""
    seed, flight, number = 2**63 + 5, 2**40 + 7, 11
    words = philox(
        number, SOURCE_LINK, flight & 0xFFFFFFFF, flight >> 32, seed & 0xFFFFFFFF, seed >> 32
    )
    a, b, c, d = (int(word) for word in words)
    assert uniform_pair(seed, flight, SOURCE_LINK, number) == (
        ((a << 32 | b) >> 11) / 2**53,
        ((c << 32 | d) >> 11) / 2**53,
    )


def test_a_repeat_comes_another_delay_later() -> None:
    found = arrivals(Link(Fraction(1, 50), repeats=1.0), messages=1)
    assert found == [(0, Fraction(1, 50)), (0, Fraction(2, 50))]


@pytest.mark.parametrize(
    ("active", "ways"),
    [
        ((fault("link_delayed", 0.07),), [Fraction(8, 100)]),
        ((fault("link_repeated", 0.003),), [Fraction(1, 100), Fraction(13, 1000)]),
        (
            (fault("link_delayed", 0.1), fault("link_repeated", 0.5)),
            [Fraction(11, 100), Fraction(61, 100)],
        ),
        ((fault("link_lost"),), []),
        ((fault("umbilical_pulled", place="umbilical"),), []),
        ((fault("link_lost", place="flight"),), [Fraction(1, 100)]),
    ],
    ids=["delayed", "repeated", "both", "lost", "pulled", "of the other"],
)
def test_faults_on_the_way(active: tuple[PlannedFault, ...], ways: list[Fraction]) -> None:
    found = arrivals(Link(Fraction(1, 100)), *active, messages=1)
    assert [way for _, way in found] == ways


def test_a_bouncing_umbilical_has_contact_half_the_time() -> None:
    found = arrivals(Link(Fraction(0)), fault("umbilical_bounces", 0.1, "umbilical"), messages=30)
    assert numbers(found) == [*range(5), *range(10, 15), *range(20, 25)]


@pytest.mark.parametrize(("height", "left"), [(0.34, 3), (0.351, 0), (math.nan, 3)])
def test_a_parted_umbilical_carries_nothing(height: float, left: int) -> None:
    """It comes off 0.1 m above where the vehicle stood, which is at 0.25 m."""
    link = Link(Fraction(0), parts_at_m=0.1)
    assert len(arrivals(link, messages=3, height=height)) == left
