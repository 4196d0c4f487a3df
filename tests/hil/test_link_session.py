"""A session between host and board: what it says, and what it says when something is wrong."""

from __future__ import annotations

import math
import re
import struct
from pathlib import Path

import pytest
from reference_board import READY, ReferenceBoard
from wires import Wire, linked, sequence_in, stream_of

from hil.frames import FrameDecoder, encode
from hil.link import Link, LinkError
from hil.messages import (
    NOT_TOLD,
    Board,
    Frames,
    MalformedError,
    NameList,
    Names,
    Packet,
    Reset,
    Resistances,
    Text,
    ask_names,
    configure,
    permit,
    refusal,
)
from hil.targets import LinkTarget
from sequencer.errors import UsageError
from sequencer.execute import ReferenceExecutor
from sequencer.flight.target import Boot, Capability

PAGE = (Path(__file__).parents[2] / "docs/link.md").read_text(encoding="utf-8")


@pytest.fixture
def sequence(tmp_path):
    return sequence_in(tmp_path)


def target_on(sequence, board):
    """A target on a board in memory."""
    wire = Wire(board)
    return LinkTarget(sequence, wire, clock=wire.clock), wire


def frames_on_the_page():
    """Every frame there, in order, as payloads, and the same with the title above it."""
    lines = re.findall(
        r"^    (\S.*(?:\n    \S.*)?)\n        ([0-9a-f]{2}(?: [0-9a-f]{2})+)$", PAGE, re.MULTILINE
    )
    return [(title, FrameDecoder().feed(bytes.fromhex(line))[0], line) for title, line in lines]


def test_the_frames_of_the_page():
    """Every frame on the page is one; HELLO, PING and TICK are what the host sends."""
    found = frames_on_the_page()
    assert len(found) == len(re.findall(r"^        (?:[0-9a-f]{2} )+00$", PAGE, re.MULTILINE))
    for title, payload, line in found:
        again = "00 " if title.startswith("the same again") else ""
        assert line == again + encode(payload).hex(" ")
    payloads = [payload for _, payload, _ in found[:8]]
    assert [payload[0] for payload in payloads] == [0xF0, 1, 8, 0x88, 9, 5, 0x85, 0xFF]
    ready, _, _, pong, _, tick, output, refused = map(Packet.of, payloads)
    assert struct.unpack("<HI", ready.body) == (1, 3)
    assert struct.unpack("<I", pong.body[:4]) == (1_000_000,)
    frames = frames_of(inputs=3, pulses=2, servos=1, fields=1)
    assert tick.body == frames.tick(300, 100, [9.75, math.nan, 1.0], [True, False, True])
    read = frames.output(output.body)
    assert (read.tick, read.board_us, read.state) == (300, 4_000_000, 2)
    assert (read.on, read.demands, read.message) == ((True, False), (0.25,), (1.0,))
    assert read.events == ((1, 5, 0xFFFF), (0, 2, 0xFFFF))
    assert refused.body == bytes([3, 5])


def test_the_session_of_the_page():
    """What the host sends is what the page says, and what it reads in the replies too."""
    packets = [Packet.of(payload) for _, payload, _ in frames_on_the_page()[8:]]
    bodies = [packet.body for packet in packets]
    kinds = [0x81, 2, 0x82, 2, 0x82, 3, 0x83, 4, 0x84, 5, 0x85, 0x85, 6, 0x86, 7, 0xFF, 0xF1]
    assert [packet.kind for packet in packets] == kinds
    assert [p.number for p in packets] == [1, 2, 2, 3, 3, 4, 4, 5, 5, 6, 6, 6, 8, 8, 9, 9, 0]
    board = Board.of(bodies[0])
    assert (board.max_payload, board.value_bytes, board.rate_hz) == (128, 8, 100)
    assert (board.inputs, board.states, board.pulses, board.servos) == (3, 3, 2, 1)
    assert (board.fields, board.channels, board.name, board.build) == (1, 2, "kite", "1.2")
    assert board.sequence == bytes(range(0xA0, 0xC0))
    assert board.wiring == NOT_TOLD
    assert bodies[1] == ask_names(NameList.INPUTS, 0)
    assert Names.of(bodies[2]).names == ("accel", "height")
    assert bodies[3] == ask_names(NameList.INPUTS, 2)
    assert Names.of(bodies[4]).names == ("key",)
    assert bodies[5] == configure(board.sequence, NOT_TOLD, 500)
    assert bodies[6] == bodies[8] == bodies[12] == b""
    assert bodies[7] == bytes([Reset.COLD])
    assert bodies[9] == Frames(board).tick(0, 100, [9.75, math.nan, 1.0], [True, True, False])
    first = Frames(board).output(bodies[10])
    assert (first.tick, first.state, first.on, first.demands) == (0, 0, (False, False), (0.0,))
    assert first.message is not None
    assert math.isnan(first.message[0])
    assert first.events == ((0, 0, 0xFFFF),)
    assert bodies[11] == bodies[10]
    assert Resistances.of(bodies[13]).ohm == (1.5, math.inf)
    assert bodies[14] == permit(1, 1, 500, 0)
    assert refusal(bodies[15]) == (12, 7, "no plug")
    assert Text.of(bodies[16]).text == "warm"


def frames_of(**counts):
    class Board:
        value_bytes = 8

    for name, count in counts.items():
        setattr(Board, name, count)
    return Frames(Board)


def test_ticks_on_a_board_are_ticks_of_the_reference(sequence):
    target, wire = target_on(sequence, ReferenceBoard(sequence, boots=7))
    assert target.capabilities == {Capability.LOCK_STEP, Capability.REBOOT}
    assert target.describe()["sequence"] == sequence.digest
    mine = ReferenceExecutor(sequence)
    told = set()
    for boot in (Boot.COLD, Boot.WARM, Boot.COLD):
        target.reset(boot)
        mine.boot(mine.flags() if boot is Boot.WARM else None)
        for tick, values, fresh in stream_of(sequence, 150, 3):
            outputs = target.exchange(tick, values, fresh)
            assert repr(outputs) == repr(mine.tick(tick, values, fresh))
            told |= {kind for kind, _, _ in outputs.events}
    assert told >= {"entered", "took", "set", "fired", "ended", "cut", "blocked", "moved"}
    target.close()
    target.close()
    assert wire.closed
    assert wire.board.safe


def test_a_single_precision_board_gets_rounded_numbers(sequence):
    target, _ = target_on(sequence, ReferenceBoard(sequence, value="f"))
    assert target.tolerance_s == pytest.approx(1 / 60)
    target.reset(Boot.COLD)
    outputs = target.exchange(0, [1e300, 1.0], [True, True])  # beyond the range: a bad reading
    assert outputs.state == "wait"
    assert target.exchange(1, [9.0, 1.0], [True, True]).demands == (1.0,)


def test_lists_come_in_pages(sequence):
    link, wire = linked(sequence, max_payload=128)
    wire.board.inputs = [f"{'x' * 40}{number}" for number in range(20)]
    assert link.names(NameList.INPUTS) == tuple(wire.board.inputs)
    assert link.names(NameList.CHANNELS) == ("F1", "F2")


def test_pings_resistances_and_the_clock_of_the_board(sequence):
    link, wire = linked(sequence)
    wire.clock.now = 101.5
    assert link.ping(bytes(range(200))) == pytest.approx(1_500_000, abs=200)
    link.configure(bytes.fromhex(sequence.digest), NOT_TOLD)
    found = link.channels()
    assert (found.test_current_a, found.ohm) == (pytest.approx(0.001), (1.5, math.inf))


def test_channels_are_told_by_their_names(sequence):
    board = ReferenceBoard(sequence, ohm=(1.523, math.nan))
    target, _ = target_on(sequence, board)
    assert "channels" not in target.describe()
    assert target.describe()["outputs"] == "always masked"
    found = target.measure_channels()
    assert list(found.ohm) == ["F1", "F2"]
    assert found.words() == ("F1 1.52 ohm", "F2 not measured")
    board.ohm = (0.0, math.inf)
    target.measure_channels()
    assert target.describe()["channels"] == "F1 0 ohm, F2 open"


@pytest.mark.parametrize(
    ("otherwise", "line"),
    [
        ({"abilities": 5}, "board 'reference' on wire measures no channels"),
        ({"ohm": (1.0,)}, "says that it has 2 channels, names 2 and measures 1"),
        ({"channels": ("F1",)}, "says that it has 2 channels, names 1 and measures 2"),
        ({"channels": ("F1", "F1")}, "has two channels of the same name"),
        ({"ohm": (1.0, -1.0)}, "sends a reply that is no use: a resistance below 0"),
    ],
)
def test_resistances_that_cannot_be_are_told_in_one_line(sequence, otherwise, line):
    target, _ = target_on(sequence, ReferenceBoard(sequence, **otherwise))
    with pytest.raises(LinkError, match=line) as caught:
        target.measure_channels()
    assert "\n" not in str(caught.value)


def test_a_board_for_another_wiring_is_refused(sequence):
    """Not where one of the two does not say which it is."""
    its, other = bytes(range(32)), "ab" * 32
    for board, wiring in ((its, ""), (its, its.hex()), (NOT_TOLD, other)):
        wire = Wire(ReferenceBoard(sequence, wiring=board))
        target = LinkTarget(sequence, wire, clock=wire.clock, wiring=wiring)
        assert target.describe()["wiring"] == (board.hex() if board == its else "not told")
    wire = Wire(ReferenceBoard(sequence, wiring=its))
    line = "was built for wiring 00010203, but 'small' is wired abababab here: export it anew"
    with pytest.raises(LinkError, match=line) as caught:
        LinkTarget(sequence, wire, clock=wire.clock, wiring=other)
    assert "\n" not in str(caught.value)
    assert wire.closed


def test_lines_of_the_board_are_shown_as_they_come(sequence, caplog):
    """Whatever is in them; traces are not, and a board that never stops is cut short."""
    board = ReferenceBoard(sequence)
    target, wire = target_on(sequence, board)
    for level, words in ((1, "battery\x1b[31m low"), (0, "tick"), (3, "main\nout"), (9, "odd")):
        wire.coming += board.frame(0xF1, 0, board.nonce, bytes([level, *bytes(4)]) + words.encode())
    target.reset(Boot.COLD)
    assert caplog.messages == [
        r"note: wire: battery\x1b[31m low",
        r"error: wire: main\nout",
        "level 9: wire: odd",
    ]
    assert len(target.link.texts) == 4
    for _ in range(60):
        wire.coming += board.text("again")
    target.reset(Boot.COLD)
    assert len(caplog.messages) == 51
    assert caplog.messages[-1] == "wire: says more than 50 lines; the others are not shown"


def test_texts_of_the_board_are_kept_and_disturb_nothing(sequence):
    link, wire = linked(sequence)
    wire.coming += wire.board.text("battery\x1b[31m low")
    assert link.ping() >= 0
    assert [text.text for text in link.texts] == ["battery\x1b[31m low"]


def test_a_board_that_was_told_to_go_safe_runs_no_tick_until_reset(sequence):
    target, _ = target_on(sequence, ReferenceBoard(sequence))
    target.reset(Boot.COLD)
    target.exchange(0, [0.0, 0.0], [True, True])
    target.link.safe_now()
    with pytest.raises(LinkError, match="refuses TICK: it was told to go safe"):
        target.exchange(1, [0.0, 0.0], [True, True])
    target.reset(Boot.COLD)
    assert target.exchange(0, [0.0, 0.0], [True, True]).state == "wait"


def test_a_dead_man_that_struck_does_not_change_what_the_logic_does(sequence):
    target, wire = target_on(sequence, ReferenceBoard(sequence))
    target.reset(Boot.COLD)
    target.exchange(0, [9.0, 1.0], [True, True])
    wire.clock.now += 60.0
    assert target.exchange(1, [0.0, 1.0], [True, True]).state == "wait"
    assert wire.board.struck


def test_a_board_that_could_fire_is_flown_without_a_permit(sequence):
    target, wire = target_on(sequence, ReferenceBoard(sequence, abilities=15))
    assert target.describe()["outputs"] == "masked, permit possible"
    target.reset(Boot.COLD)
    target.exchange(0, [9.0, 1.0], [True, True])
    target.close()
    sent = [Packet.of(each).kind for each in FrameDecoder().feed(b"".join(wire.written))]
    assert sent.count(5) == 1  # a tick
    assert 7 not in sent  # no permit


def test_outputs_that_are_not_masked_end_the_run(sequence):
    target, wire = target_on(sequence, ReferenceBoard(sequence, masked=False))
    target.reset(Boot.COLD)
    with pytest.raises(LinkError, match="outputs that are not masked"):
        target.exchange(0, [9.0, 1.0], [True, True])
    target.close()
    assert wire.board.safe


def test_a_repeated_request_is_not_carried_out_twice(sequence):
    target, wire = target_on(sequence, ReferenceBoard(sequence))
    target.reset(Boot.COLD)
    target.exchange(0, [9.0, 1.0], [True, True])
    last = wire.written[-1]
    for _ in range(3):
        wire.write(last)
    assert wire.board.ticks_run == 1
    assert target.exchange(1, [9.0, 1.0], [True, True]).state == "go"
    assert (target.link.counters.late, wire.board.ticks_run) == (3, 2)


def test_the_session_survives_a_late_copy_of_the_ready_frame(sequence):
    target, wire = target_on(sequence, ReferenceBoard(sequence))
    wire.coming += wire.board.ready()
    target.reset(Boot.COLD)
    assert target.exchange(0, [9.0, 1.0], [True, True]).state == "go"


def refusing(reason):
    """A board that refuses the greeting."""

    class Board(ReferenceBoard):
        def greet(self, number, nonce, body):
            del body
            return self.frame(0xFF, number, nonce, bytes([reason, 1]) + b"why\nnot")

    return Board


@pytest.mark.parametrize(
    ("otherwise", "line"),
    [
        ({"version": 2}, "wire speaks version 2 of the link, drycount speaks 1"),
        ({"digest": "ab" * 32}, "executes sequence abababab, but 'small' is .{8}: build it anew"),
        ({"digest": "00" * 32}, "does not say which sequence it executes"),
        ({"inputs": ["key"]}, "has no input 'height', sequence 'small' has$"),
        ({"inputs": ["heigth", "key"]}, "no input 'height', .*; did it mean 'heigth'"),
        ({"inputs": ["height", "key", "wind"]}, "has input 'wind', sequence 'small' has not"),
        ({"inputs": ["key", "height"]}, "has 'key' as input 0, sequence 'small' 'height'"),
        ({"states": ["wait", "gone"]}, "has no state 'go'"),
        ({"functions": ["motor", "flap", "bell"]}, "has no function 'horn'"),
        ({"rate_hz": 50}, "has 50 ticks a second, sequence 'small' 60"),
        ({"value": "e"}, "numbers of 2 bytes"),
        ({"max_payload": 100}, "holds only 100 bytes of payload"),
    ],
)
def test_a_board_that_is_another_one_is_told_in_one_line(sequence, otherwise, line):
    with pytest.raises(UsageError, match=line) as caught:
        target_on(sequence, ReferenceBoard(sequence, **otherwise))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("reason", "line"),
    [(4, r"does not speak version 1 of the link \(why not\)"), (77, "gives reason 77")],
)
def test_a_board_that_refuses_the_greeting(sequence, reason, line):
    with pytest.raises(LinkError, match=line):
        target_on(sequence, refusing(reason)(sequence))


def test_a_board_without_a_warm_reset_says_so(sequence):
    target, _ = target_on(sequence, ReferenceBoard(sequence, abilities=0))
    assert target.capabilities == {Capability.LOCK_STEP}
    with pytest.raises(LinkError, match=r"refuses RESET: it cannot do that \(so it is\)"):
        target.reset(Boot.WARM)


@pytest.mark.parametrize("announced", [True, False])
def test_a_board_that_reboots_ends_the_run(sequence, announced):
    target, wire = target_on(sequence, ReferenceBoard(sequence))
    target.reset(Boot.COLD)
    wire.board.power_up()
    wire.board.boots += 1
    if announced:
        wire.coming += wire.board.ready()
    with pytest.raises(LinkError, match="'reference' on wire rebooted after 7 requests"):
        target.exchange(0, [0.0, 0.0], [True, True])


def test_a_board_that_rebooted_and_heard_an_old_greeting_is_noticed(sequence):
    target, wire = target_on(sequence, ReferenceBoard(sequence))
    target.reset(Boot.COLD)
    wire.board.power_up()
    wire.board.receive(wire.written[0])
    with pytest.raises(LinkError, match="rebooted"):
        target.exchange(0, [0.0, 0.0], [True, True])


class Saying:
    """A stream on which something else than a board talks."""

    name = "wire"

    def __init__(self, says):
        self.now, self.says, self.sent = 0.0, says, b""

    def write(self, data):
        self.sent += data

    def read(self, timeout_s):
        self.now += max(0.001, timeout_s)
        said, self.sent = self.says(self.sent), b""
        return said

    def close(self):
        self.now += 0.001


@pytest.mark.parametrize(
    ("says", "line"),
    [
        (lambda _: b"", "wire is silent: no reply within 5 s"),
        (lambda _: b"Hello from boot loader\r\n", "wire babbles: .* no whole frame"),
        (lambda _: bytes(range(256)), "wire babbles"),
        (lambda _: b"\x00", "wire babbles"),
        (lambda sent: sent, "only returns what is sent to it"),
        (lambda _: encode(bytes([0x88]) + bytes(8)), "sends frames, but no reply to its request"),
        (lambda _: encode(b"\x81"), "sends frames, but no reply"),
        (lambda _: encode(bytes([READY]) + bytes(8) + b"\x09\x00"), "speaks version 9"),
    ],
)
def test_what_is_no_board_is_told_in_one_line(says, line):
    stream = Saying(says)
    with pytest.raises(LinkError, match=line) as caught:
        Link(stream, clock=lambda: stream.now).greet()
    assert "\n" not in str(caught.value)
    assert stream.now < 20.0


@pytest.mark.parametrize("wakes", [True, False])
def test_a_host_that_slept_gives_the_board_its_time_again_once(wakes, sequence):
    """Nobody could hear a reply meanwhile; a board that is dead is dead for all that."""
    link, wire = linked(sequence)
    sleeps, read = [60.0, 60.0], wire.read

    def slept(timeout_s):
        if not sleeps:
            return read(timeout_s)
        wire.coming = b""
        wire.clock.now += timeout_s + sleeps.pop()
        wire.read = read if wakes else slept
        return b""

    wire.read, started = slept, wire.clock.now
    if wakes:
        assert link.ping(b"x") < 1e6  # as the board answered before
        assert link.counters.resent == 1
        return
    with pytest.raises(LinkError, match="is silent: no reply within 5 s"):
        link.ping(b"x")
    assert wire.clock.now - started < 121.0 + 5.0


@pytest.mark.parametrize(
    ("change", "line"),
    [
        (lambda body: body[:-1], "has .* bytes instead of"),
        (lambda body: body + b"\x00", "has .* bytes instead of"),
        (lambda body: body[:6], "too short"),
        (lambda body: b"\x09" + body[1:], "is about tick 9, not 0"),
        (lambda body: body[:9] + b"\x63" + body[10:], "there is no state 99"),
        (lambda body: body[:8] + bytes([body[8] | 2]) + body[9:], "not all events"),
        (lambda body: body[:12] + b"\xff" + body[13:], "function is on that does not exist"),
        (lambda body: body[:13] + struct.pack("<d", math.nan) + body[21:], "demand is no finite"),
        (lambda body: body[:-5] + b"\x0b" + body[-4:], "no event of kind 11"),
        (lambda body: body[:-4] + b"\x63\x00" + body[-2:], "is about number 99"),
        (lambda body: body[:-2] + b"\x07\x00", "has detail 7"),
    ],
)
def test_an_output_frame_that_cannot_be_is_told_in_one_line(sequence, change, line):
    class Board(ReferenceBoard):
        def output(self, tick, out):
            return change(super().output(tick, out))

    target, _ = target_on(sequence, Board(sequence))
    target.reset(Boot.COLD)
    with pytest.raises(LinkError, match=line) as caught:
        target.exchange(0, [9.0, 1.0], [True, True])
    assert "\n" not in str(caught.value)


def test_bodies_that_are_cut_are_malformed(sequence):
    board = ReferenceBoard(sequence)
    link, _ = linked(sequence)
    del link
    whole = board.greeting()
    from hil.messages import Board, Names, Ready, Resistances, Text

    assert Board.of(whole).name == "reference"
    for reader, body in (
        (Board.of, whole),
        (Names.of, board.page(1, 0)),
        (Ready.of, b"\x01\x00\x05\x00\x00\x00"),
        (Resistances.of, struct.pack("<fB2f", 0.001, 2, 1.5, 2.5)),
        (Text.of, bytes(5)),
    ):
        reader(body)
        for length in range(len(body)):
            with pytest.raises(MalformedError):
                reader(body[:length])


def test_resets_are_what_the_page_numbers():
    assert (Reset.COLD, Reset.WARM) == (0, 1)
