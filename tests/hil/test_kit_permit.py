"""The kit's link client with dummy loads: nothing is driven but under a permit of docs/link.md."""

from __future__ import annotations

import math
import random
import struct

import pytest
from firing_rig import ASK, BACK, MASKED, SEQUENCE, STRUCK, TAKE, Rig, build_rig
from reference_board import CHANNELS, CONFIGURE, HELLO, NAMES, PERMIT, PING, RESET, SAFE_NOW, TICK

from hil.messages import Ability, Board, Names, Resistances
from sequencer.sequence import load_sequence

REFUSED = ("refused", 12)


@pytest.fixture(scope="module")
def sequence(tmp_path_factory):
    path = tmp_path_factory.mktemp("sequence") / "loads.sequence.toml"
    path.write_text(SEQUENCE, encoding="utf-8")
    return load_sequence(path)


@pytest.fixture(scope="module")
def firing(sequence):
    return build_rig(sequence, "-DDC_LINK_DUMMY_LOADS")


@pytest.fixture(scope="module")
def plain(sequence):
    return build_rig(sequence)


@pytest.fixture
def rig(firing, sequence):
    return Rig(firing, sequence)


def test_what_begins_under_a_permit_comes_through_and_nothing_else(rig):
    rig.begin()
    assert rig.tick() == MASKED
    rig.hold()
    assert rig.tick() == 0
    assert rig.driven == 0
    assert rig.tick(a=1) == 0
    assert rig.driven == 0b001
    assert [(rig.tick(a=1), rig.driven) for _ in range(6)] == [*4 * [(0, 0b001)], *2 * [(0, 0)]]
    assert (rig.tick(), rig.driven) == (0, 0)
    assert (rig.tick(b=1), rig.driven) == (0, 0b110)


def test_a_pulse_that_was_masked_when_it_began_stays_masked(rig):
    rig.begin()
    assert (rig.tick(a=1), rig.driven) == (MASKED, 0)
    rig.hold()
    assert [(rig.tick(), rig.driven) for _ in range(3)] == 3 * [(0, 0)]
    assert (rig.tick(b=1), rig.driven) == (0, 0b110)  # another one begins
    assert [(rig.tick(), rig.driven) for _ in range(5)] == [*4 * [(0, 0b110)], (0, 0)]
    assert (rig.tick(a=1), rig.driven) == (0, 0b001)  # and the first one anew


def test_the_next_permit_switches_nothing_on(rig):
    """Not even a pulse that began under the one before."""
    rig.begin()
    rig.hold()
    assert (rig.tick(a=1), rig.driven) == (0, 0b001)
    rig.hold()
    assert [(rig.tick(), rig.driven) for _ in range(3)] == 3 * [(0, 0)]


def test_only_channels_of_the_permit_are_driven(rig):
    rig.begin()
    rig.hold(channels=0b010)
    assert (rig.tick(a=1), rig.driven) == (0, 0)
    assert (rig.tick(), rig.driven) == (0, 0)
    assert (rig.tick(b=1), rig.driven) == (0, 0b010)


#: what ends a permit at once
ENDS = {
    "its time": lambda rig: rig.set(later_ms=1000),
    "the key": lambda rig: (rig.set(key=0), rig.set(later_ms=5)),
    "a host that is gone": lambda rig: rig.set(later_ms=505),
    "greeting": Rig.greet,
    "configuration": Rig.configure,
    "reset": Rig.reset,
    "safe now": lambda rig: rig.send(SAFE_NOW, number=0, nonce=0),
    "given back": lambda rig: rig.permit(BACK),
    "asked anew": lambda rig: rig.permit(ASK),
    "taken with nothing asked": lambda rig: rig.permit(TAKE, challenge=5),
    "refused: unknown": lambda rig: rig.ask(77),
    "refused: old tick": lambda rig: rig.ask(TICK, bytes(9)),
    "refused: out of step": lambda rig: rig.send(PING, number=rig.number + 2),
    "another sequence": lambda rig: rig.ask(CONFIGURE, bytes(64) + struct.pack("<HH", 500, 0)),
    "power": Rig.boot,
}


@pytest.mark.parametrize("end", ENDS)
def test_what_ends_a_permit(end, rig):
    rig.begin(dead_man=500)
    rig.hold()
    assert (rig.tick(b=1), rig.driven) == (0, 0b110)
    ENDS[end](rig)
    assert rig.driven == 0
    if end not in {"greeting", "power", "configuration", "reset", "safe now"}:
        struck = STRUCK * (end in {"a host that is gone", "its time"})
        rig.set(key=1)
        assert (rig.tick(), rig.driven) == (MASKED | struck, 0)
        assert (rig.tick(a=1), rig.driven) == (MASKED | struck, 0)
    if end != "asked anew":
        assert rig.permit(TAKE, challenge=5) != 5


def test_time_goes_on_whatever_the_host_asks(rig):
    """Neither new requests nor repeated ones lengthen it, and it ends within the board's look."""
    rig.begin()
    rig.hold(ms=300)
    assert rig.tick(a=1) == 0
    again = struct.pack("<BIHI", TAKE, 7, 300, 5)
    for _ in range(5):
        rig.set(later_ms=55)
        assert rig.driven == 0b001
        assert rig.ask(PING) == PING
        assert rig.send(PERMIT, again, number=2) == b""  # an old frame that came late
    rig.set(later_ms=25)
    assert rig.driven == 0
    assert rig.tick(a=1) == MASKED


def test_a_request_does_not_hide_that_the_host_was_gone(rig):
    """From a board that did not look at its clock in between."""
    rig.begin()
    rig.hold(ms=2000)
    assert (rig.tick(a=1), rig.driven) == (0, 0b001)
    rig.skip(501)
    assert (rig.tick(), rig.driven) == (MASKED | STRUCK, 0)


def test_a_permit_that_ends_while_a_tick_is_worked_out_lets_nothing_through(rig):
    rig.begin()
    rig.hold(ms=300)
    rig.set(later_ms=295)
    rig.pace(1500)  # the third look is before its end, the fourth is not
    assert (rig.tick(a=1), rig.driven) == (MASKED, 0)


def test_a_repeated_take_is_answered_again_with_a_zero_in_front(rig):
    rig.begin()
    challenge = rig.permit(ASK, 7, 100)
    body = struct.pack("<BIHI", TAKE, 7, 100, challenge)
    assert rig.ask(PERMIT, body) == PERMIT
    rig.set(later_ms=95)
    once = rig.send(PERMIT, body)
    assert once[0] == 0
    assert once == rig.send(PERMIT, body)
    rig.set(later_ms=5)
    assert rig.tick() == MASKED


#: why a permit is refused: what the board or the host lacks
LACKS = {
    "no wiring told": lambda rig: rig.begin(wiring=bytes(32)),
    "dead-man too slow": lambda rig: rig.begin(dead_man=501),
    "no reset": lambda rig: (rig.begin(), rig.configure()),
    "safe": lambda rig: (rig.begin(), rig.send(SAFE_NOW, number=0)),
    "the key is out": lambda rig: (rig.begin(), rig.set(key=0)),
    "an igniter": lambda rig: (rig.begin(), rig.load(1, 1.6)),
    "open": lambda rig: (rig.begin(), rig.load(1, math.inf)),
    "not measured": lambda rig: (rig.begin(), rig.load(2, math.nan)),
    "too large": lambda rig: (rig.begin(), rig.load(0, 50.1)),
    "the dead-man has struck": lambda rig: (rig.begin(), rig.set(later_ms=600)),
}


@pytest.mark.parametrize("lack", LACKS)
def test_who_is_refused(lack, rig):
    LACKS[lack](rig)
    assert rig.permit(ASK) == REFUSED
    assert rig.permit(TAKE, challenge=5) == REFUSED
    assert rig.driven == 0


def test_a_channel_that_is_not_asked_for_may_be_anything(rig):
    rig.begin()
    rig.load(2, 1.6)
    rig.hold(channels=0b011)
    assert rig.permit(ASK, channels=0b100) == REFUSED


def test_all_is_looked_at_again_when_it_is_taken(rig):
    rig.begin()
    challenge = rig.permit(ASK)
    rig.load(1, 1.6)
    assert rig.permit(TAKE, challenge=challenge) == REFUSED


@pytest.mark.parametrize(
    ("channels", "ms", "challenge"), [(0, 1, 0), (8, 1, 0), (7, 0, 0), (7, 2001, 0), (7, 1, 1)]
)
def test_fields_out_of_range(rig, channels, ms, challenge):
    rig.begin()
    assert rig.permit(ASK, channels, ms, challenge) == ("refused", 2)


def test_a_challenge_counts_once_and_for_what_was_answered(rig):
    rig.begin()
    for wrong in (
        {"challenge": 1},
        {"channels": 3},
        {"ms": 999},
    ):
        challenge = rig.permit(ASK)
        given = {"challenge": challenge, **wrong}
        assert rig.permit(TAKE, **given) == REFUSED
        assert rig.permit(TAKE, challenge=challenge) == REFUSED  # void
    first = rig.permit(ASK)
    assert rig.permit(TAKE, challenge=first) == first
    assert rig.permit(TAKE, challenge=first) == REFUSED
    second = rig.permit(ASK)
    assert second != first
    for _ in range(4):  # within the dead-man's time, and beyond two seconds
        rig.set(later_ms=495)
        assert rig.ask(PING) == PING
    rig.set(later_ms=20)
    assert rig.permit(TAKE, challenge=second) == REFUSED


def test_asking_and_taking_survive_the_clock_s_wrap(firing, sequence):
    rig = Rig(firing, sequence)
    rig._us = 2**32 - 30_000
    rig.set()
    rig.begin()
    rig.hold(ms=200)
    assert (rig.tick(a=1), rig.driven) == (0, 0b001)
    rig.set(later_ms=195)
    assert rig.driven == 0b001
    rig.set(later_ms=5)
    assert rig.driven == 0


@pytest.mark.parametrize("without", [1 << bit for bit in range(11)])
def test_a_board_that_lacks_something_cannot_fire(firing, sequence, without):
    rig = Rig(firing, sequence, without=without)
    assert rig.greet() == HELLO
    assert not Board.of(rig.body).abilities & Ability.CAN_FIRE
    rig.configure()
    rig.reset()
    assert rig.permit(ASK) == REFUSED
    assert rig.permit(BACK) == 0
    assert rig.driven == 0


def test_without_a_challenge_there_is_no_permit(firing, sequence):
    rig = Rig(firing, sequence, without=2048)
    rig.begin()
    assert rig.permit(ASK) == REFUSED
    assert rig.permit(TAKE, challenge=0) == REFUSED


def test_an_image_that_was_not_built_for_it_never_writes_an_output(plain, sequence):
    rig = Rig(plain, sequence)
    assert rig.greet() == HELLO
    assert Board.of(rig.body).abilities == (
        Ability.WARM_RESET | Ability.HAS_CLOCK | Ability.MEASURES
    )
    assert (rig.configure(), rig.reset()) == (CONFIGURE, RESET)
    assert rig.permit(ASK) == REFUSED
    assert rig.permit(TAKE, challenge=5) == REFUSED
    assert rig.permit(BACK) == 0
    assert rig.tick(a=1) == MASKED
    rig.boot()
    assert rig.drives == 0


def test_channels_are_named_and_measured(rig):
    assert rig.greet() == HELLO
    board = Board.of(rig.body)
    assert (board.channels, board.wiring) == (3, rig.wiring)
    assert board.abilities & Ability.MEASURES
    assert board.abilities & Ability.CAN_FIRE
    assert rig.ask(NAMES, struct.pack("<BH", 3, 0)) == NAMES
    assert Names.of(rig.body).names == ("X1", "X2", "X3")
    assert rig.ask(CHANNELS) == ("refused", 8)
    assert (rig.configure(), rig.reset()) == (CONFIGURE, RESET)
    rig.load(0, 1.6)
    rig.load(1, rig._board.rig_open())
    rig.load(2, rig._board.rig_not_measured())
    assert rig.ask(CHANNELS) == CHANNELS
    found = Resistances.of(rig.body)
    assert found.test_current_a == pytest.approx(0.001)
    assert found.ohm[:2] == (pytest.approx(1.6), math.inf)
    assert math.isnan(found.ohm[2])
    assert rig.ask(CHANNELS, b"x") == ("refused", 2)
    rig.load(0, -0.02)  # a meter's offset
    assert rig.ask(CHANNELS) == CHANNELS
    assert Resistances.of(rig.body).ohm[0] == 0.0


def test_another_wiring_is_refused(rig):
    assert rig.greet() == HELLO
    assert rig.configure(wiring=bytes(31) + b"\1") == ("refused", 7)
    assert rig.reset() == ("refused", 8)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"loads are on", b"loads are on"),
        (b"", b""),
        (b"x" * 96, b"x" * 96),
        (b"x" * 97, b"x" * 96),
        (b"x" * 95 + "ä".encode(), b"x" * 95),
        (b"x" * 94 + "äb".encode(), b"x" * 94 + "ä".encode()),
    ],
)
def test_a_line_for_people(rig, text, told):
    said = rig.text(2, text)
    assert said == struct.pack("<BIIBI", 0xF1, 0, 0, 2, 1_000_000) + told
    rig.begin()
    assert struct.unpack_from("<BII", rig.text(2, text)) == (0xF1, 0, 0x5EED1234)


class _Host:
    """One that does anything, and a model of the page: when something may be driven at all."""

    def __init__(self, rig, chance):
        self.rig, self.chance = rig, chance
        self.now = self.heard = 0
        self.until, self.channels = -1, 0
        self.ready = self.key = True
        rig.begin()

    def over(self):
        self.until = -1

    def watch(self):
        if self.now - self.heard > 500:
            self.over()
            self.ready = False  # the dead-man has struck

    def tick(self):
        self.rig.tick(a=self.chance.randrange(2), b=self.chance.randrange(2))

    def hold(self):
        asked = self.chance.randrange(1, 8), self.chance.choice([1, 20, 300, 2000])
        challenge = self.rig.permit(ASK, *asked)
        self.over()
        assert isinstance(challenge, int) == (self.ready and self.key)
        if isinstance(challenge, int) and self.chance.random() < 0.8:
            assert self.rig.permit(TAKE, *asked, challenge) == challenge
            self.channels, self.until = asked[0], self.now + asked[1]

    def wait(self):
        later = self.chance.choice([5, 5, 10, 10, 50, 50, 200, 600])
        self.rig.set(later_ms=later)
        self.now += later
        self.watch()

    def turn_key(self):
        self.key = self.chance.random() < 0.8
        self.rig.set(key=self.key)
        self.wait()
        if not self.key:
            self.over()

    def go_safe(self):
        self.rig.send(SAFE_NOW, number=0, nonce=3)
        self.over()
        self.ready = False

    def lose_power(self):
        self.rig.boot()
        self.rig.greet()
        self.over()
        self.ready = False

    def configure(self):
        self.rig.configure()
        self.over()
        self.ready = False

    def give_back(self):
        self.rig.permit(BACK)
        self.over()

    def talk_nonsense(self):
        self.rig.ask(99)
        self.over()

    def begin(self):
        if not self.ready:
            self.rig.begin()
            self.ready = True

    def go(self):
        """One step; what is driven after it."""
        rare = [self.go_safe, self.lose_power, self.configure, self.give_back, self.talk_nonsense]
        quiet = [self.wait, self.turn_key]
        often = [self.tick] * 30 + [self.begin, self.hold] * 6 + [self.wait] * 6
        do = self.chance.choice([*often, self.turn_key, *rare])
        if do not in [*quiet, self.go_safe]:
            self.watch()
            self.heard = self.now
        do()
        if not self.ready:
            self.over()
        driven = self.rig.driven
        assert driven & ~(self.channels if self.now < self.until else 0) == 0, do.__name__
        return driven != 0


def test_whatever_happens_nothing_is_driven_without_a_permit(firing, sequence):
    driven = 0
    for seed in range(150):
        host = _Host(Rig(firing, sequence), random.Random(seed))  # noqa: S311 - chance
        driven += sum(host.go() for _ in range(100))
    assert driven > 500
