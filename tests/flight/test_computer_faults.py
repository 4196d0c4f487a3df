"""Each fault of computers, links and umbilical: nothing before, its effect, and its end."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from flying import all_at, at, fly, same_until

from sequencer.record import FlightRecord
from sequencer.scenario.computer_faults import COMPUTER_FAULTS

#: the pad enters its countdown at 2.20 s and publishes it then; the flight computer at 2.21 s
COUNTS = 220


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory) -> FlightRecord:
    folder = tmp_path_factory.mktemp("clean")
    for file in (Path(__file__).parents[2] / "scenarios").glob("*.*"):
        (folder / file.name).write_bytes(file.read_bytes())
    return fly(folder, stop=14.0)


def reboot(record: FlightRecord, _: FlightRecord) -> None:
    """Down from 3 to 4 s, then half a second of booting; knows nothing any more."""
    own = [e.tick for e in record.events if e.name.startswith("pad") and e.kind != "crew"]
    assert not [tick for tick in own if 300 <= tick < 450]
    assert all_at(record, "booted pad") == [450]
    assert all_at(record, "entered pad.safe") == [0, 450]


def late_ticks(record: FlightRecord, clean: FlightRecord) -> None:
    """50 ticks a second are missed; after that the clock is where it should be."""
    assert all_at(record, "late pad") == list(range(300, 400, 2))
    assert at(record, "entered pad.ignition") == at(clean, "entered pad.ignition")


def clock_drift(record: FlightRecord, clean: FlightRecord) -> None:
    """2 % fast for 5 s: T-0 comes a tenth of a second early, on a tick of the pad's own."""
    assert at(clean, "entered pad.ignition") - at(record, "entered pad.ignition") == 10
    assert at(record, "released") < at(clean, "released")


def logger_stall(record: FlightRecord, _: FlightRecord) -> None:
    """Every 0.4 s, 40 ticks of the flight computer: twice in a second."""
    assert all_at(record, "late flight") == [339, 379]


def link_lost(record: FlightRecord, _: FlightRecord) -> None:
    """Nothing from 2.1 to 2.3 s; what is published at 2.30 s is seen at 2.31 s."""
    assert at(record, "entered flight.countdown") == 231


def link_repeated(record: FlightRecord, clean: FlightRecord) -> None:
    """Copies 30 ms late find newer messages there already: all are dropped, nothing else changes.

    Published every 20 ms from 3.0 to 4.0 s, 5 ms on the way, seen at the next tick of 10 ms.
    """
    assert all_at(record, "dropped flight.pad") == list(range(304, 404, 2))
    kept = [e for e in record.events if e.kind not in ("dropped", "fault_begun", "fault_ended")]
    assert kept == list(clean.events)


def link_delayed(record: FlightRecord, _: FlightRecord) -> None:
    """0.2 s and the 5 ms of the link: seen at the first tick after 2.405 s.

    What was published last with the delay is overtaken by what came after: 9 are dropped.
    """
    assert at(record, "entered flight.countdown") == COUNTS + 21
    dropped = [e for e in record.events if e.label == "dropped flight.pad"]
    assert [e.tick for e in dropped] == list(range(303, 321, 2))


def link_corrupted(record: FlightRecord, _: FlightRecord) -> None:
    """Each message from 2.1 to 2.3 s arrives, fails its check, and is not taken."""
    assert all_at(record, "corrupt flight.pad") == list(range(211, 231, 2))
    assert at(record, "entered flight.countdown") == 231


def umbilical_pulled(record: FlightRecord, _: FlightRecord) -> None:
    """Half a second, too short for the pad to call a hold; in again, the count is heard."""
    assert at(record, "entered flight.countdown") == 251
    assert not all_at(record, "entered pad.hold")


def umbilical_bounces(record: FlightRecord, _: FlightRecord) -> None:
    """No contact in 2.15-2.30 s and so on: what is published at 2.20 s is seen at 2.31 s."""
    assert at(record, "entered flight.countdown") == 231
    assert not all_at(record, "entered pad.hold")


Effect = Callable[[FlightRecord, FlightRecord], None]

#: kind: place, size, onset s, length s, stop s, what it does
KINDS: dict[str, tuple[str, float | None, float, float, float, Effect]] = {
    "reboot": ("pad", None, 3.0, 1.0, 5.0, reboot),
    "late_ticks": ("pad", None, 3.0, 1.0, 14.0, late_ticks),
    "clock_drift": ("pad", 20_000.0, 3.0, 5.0, 14.0, clock_drift),
    "logger_stall": ("flight", 0.4, 3.0, 1.0, 5.0, logger_stall),
    "link_lost": ("pad", None, 2.1, 0.2, 4.0, link_lost),
    "link_repeated": ("pad", 0.03, 3.0, 1.0, 14.0, link_repeated),
    "link_delayed": ("pad", 0.2, 2.0, 1.0, 4.0, link_delayed),
    "link_corrupted": ("pad", None, 2.1, 0.2, 4.0, link_corrupted),
    "umbilical_pulled": ("umbilical", None, 2.0, 0.5, 4.0, umbilical_pulled),
    "umbilical_bounces": ("umbilical", 0.3, 2.0, 1.0, 4.0, umbilical_bounces),
}


@pytest.mark.parametrize("kind", COMPUTER_FAULTS)
def test_a_fault_from_its_onset_to_its_end(folder: Path, clean: FlightRecord, kind: str) -> None:
    place, size, onset_s, for_s, stop, effect = KINDS[kind]
    row = (
        f'[[faults]]\nname = "f"\nkind = "{kind}"\nplace = "{place}"\nat_s = {onset_s}\n'
        f"for_s = {for_s}\n"
    )
    faulty = fly(folder, row + (f"size = {size}\n" if size is not None else ""), stop=stop)

    onset = round(onset_s * 100)
    same_until(clean, faulty, onset)
    assert (at(faulty, "fault_begun f"), at(faulty, "fault_ended f")) == (
        onset,
        onset + round(for_s * 100),
    )
    effect(faulty, clean)


def test_a_pulled_umbilical_cuts_both_directions(folder: Path) -> None:
    """Flight never hears of the count, and the pad, hearing nothing, calls it off.

    Its last message was seen at 2.00 s: stale from 2.30 s on, and the twentieth such tick of 20 ms
    is a hold of 0.4 s.
    """
    row = (
        '[[faults]]\nname = "f"\nkind = "umbilical_pulled"\nplace = "umbilical"\nat_s = 2.0\n'
        'until = "entered pad.hold"\n'
    )
    record = fly(folder, row, stop=4.0)
    assert at(record, "entered pad.hold") == 230 + 19 * 2
    assert at(record, "fault_ended f") == at(record, "entered pad.hold") + 1
    assert not all_at(record, "entered flight.countdown")
