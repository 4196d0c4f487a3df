"""A timeline as text: one fact on a line, so that git shows what moved.

    drycount timeline 1
    scenario calm_landing
    rate_hz 100
    tolerance_s 0.01
    tolerance_margin 0.01
    about vehicle a40e1e0e7c11d7aa
    outcome landed

         0.000  moved flight.fins  stowed
        12.650  liftoff
        13.100  late flight  40 times until 14.200

    met            +8.358 N       full thrust at release
    not exercised  -              abort brings the parachute

Columns are parted by two blanks or more. Times are in s, with enough decimals to tell ticks apart.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from pathlib import Path

from sequencer.checks.timelines import DIGITS, Moment, Standing, Timeline, Tolerance, rounded
from sequencer.errors import InputError, nearest, printable

__all__ = ["FORMAT", "read_timeline", "timeline_text"]

#: raised when a reader of the older form would misunderstand the newer one
FORMAT = 1

_FIRST = re.compile(r"drycount timeline (\d+)")
_EVENT = re.compile(r" *(\d{1,7}\.\d{1,9}) {2,}(\S.*)")
_MANY = re.compile(r"(\d{1,9}) times until (\d{1,7}\.\d{1,9})")
_STATUSES = ("met", "broken", "not exercised", "not decided")
_STANDING = re.compile(rf"({'|'.join(_STATUSES)}) {{2,}}(\S.*?) {{2,}}(\S.*)")
_MARGIN = re.compile(r"([+-]\d+(?:\.\d+)?)(?: (\S+))?")
_WORDS = {math.inf: "never near", -math.inf: "never came", None: "-"}
_KEYS = ("scenario", "rate_hz", "tolerance_s", "tolerance_margin", "about", "outcome")
#: a file longer than this is no timeline, bytes
_LONGEST = 4 << 20


def timeline_text(timeline: Timeline) -> str:
    """The text of a timeline. What `read_timeline` reads from it has the same text."""
    lines = [
        f"drycount timeline {FORMAT}",
        f"scenario {timeline.scenario}",
        f"rate_hz {timeline.rate_hz}",
        f"tolerance_s {timeline.tolerance.time_s:.6g}",
        f"tolerance_margin {timeline.tolerance.margin:.6g}",
        *(f"about {what} {digest}" for what, digest in sorted(timeline.about.items())),
        f"outcome {timeline.outcome}",
        "",
        *(_event_line(moment, timeline.rate_hz) for moment in timeline.moments),
        "",
        *(_standing_line(standing) for standing in timeline.standings),
    ]
    return "\n".join(lines).rstrip("\n") + "\n"


def _event_line(moment: Moment, rate_hz: int) -> str:
    line = f"{_time(moment.tick, rate_hz):>10}  {moment.label}"
    if moment.count > 1:
        return f"{line}  {moment.count} times until {_time(moment.last, rate_hz)}"
    return f"{line}  {moment.detail}" if moment.detail else line


def _time(tick: int, rate_hz: int) -> str:
    return f"{tick / rate_hz:.{_decimals(rate_hz)}f}"


def _decimals(rate_hz: int) -> int:
    """So many that half of the last is less than half a tick; at least milliseconds."""
    return max(3, math.ceil(math.log10(rate_hz)))


def _standing_line(standing: Standing) -> str:
    return f"{standing.status:<13}  {margin_text(standing):<13}  {standing.requirement}"


def margin_text(standing: Standing) -> str:
    """``+8.358 N``, ``+2`` (a count), ``never near``, ``never came``, or ``-`` for none."""
    margin = standing.margin
    if margin is None or math.isinf(margin):
        return _WORDS[margin]
    decimals = 0 if margin == 0 else DIGITS - 1 - math.floor(math.log10(abs(margin)))
    text = f"{margin:+.{min(max(decimals, 0), 9)}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text if standing.unit == "1" else f"{text} {standing.unit}"


def read_timeline(path: Path) -> Timeline:
    """Read a timeline from its file. Raises InputError: one line with file, line and what."""
    lines = _lines(path)
    found = _Found(path)
    for number, line in enumerate(lines[1:], start=2):
        if line.strip():
            found.take(number, line.rstrip())
    return found.whole()


def _lines(path: Path) -> list[str]:
    try:
        with path.open("rb") as file:
            data = file.read(_LONGEST + 1)
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", file=path) from None
    if len(data) > _LONGEST:
        raise InputError(f"is no timeline: more than {_LONGEST >> 20} MiB", file=path)
    try:
        lines = data.decode("utf-8").splitlines()
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError("is not UTF-8 text", file=path, line=line) from None
    first = _FIRST.fullmatch(lines[0].rstrip()) if lines else None
    if first is None:
        what = f"is no timeline: its first line must be 'drycount timeline {FORMAT}'"
        raise InputError(what, file=path, line=1)
    if int(first[1]) != FORMAT:
        what = f"is of format {int(first[1])}, this drycount reads format {FORMAT}"
        raise InputError(what, file=path, line=1)
    return lines


@dataclass(slots=True)
class _Found:
    """What has been read of a file so far."""

    path: Path
    keys: dict[str, str] = field(default_factory=dict)
    about: dict[str, str] = field(default_factory=dict)
    numbers: dict[str, float] = field(default_factory=dict)
    moments: list[Moment] = field(default_factory=list)
    standings: dict[str, Standing] = field(default_factory=dict)

    def take(self, number: int, line: str) -> None:
        """One line that is not blank. Raises InputError."""
        event = _EVENT.fullmatch(line)
        if event is not None:
            self._event(number, *event.groups())
            return
        key, _, value = line.partition(" ")
        if key in _KEYS and value.strip():
            self._key(number, key, " ".join(value.split()))
            return
        standing = _STANDING.fullmatch(line)
        if standing is not None:
            self._standing(number, *standing.groups())
            return
        if re.match(r"[ \d]", line):
            what = f"must be a time in s, two blanks and an event: '{line.strip()}'"
            raise self._error(number, what)
        if key in _KEYS:
            raise self._error(number, f"'{key}' has no value")
        if f"{line} ".startswith(tuple(f"{status} " for status in _STATUSES)):
            what = f"must be a verdict, a margin and a name, parted by two blanks: '{line}'"
            raise self._error(number, what)
        word = re.split(r" {2,}", line)[0]
        raise InputError(
            f"begins with none of {', '.join((*_KEYS, *_STATUSES))}, and with no time: '{line}'",
            file=self.path,
            line=number,
            nearest=nearest(key, _KEYS) or nearest(word, _STATUSES),
        )

    def whole(self) -> Timeline:
        """The timeline. Raises InputError where something is missing."""
        for key in _KEYS:
            if key != "about" and key not in self.keys:
                raise InputError(f"'{key}' is missing", file=self.path)
        return Timeline(
            self.keys["scenario"],
            int(self.numbers["rate_hz"]),
            Tolerance(self.numbers["tolerance_s"], self.numbers["tolerance_margin"]),
            self.about,
            self.keys["outcome"],
            tuple(self.moments),
            tuple(self.standings.values()),
        )

    def _error(self, number: int, what: str) -> InputError:
        return InputError(printable(what), file=self.path, line=number)

    def _key(self, number: int, key: str, value: str) -> None:
        if key == "about":
            what, _, digest = value.rpartition(" ")
            if not what or not re.fullmatch(r"[0-9a-f]+", digest):
                raise self._error(number, f"'about' needs a name and a hash, not '{value}'")
            if what in self.about:
                raise self._error(number, f"'about {what}' stands here twice")
            self.about[what] = digest
            return
        if key in self.keys:
            raise self._error(number, f"'{key}' stands here twice")
        self.keys[key] = value
        if key == "rate_hz":
            if not re.fullmatch(r"[1-9]\d{0,6}", value):
                raise self._error(number, f"'{key}' must be a whole number above 0, not '{value}'")
            self.numbers[key] = int(value)
        elif key.startswith("tolerance"):
            self.numbers[key] = self._share(number, key, value)

    def _share(self, number: int, key: str, value: str) -> float:
        try:
            share = float(value)
        except ValueError:
            share = math.nan
        if not (0.0 <= share < math.inf):
            raise self._error(number, f"'{key}' must be a number from 0 on, not '{value}'")
        return share

    def _event(self, number: int, time: str, rest: str) -> None:
        label, *more = re.split(r" {2,}", rest, maxsplit=1)
        tick = self._tick(number, time)
        if self.moments and tick < self.moments[-1].tick:
            raise self._error(number, f"'{label}' comes earlier than the event above it")
        many = _MANY.fullmatch(more[0]) if more else None
        if many is None:
            self.moments.append(Moment(tick, label, " ".join(more)))
            return
        count, last = int(many[1]), self._tick(number, many[2])
        if count < 2:
            raise self._error(number, f"'{label}' must come at least 2 times, not {count}")
        if last < tick:
            raise self._error(number, f"the last '{label}' comes before the first")
        self.moments.append(Moment(tick, label, "", count, last))

    def _tick(self, number: int, time: str) -> int:
        if "rate_hz" not in self.numbers:
            raise self._error(number, "'rate_hz' must stand above the events")
        rate = int(self.numbers["rate_hz"])
        tick = round(float(time) * rate)
        if abs(float(time) - tick / rate) > 0.5000001 * 10.0 ** -_decimals(rate):
            raise self._error(number, f"{time} s is no whole number of ticks at {rate} Hz")
        return tick

    def _standing(self, number: int, status: str, margin: str, name: str) -> None:
        if name in self.standings:
            raise self._error(number, f"requirement '{name}' stands here twice")
        for value, word in _WORDS.items():
            if margin == word:
                self.standings[name] = Standing(name, status, value)
                return
        found = _MARGIN.fullmatch(margin)
        if found is None:
            words = ", ".join(f"'{word}'" for word in _WORDS.values())
            what = f"margin of '{name}' is none of '+NUMBER UNIT', {words}: '{margin}'"
            raise self._error(number, what)
        unit = found[2] or "1"
        self.standings[name] = Standing(name, status, rounded(float(found[1])), unit)
