"""Computers whose supply breaks down, and what is left of their logs; the umbilical at liftoff."""

from __future__ import annotations

from pathlib import Path

import pytest
from flying import all_at, at, fly

import sequencer
from sequencer.errors import InputError
from sequencer.flight import loop
from sequencer.world import World

PAD, FLIGHT = 0, 1


@pytest.fixture
def starve(monkeypatch: pytest.MonkeyPatch):
    """Takes the power from one computer at the ends of these steps of the world."""

    def without_power(computer: int, first: int, last: int) -> None:
        class Starved(World):
            def step(self, commands=None):
                out = super().step(commands)
                tick = int(self.state["tick"])
                out["powerless"][computer] = int(first <= tick < last)
                if out["powerless"][computer]:
                    assert not self.commands["channel"][self._own].any() or tick == first
                return out

            @property
            def _own(self):
                return self.params["channel_battery"] == computer

        monkeypatch.setattr(loop, "World", Starved)

    return without_power


def test_a_brown_out_takes_the_outputs_and_boots_when_the_voltage_is_back(
    folder: Path, starve
) -> None:
    """In the middle of the horn's pulse; the pad boots half a second after the power is back."""
    starve(PAD, 300, 330)
    record = fly(folder, stop=5.0)
    assert all_at(record, "brown_out pad") == [300]
    assert all_at(record, "booted pad") == [330 + 50]
    assert all_at(record, "brown_out flight") == []
    assert at(record, "fired pad.horn") < 300
    assert all_at(record, "ended pad.horn") == []


def test_a_battery_that_comes_off_takes_its_computer_down(folder: Path) -> None:
    """Through the world's own circuits: no voltage from 3.0 to 3.3 s, 2 ms of which are enough.

    The step that begins at 3.00 s ends without power, the one that begins at 3.30 s with it.
    """
    row = (
        '[[faults]]\nname = "f"\nkind = "battery_disconnected"\nplace = "pad"\nat_s = 3.0\n'
        "for_s = 0.3\n"
    )
    record = fly(folder, row, stop=5.0)
    (down,) = [event for event in record.events if event.kind == "brown_out"]
    assert (down.tick, down.name, down.detail) == (301, "pad", "down to 0.00 V")
    # its first tick after 3.31 s is that of 3.32 s, and half a second of booting follows
    assert all_at(record, "booted pad") == [332 + 50]


@pytest.mark.parametrize(
    ("for_s", "last", "boots"),
    [(1.0, 360, 400 + 50), (0.2, 380, 380 + 50)],
    ids=["fault outlasts it", "it outlasts the fault"],
)
def test_a_computer_boots_when_every_reason_is_gone(
    folder: Path, starve, for_s: float, last: int, boots: int
) -> None:
    starve(PAD, 310, last)
    row = f'[[faults]]\nname = "f"\nkind = "reboot"\nplace = "pad"\nat_s = 3.0\nfor_s = {for_s}\n'
    record = fly(folder, row, stop=6.0)
    assert all_at(record, "booted pad") == [boots]


def give_logger(folder: Path, text: str) -> None:
    vehicle = folder / "sandpiper.vehicle.toml"
    before = vehicle.read_text(encoding="utf-8")
    table = "memory_s = 1800.0\nbuffer_s = 0.5\n"
    assert table in before
    vehicle.write_text(before.replace(table, f"{text}\n"), encoding="utf-8")


class TestLogger:
    """The log of the flight computer, 100 records a second."""

    def test_nothing_is_said_of_a_computer_without_one(self, folder: Path) -> None:
        facts = fly(folder, stop=1.0).facts
        assert facts["flight_log_s"] == 1.0
        assert "pad_log_s" not in facts

    def test_a_full_memory_ends_the_log_and_its_stalls(self, folder: Path) -> None:
        """Four ticks in a hundred are missed; the 96 others of a second are kept."""
        give_logger(folder, "memory_s = 1.92\nstall_every_s = 0.25")
        record = fly(folder, stop=4.0)
        assert all_at(record, "late flight") == list(range(24, 200, 25))[:-1]
        assert at(record, "log_full flight") == 198
        assert record.facts["flight_log_s"] == 1.92

    def test_the_power_takes_the_buffer_with_it(self, folder: Path) -> None:
        """At 3.0 s two buffers of 1.4 s are written; down 0.5 s, and its own boot time."""
        give_logger(folder, "buffer_s = 1.4")
        row = '[[faults]]\nname = "f"\nkind = "reboot"\nplace = "flight"\nat_s = 3.0\nfor_s = 0.5\n'
        record = fly(folder, row, stop=5.0)
        cut = record.first("log_cut flight")
        assert cut is not None
        assert (cut.tick, cut.detail) == (300, "the last 0.2 s are lost")
        booted = at(record, "booted flight")
        assert record.facts["flight_log_s"] == pytest.approx(2.8 + (500 - booted) / 100)

    def test_writes_that_leave_no_tick(self, folder: Path) -> None:
        give_logger(folder, "stall_every_s = 0.01")
        with pytest.raises(InputError) as caught:
            sequencer.load(folder / "calm_landing.scenario.toml")
        message = str(caught.value)
        assert message.startswith(str(folder / "sandpiper.vehicle.toml"))
        assert "stall_every_s is at least two ticks of 'flight', 0.02 s (got 0.01)" in message


def test_the_umbilical_parts_as_the_vehicle_rises(folder: Path) -> None:
    record = fly(folder, "[link]\nparts_at_m = 0.1\n", stop=14.5)
    tick = at(record, "umbilical_parted")
    height = record["height_m"]
    assert height[tick - 1] - height[0] < 0.1 <= height[tick] - height[0]
    assert tick > at(record, "liftoff")
