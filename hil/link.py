"""A session with a board: one request at a time, sent again until its reply has come.

The rules of both sides stand in docs/link.md. `Link` never asks for a permit to fire: there is no
call for it here, and it goes on only with a board whose outputs are masked.
"""

from __future__ import annotations

import contextlib
import secrets
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from hil import messages
from hil.frames import FrameDecoder, encode
from hil.messages import (
    HEADER_BYTES,
    REPLY,
    VERSION,
    Board,
    Kind,
    MalformedError,
    NameList,
    Names,
    Packet,
    Ready,
    Refusal,
    Reset,
    Resistances,
    Text,
    header,
)
from hil.streams import GoneError, Stream
from sequencer.errors import LostError, TargetError, UnfitError, UnreachableError, printable

__all__ = [
    "DEAD_MAN_MS",
    "PATIENCE_S",
    "Counters",
    "Link",
    "LinkError",
    "LinkGoneError",
    "LinkLostError",
    "LinkUnfitError",
]

#: how long a reply may be missing before the host gives up, s
PATIENCE_S: Final = 5.0
#: first wait before a request is sent again, and the longest, s
_AGAIN_S: Final = 0.25
_LONGEST_S: Final = 1.0
#: called so much too late, this process did not run, s
_STOOD_STILL_S: Final = 1.0
#: how long a board that was just opened has for READY, s
_READY_S: Final = 0.5
#: what the board is told, ms
DEAD_MAN_MS: Final = 2000
#: how long the last SAFE_NOW may take, s
_GOODBYE_S: Final = 0.25
_KEPT_TEXTS: Final = 50
#: bytes without a whole frame
_BABBLE: Final = 1 << 20
_LONGEST_LIST: Final = 10_000

_WORDS: Final = {
    Refusal.UNKNOWN_KIND: "does not know this kind of request",
    Refusal.BAD_BODY: "finds the request malformed",
    Refusal.NOT_CONFIGURED: "is not configured",
    Refusal.NOT_RESET: "was not reset",
    Refusal.OLD_TICK: "has seen that tick already",
    Refusal.SAFED: "was told to go safe",
    Refusal.NO_PERMIT: "gives no permit",
    Refusal.CANNOT: "cannot do that",
    Refusal.FAILED: "failed",
}


class LinkError(TargetError):
    """The board cannot be used, or cannot be used any longer; one line."""


class LinkGoneError(LinkError, UnreachableError):
    """The stream to the board has ended."""


class LinkUnfitError(LinkError, UnfitError):
    """The board was built for another wiring than that of the scenario."""


class LinkLostError(LinkError, LostError):
    """The board cannot be used any longer, in a flight, which is void."""


@dataclass(slots=True)
class Counters:
    """What a link went through.

    requests   that were made
    resent     how often one was sent again
    late       replies that nobody waited for: repeated, or to an older request
    echoes     frames that came back as they were sent
    unknown    frames of a kind, or with a body, that the host does not know
    received   bytes
    """

    requests: int = 0
    resent: int = 0
    late: int = 0
    echoes: int = 0
    unknown: int = 0
    received: int = 0


class Link:
    """One session over a byte stream. Use: `greet` first, then the rest, `close` at the end.

    nonce       of the session; drawn at random where it is None
    patience_s  how long a reply may be missing
    clock       seconds that only grow

    Every call raises LinkError with one line when the board is silent, talks nonsense, refuses, has
    rebooted, or is gone.
    """

    def __init__(
        self,
        stream: Stream,
        *,
        nonce: int | None = None,
        patience_s: float = PATIENCE_S,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.stream = stream
        self.counters = Counters()
        self.texts: deque[Text] = deque(maxlen=_KEPT_TEXTS)
        #: is told of every line that the board has for people
        self.on_text: Callable[[Text], None] | None = None
        self.board: Board | None = None
        self._nonce = nonce if nonce is not None else secrets.randbelow(0xFFFFFFFF) + 1
        self._patience_s = patience_s
        self._clock = clock
        self._decoder = FrameDecoder()
        self._number = 0
        self._awaited = b""
        self._ready = False
        self._lost = False

    @property
    def bad_frames(self) -> int:
        """Frames that were damaged on their way to the host."""
        return self._decoder.bad

    def greet(self) -> Board:
        """Begin the session. Raises LinkError, also for a board of another version."""
        until = self._clock() + _READY_S
        while not self._ready and self._clock() < until and not self._babbles(0, 0):
            self._take(until - self._clock(), None)
        board = Board.of(self._ask(Kind.HELLO, messages.hello(), Board.of))
        if board.version != VERSION:
            raise self._other_version(board.version)
        self.board = board
        return board

    def names(self, of_list: NameList) -> tuple[str, ...]:
        """All names of a list, page by page."""
        found: list[str] = []
        while True:
            body = self._ask(Kind.NAMES, messages.ask_names(of_list, len(found)), Names.of)
            page = Names.of(body)
            right = (page.of_list, page.first) == (of_list, len(found))
            if not right or page.total > _LONGEST_LIST or len(found) + len(page.names) > page.total:
                raise self.error("gives a list of names that does not add up")
            found += page.names
            if len(found) == page.total:
                return tuple(found)
            if not page.names:
                raise self.error("gives a list of names that does not end")

    def configure(self, sequence: bytes, wiring: bytes, dead_man_ms: int = DEAD_MAN_MS) -> None:
        """Tell which sequence and wiring (SHA-256) are meant; it refuses what is not its own."""
        self._ask(Kind.CONFIGURE, messages.configure(sequence, wiring, dead_man_ms), _nothing)

    def reset(self, mode: Reset) -> None:
        """Start the logic anew."""
        self._ask(Kind.RESET, bytes([mode]), _nothing)

    def tick(self, body: bytes) -> bytes:
        """One tick: body of the sensor frame in, body of the output frame out."""
        return self._ask(Kind.TICK, body, None)

    def channels(self) -> Resistances:
        """What the board measures on its channels."""
        return Resistances.of(self._ask(Kind.CHANNELS, b"", Resistances.of))

    def ping(self, body: bytes = b"") -> int:
        """The board's clock, us; the body comes back."""
        reply = self._ask(Kind.PING, body, None)
        if len(reply) != 4 + len(body) or reply[4:] != body:
            raise self.error("returns a ping that is not the one it was sent")
        return int.from_bytes(reply[:4], "little")

    def safe_now(self, patience_s: float = PATIENCE_S) -> None:
        """All outputs off and masked, whatever the state of the session."""
        payload = header(Kind.SAFE_NOW, 0, self._nonce)
        self._awaited = header(Kind.SAFE_NOW | REPLY, 0, self._nonce)
        self._exchange(b"\x00" + encode(payload), _nothing, patience_s)

    def close(self) -> None:
        """Tell the board to go safe, if it still hears, and let go of the stream."""
        if not self._lost:
            self._lost = True
            with contextlib.suppress(LinkError):
                self.safe_now(_GOODBYE_S)
        self.stream.close()

    def error(self, what: str) -> LinkError:
        """An error about this board: what it does, in one line."""
        return LinkError(self._about(what))

    def _about(self, what: str) -> str:
        called = f"board '{self.board.name}' on " if self.board and self.board.name else ""
        return printable(f"{called}{self.stream.name} {what}")

    def _gone(self, gone: GoneError) -> LinkGoneError:
        self._lost = True
        return LinkGoneError(self._about(str(gone)))

    def _ask(self, kind: Kind, body: bytes, reads: Callable[[bytes], object] | None) -> bytes:
        """The body of the reply, after `reads` (if given) found nothing wrong with it."""
        self._number = number = self._number + 1
        self.counters.requests += 1
        self._awaited = header(kind | REPLY, number, self._nonce)
        frame = encode(header(kind, number, self._nonce) + body)
        return self._exchange(frame, reads, self._patience_s)

    def _exchange(
        self, frame: bytes, reads: Callable[[bytes], object] | None, patience_s: float
    ) -> bytes:
        """Send a frame, as often as it takes, until what is awaited has come."""
        before = (self.counters.received, self._decoder.good, self.counters.echoes)
        now = self._clock()
        until, wait = now + patience_s, _AGAIN_S
        again = now + wait
        stood_still = False
        self._write(frame)
        while True:
            called = min(again, until)
            body = self._take(called - now, self._awaited)
            if body is not None:
                return body if reads is None else self._checked(body, reads)
            now = self._clock()
            if now - called > _STOOD_STILL_S and not stood_still:
                # this machine slept, and perhaps the board with it: that is no silence of a board's
                stood_still = True
                until += now - called
            if now >= until or self._babbles(*before[:2]):
                raise self._silent(min(now - until, 0.0) + patience_s, *before)
            if now >= again:
                # a zero byte first: whatever is left of a damaged frame ends there
                self._write(b"\x00" + frame)
                self.counters.resent += 1
                wait = min(2.0 * wait, _LONGEST_S)
                again = now + wait

    def _checked(self, body: bytes, reads: Callable[[bytes], object]) -> bytes:
        try:
            reads(body)
        except MalformedError as error:
            raise self.error(f"sends a reply that is no use: {error}") from error
        return body

    def _write(self, frame: bytes) -> None:
        try:
            self.stream.write(frame)
        except GoneError as gone:
            raise self._gone(gone) from gone

    def _take(self, timeout_s: float, awaited: bytes | None) -> bytes | None:
        """Read once; the body of the reply that begins with `awaited` if it was there."""
        try:
            received = self.stream.read(timeout_s)
        except GoneError as gone:
            raise self._gone(gone) from gone
        if not received:
            return None
        self.counters.received += len(received)
        found: bytes | None = None
        for payload in self._decoder.feed(received):
            if awaited is not None and found is None and payload.startswith(awaited):
                found = payload[HEADER_BYTES:]
                continue
            if len(payload) < HEADER_BYTES:
                self.counters.unknown += 1
                continue
            self._sort(Packet.of(payload), awaited if found is None else None)
        return found

    def _sort(self, came: Packet, awaited: bytes | None) -> None:
        """What is not the reply that is awaited: counted, kept, or the end of the session."""
        if not came.kind & REPLY:
            self.counters.echoes += 1
        elif came.kind == Kind.READY:
            self._on_ready(came.body)
        elif came.kind == Kind.TEXT:
            self._on_text(came.body)
        elif awaited is None or awaited[1:] != header(0, came.number, came.nonce)[1:]:
            self.counters.late += 1
        elif came.kind == Kind.REFUSED:
            raise self._refused(came.body, awaited[0])
        else:
            self.counters.unknown += 1

    def _on_ready(self, body: bytes) -> None:
        """Late copies of the READY before the greeting are no reboot: their count is the same."""
        try:
            ready = Ready.of(body)
        except MalformedError:
            self.counters.unknown += 1
            return
        if ready.version != VERSION:
            raise self._other_version(ready.version)
        self._ready = True
        if self.board is not None and ready.boots != self.board.boots:
            raise self._rebooted()

    def _on_text(self, body: bytes) -> None:
        try:
            text = Text.of(body)
        except MalformedError:
            self.counters.unknown += 1
            return
        self.texts.append(text)
        if self.on_text is not None:
            self.on_text(text)

    def _refused(self, body: bytes, awaited: int) -> LinkError:
        try:
            reason, of, text = messages.refusal(body)
        except MalformedError as error:
            return self.error(f"sends a reply that is no use: {error}")
        more = f" ({' '.join(text.split())})" if text.strip() else ""
        if reason in {Refusal.NO_SESSION, Refusal.OUT_OF_STEP} and awaited != Kind.HELLO | REPLY:
            return self._rebooted()
        if reason == Refusal.OTHER_VERSION:
            return self.error(f"does not speak version {VERSION} of the link{more}")
        if reason == Refusal.OTHER_SEQUENCE:
            return self.error(f"executes another sequence{more}")
        if reason == Refusal.OTHER_WIRING:
            return self.error(f"was built for another wiring{more}")
        why = _WORDS.get(Refusal(reason)) if reason in set(Refusal) else None
        why = why or f"gives reason {reason}"
        kind = Kind(of).name if of in set(Kind) else f"kind {of}"
        return self.error(f"refuses {kind}: it {why}{more}")

    def _rebooted(self) -> LinkError:
        return self.error(f"rebooted after {self.counters.requests} requests: its memory is gone")

    def _other_version(self, version: int) -> LinkError:
        return self.error(f"speaks version {version} of the link, drycount speaks {VERSION}")

    def _babbles(self, received: int, good: int) -> bool:
        """Whether so much nonsense has come that waiting for sense is no use."""
        return self.counters.received - received > _BABBLE and self._decoder.good == good

    def _silent(self, patience_s: float, received: int, good: int, echoes: int) -> LinkError:
        """Why nothing fitting came, as far as it shows."""
        count = self.counters.received - received
        frames = self._decoder.good - good
        came = self.counters.echoes - echoes
        doubt = getattr(self.stream, "doubt", "")
        more = f" ({doubt})" if doubt and self.board is None else ""
        if count == 0:
            return self.error(f"is silent: no reply within {patience_s:.2g} s{more}")
        if frames == 0:
            return self.error(
                f"babbles: {count} bytes within {patience_s:.2g} s and no whole frame{more}"
            )
        if came == frames:
            return self.error("only returns what is sent to it: a line that echoes, and no board")
        return self.error(f"sends frames, but no reply to its request within {patience_s:.2g} s")


def _nothing(body: bytes) -> None:
    if body:
        raise MalformedError("a reply that has no body has one")
