"""The vehicle as flown in one scenario: other wiring, other plugs."""

from __future__ import annotations

from pathlib import Path

import pytest

from sequencer.errors import InputError
from sequencer.flight import fly
from sequencer.scenario import load_scenario
from sequencer.world import World

BASE = """\
[scenario]
extends = "calm_landing.scenario.toml"
title = "Connected otherwise"
reason = "the vehicle as flown is not the vehicle as drawn"
covers = { fault = "wiring", phase = "landing_burn" }

[expect]
outcome = "crashed"
"""


def write(folder: Path, tables: str, name: str = "tried") -> Path:
    path = folder / f"{name}.scenario.toml"
    path.write_text(f"{BASE}\n{tables}", encoding="utf-8")
    return path


def loaded(folder: Path, tables: str, name: str = "tried"):
    return load_scenario(write(folder, tables, name))


MERGED = '[plugs]\nigniter_L2 = "flight.F1"\n\n[wiring.flight]\nlanding_2 = "F1"\n'


def test_a_function_drives_another_channel_and_its_load_moves_along(folder: Path) -> None:
    made = loaded(folder, '[wiring.flight]\nlanding_1 = "F6"\n[plugs]\nigniter_L1 = "flight.F6"\n')
    spare = made.places.channels["flight.F6"]
    functions = [n for n, f in made.sequences["flight"].functions.items() if f.kind != "servo"]
    assert made.wires["flight"].channels[functions.index("landing_1")] == (spare,)
    assert made.params["load_channel"][made.places.loads.index("igniter_L1")] == spare


def test_one_function_may_drive_two_channels(folder: Path) -> None:
    made = loaded(folder, '[wiring.flight]\nmain_chute = ["F4", "F5"]\n')
    functions = [n for n, f in made.sequences["flight"].functions.items() if f.kind != "servo"]
    both = tuple(made.places.channels[f"flight.{name}"] for name in ("F4", "F5"))
    assert made.wires["flight"].channels[functions.index("main_chute")] == both


def test_two_servos_change_places(folder: Path) -> None:
    made = loaded(folder, '[wiring.flight]\nlanding_y = "landing_z"\nlanding_z = "landing_y"\n')
    plain = loaded(folder, "", "plain")
    names = [n for n, f in plain.sequences["flight"].functions.items() if f.kind == "servo"]
    y, z = names.index("landing_y"), names.index("landing_z")
    before, after = plain.wires["flight"].servos, made.wires["flight"].servos
    assert (after[y], after[z]) == (before[z], before[y])


def test_hashes_follow_the_wiring_and_leave_the_vehicle(folder: Path) -> None:
    plain = loaded(folder, "", "plain")
    other = loaded(folder, MERGED)
    assert other.hashes["vehicle"] == plain.hashes["vehicle"]
    assert other.hashes["wiring"] != plain.hashes["wiring"]
    assert other.hashes["wiring"] == other.vehicle.wiring_digest


def test_what_is_connected_as_in_the_file_has_the_hash_of_the_file(folder: Path) -> None:
    same = loaded(folder, '[plugs]\nigniter_L1 = "flight.F1"\n[wiring.flight]\nfins = "fins"\n')
    assert same.hashes["wiring"] == loaded(folder, "", "plain").hashes["wiring"]


def test_merged_channels_put_two_igniters_in_parallel(folder: Path) -> None:
    """A test current sees the channel in series with both bridges side by side."""
    made = loaded(folder, MERGED)
    world = World(made.params)
    one, two = (made.vehicle.loads[f"igniter_L{n}"].resistance_ohm for n in (1, 2))
    own = made.vehicle.channels["flight.F1"].resistance_at(15.0)
    sensor = made.places.sensors["flight.continuity_l1"]
    together = own + 1.0 / (1.0 / one + 1.0 / two)
    assert world.out["value"][sensor] == pytest.approx(together, abs=0.1)  # noise 0.02
    other = made.places.sensors["flight.continuity_l2"]
    assert world.out["value"][other] == made.vehicle.sensors["flight.continuity_l2"].high


def test_merged_channels_are_found_before_the_flight(folder: Path) -> None:
    """The continuity check of the channel that lost its igniter holds the count."""
    record = fly(loaded(folder, MERGED))
    assert record.outcome == "on_pad"
    assert record.first("lit L1") is None


def test_a_scenario_takes_over_the_connections_of_the_one_it_extends(folder: Path) -> None:
    write(folder, MERGED, "merged")
    path = folder / "further.scenario.toml"
    text = BASE.replace("calm_landing", "merged") + '\n[plugs]\nigniter_L1 = "flight.F6"\n'
    path.write_text(text, encoding="utf-8")
    made = load_scenario(path)
    assert made.vehicle.loads["igniter_L2"].channel == "flight.F1"
    assert made.vehicle.loads["igniter_L1"].channel == "flight.F6"


#: tables, line of the error counted from 10, the first of the tables, and the whole message
BAD = [
    (
        '[plugs]\nigniter_L3 = "flight.F1"\n',
        11,
        "unknown load 'igniter_L3'; did you mean 'igniter_L2'?",
    ),
    (
        '[plugs]\nigniter_L1 = "flight.F7"\n',
        11,
        "unknown channel 'flight.F7'; did you mean 'flight.F6'?",
    ),
    ('[plugs]\nigniter_L1 = "F1"\n', 11, "unknown channel 'F1'; did you mean 'flight.F1'?"),
    ("[plugs]\nigniter_L1 = 1\n", 11, "'plugs.igniter_L1' must be text, not 1"),
    ('[plugs]\nigniter_L1 = ["flight.F1"]\n', 11, "'plugs.igniter_L1' must be text, not a list"),
    ('[[plugs]]\nigniter_L1 = "flight.F1"\n', 10, "'plugs' must be a table, not a list"),
    (
        '[wiring.fligth]\nlanding_1 = "F1"\n',
        10,
        "unknown computer 'fligth'; did you mean 'flight'?",
    ),
    (
        '[wiring.flight]\nlanding_11 = "F1"\n',
        11,
        "unknown function of 'flight' 'landing_11'; did you mean 'landing_1'?",
    ),
    (
        '[wiring.flight]\nlanding_1 = "P1"\n',
        11,
        "unknown channel or servo of 'flight' 'P1'; did you mean 'F1'?",
    ),
    (
        '[wiring.flight]\nlanding_1 = "flight.F1"\n',
        11,
        "unknown channel or servo of 'flight' 'flight.F1'; did you mean 'F1'?",
    ),
    ('[wiring.flight]\nlanding_1 = ["F1", "F1"]\n', 11, "channel 'F1' stands twice"),
    ("[wiring.flight]\nlanding_1 = []\n", 11, "function 'landing_1' is wired to nothing"),
    ("[wiring.flight]\nlanding_1 = 6\n", 11, "'wiring.flight.landing_1' must be text, not 6"),
    (
        '[wiring.flight]\nlanding_1 = "fins"\n',
        11,
        "function 'landing_1' of 'flight' is of kind igniter, but is wired to a servo",
    ),
    (
        '[wiring.flight]\nfins = "F1"\n',
        11,
        "function 'fins' of 'flight' is of kind servo, but is wired to a channel",
    ),
    (
        '[wiring.flight]\nfins = "legs"\n',
        11,
        "servo 'flight.legs' already belongs to function 'legs'",
    ),
    (
        '[wiring.flight]\nlanding_1 = ["F1", "fins"]\n',
        11,
        "a servo stands alone, not in a list ('landing_1')",
    ),
    ('[wiring]\nflight = "F1"\n', 11, "'wiring.flight' must be a table, not 'F1'"),
]


@pytest.mark.parametrize(("tables", "line", "message"), BAD, ids=[row[2][:40] for row in BAD])
def test_what_cannot_be_connected_is_told_in_one_line(folder, tables, line, message) -> None:
    path = write(folder, tables)
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    assert str(caught.value) == f"{path}:{line}: {message}"


def test_a_load_is_not_plugged_where_the_test_current_is_too_much(folder: Path) -> None:
    vehicle = folder / "sandpiper.vehicle.toml"
    text = vehicle.read_text(encoding="utf-8")
    spare = "F6 = { resistance_ohm = 0.08, wire_m = 0.4, wire_awg = 26, connector_ohm = 0.02, "
    assert spare in text
    text = text.replace(f"{spare}test_current_a = 0.001", f"{spare}test_current_a = 0.03")
    vehicle.write_text(text, encoding="utf-8")
    loaded(folder, "")  # nothing hangs there
    path = write(folder, '[plugs]\nigniter_L1 = "flight.F6"\n')
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    assert str(caught.value) == (
        f"{path}:11: the test current of channel 'flight.F6', 0.03 A, is above a tenth of the "
        "no-fire current of 'igniter_L1' (0.25 A); at most 0.025 A"
    )
