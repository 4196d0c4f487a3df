"""Motors that go wrong: puffs, bursts, ejection charges out of time; and pressure in the bay."""

import math

import numpy as np
import pytest
from world_rigs import (
    add_fault,
    add_load,
    add_motor,
    add_parachute,
    add_sensor,
    history,
    in_the_air,
    light,
    rig,
    steps,
    two_stage,
)

from sequencer.world import FaultKind, LoadKind, SensorKind, World

FLAT = [(0.0, 20.0), (1.0, 20.0)]


def burning(*faults, propellant=0.0, **motor):
    """A clamped vehicle whose motor of 20 N for 1 s burns from now on; a history of 3 s."""
    params = rig(holds_down=1)
    add_motor(params, FLAT, propellant=propellant, **motor)
    add_parachute(params, 0.2)
    add_sensor(params, SensorKind.FLAME, 0)
    for fault in faults:
        add_fault(params, *fault)
    world = World(params)
    light(world, 0)
    return world


def flown(world, begins=0, ends=999, ticks=300):
    """`out` after each tick; all faults act from tick `begins` to tick `ends`."""
    kept = []
    for tick in range(ticks):
        world.commands["fault"][:] = int(begins <= tick < ends)
        kept.append(world.step().copy())
    return np.array(kept)


def first(column):
    """Index of the first one, or None."""
    return int(np.argmax(column == 1)) if (column == 1).any() else None


def test_a_motor_that_chuffs_burns_in_puffs_and_gives_all_its_impulse():
    world = burning((FaultKind.MOTOR_CHUFF, 0, 0.2))
    kept = flown(world)
    # in the first half of every 0.2 s: ten puffs of 0.1 s, and the last needs no pause behind it
    expected = [20.0 if tick % 20 < 10 else 0.0 for tick in range(1, 190)]
    assert kept["thrust"][:189, 0].tolist() == expected
    assert kept["burning"][:189, 0].tolist() == [int(thrust > 0.0) for thrust in expected]
    assert (kept["value"][:, 0] == kept["burning"][:, 0]).all()
    assert first(kept["burnt"][:, 0]) == 189
    assert world.state["motor_used"][0] == pytest.approx(20.0, rel=1e-12)


def test_puffs_begin_with_the_fault_and_stop_with_it():
    sound = flown(burning())
    kept = flown(burning((FaultKind.MOTOR_CHUFF, 0, 0.2)), begins=33, ends=48)
    assert kept[:33].tobytes() == sound[:33].tobytes()
    thrust = kept["thrust"][:, 0]
    assert (thrust[33:42] == 20.0).all()  # its first puff, 0.1 s from the onset
    assert (thrust[42:48] == 0.0).all()
    assert (thrust[48:104] == 20.0).all()  # burns evenly again
    assert first(kept["burnt"][:, 0]) == 99 + 5  # as late as it was cold


def test_a_motor_lit_under_the_fault_begins_with_a_puff():
    params = rig(holds_down=1)
    add_motor(params, FLAT, delay=0.33)
    add_load(params, LoadKind.MOTOR, 0)
    add_fault(params, FaultKind.MOTOR_CHUFF, 0, 0.1)
    world = World(params)
    world.commands["channel"][0] = 1
    thrust = flown(world)["thrust"][:, 0]
    onset = int(np.argmax(thrust > 0.0))
    assert (thrust[onset : onset + 5] == 20.0).all()
    assert (thrust[onset + 5 : onset + 10] == 0.0).all()


def test_a_burst_takes_thrust_propellant_and_ejection_charge_at_once():
    fault = (FaultKind.MOTOR_BURST, 0)
    charge = {"propellant": 0.1, "eject_delay": 0.5, "eject_kind": LoadKind.PARACHUTE}
    sound, kept = (
        flown(burning(**charge)),
        flown(burning(fault, **charge), begins=40, ends=60),
    )
    assert kept[:40].tobytes() == sound[:40].tobytes()
    assert sound["mass"][40] == pytest.approx(0.75 + 0.1 * 0.59)
    assert (kept["mass"][40:] == 0.75).all()
    assert (kept["thrust"][40:] == 0.0).all()
    assert first(kept["burst"][:, 0]) == 40
    assert (kept["burst"][40:, 0] == 1).all()  # for good, whatever becomes of the fault
    assert not kept["burnt"].any()
    assert not kept["ejected"].any()
    assert first(sound["deployed"][:, 0]) == 149
    assert not kept["deployed"].any()
    assert not sound["burst"].any()


def test_a_motor_that_is_not_lit_yet_bursts_when_it_lights():
    params = rig(holds_down=1)
    for _ in range(2):
        add_motor(params, FLAT, propellant=0.1, delay=0.05)
    add_load(params, LoadKind.MOTOR, 0)
    add_fault(params, FaultKind.MOTOR_BURST, 0)
    world = World(params)
    world.commands["fault"][0] = 1
    assert steps(world, 0.5)["burst"][0] == 0
    assert world.out["mass"] == pytest.approx(0.95)
    world.commands["channel"][0] = 1
    kept = history(world, 0.2)
    assert first(kept["burst"][:, 0]) == pytest.approx(6, abs=1)
    assert kept["thrust"].max() == 0.0
    assert not kept["burning"].any()
    assert kept["mass"][-1] == pytest.approx(0.85)
    assert not kept["burst"][:, 1].any()


def test_at_a_burst_the_airframe_stays_where_it_is():
    """The mass that leaves takes its own momentum along; the nose tip neither jumps nor stops."""
    params = rig(mass=0.3)
    add_motor(params, FLAT, propellant=0.3, station=1.0)
    add_fault(params, FaultKind.MOTOR_BURST, 0)
    world = in_the_air(params, 100.0, velocity=(0.0, 0.0, 30.0), rates=(0.0, 0.3, 0.0))
    light(world, 0)
    before = steps(world, 0.02).copy()
    world.commands["fault"][0] = 1
    after = world.step().copy()
    assert after["burst"][0] == 1
    assert before["centre_of_mass"] - after["centre_of_mass"] > 0.2

    def nose(out):
        q0, q1, q2, q3 = out["attitude"]
        axis = (
            1.0 - 2.0 * (q2 * q2 + q3 * q3),
            2.0 * (q1 * q2 + q0 * q3),
            2.0 * (q1 * q3 - q0 * q2),
        )
        return out["position"] + float(out["centre_of_mass"]) * np.array(axis)

    assert nose(after) == pytest.approx(nose(before) + 0.01 * before["velocity"], abs=0.01)


def ejecting(*faults, begins=0, ends=999):
    kept = flown(
        burning(*faults, eject_delay=0.6, eject_kind=LoadKind.PARACHUTE), begins=begins, ends=ends
    )
    return first(kept["ejected"][:, 0]), first(kept["deployed"][:, 0]), kept


def test_an_ejection_charge_goes_off_early_or_late():
    assert ejecting()[:2] == (159, 159)
    assert ejecting((FaultKind.EJECTION_EARLY, 0, 0.25))[:2] == (134, 134)
    assert ejecting((FaultKind.EJECTION_LATE, 0, 0.25))[:2] == (184, 184)


def test_an_early_charge_never_goes_off_before_burnout():
    assert ejecting((FaultKind.EJECTION_EARLY, 0, 5.0))[0] == 99


@pytest.mark.parametrize(
    ("kind", "size", "begins", "ends", "at"),
    [
        (FaultKind.EJECTION_EARLY, 0.4, 140, 999, 140),  # it should have gone off at 119
        (FaultKind.EJECTION_LATE, 1.0, 0, 170, 170),
        (FaultKind.EJECTION_EARLY, 0.4, 0, 110, 159),  # over before it changed anything
        (FaultKind.EJECTION_LATE, 1.0, 160, 999, 159),
    ],
)
def test_a_charge_that_is_due_when_the_fault_changes_goes_off_at_once(kind, size, begins, ends, at):
    sound = ejecting()[2]
    ejected, _, kept = ejecting((kind, 0, size), begins=begins, ends=ends)
    assert ejected == at
    until = min(at, 159)
    assert kept[:until].tobytes() == sound[:until].tobytes()


def bay(body=0, *faults, kind=SensorKind.PRESSURE, **sensor):
    """A parachute of one body on its charge, a sensor in the bay of body 0; fired at 0.1 s."""
    params = two_stage()
    add_sensor(params, kind, bay_pressure=5000.0, bay_decay=0.05, **sensor)
    params["load_target"][4] = body
    for fault in faults:
        add_fault(params, *fault)
    world = World(params)
    world.commands["fault"][: len(faults)] = 1
    steps(world, 0.1)
    world.commands["channel"][4] = 1
    kept = history(world, 1.0)
    return kept["value"][:, 0] - kept["value"][0, 0], kept["spent"][:, 4]


def test_a_charge_puts_pressure_on_the_port_that_dies_away():
    pressure, spent = bay()
    gone = first(spent)
    assert pressure[: gone - 1].tolist() == [0.0] * (gone - 1)
    assert 5000.0 * math.exp(-0.2) <= pressure[gone] <= 5000.0  # within the tick that it went off
    for tick in range(gone, gone + 50):
        assert pressure[tick + 1] / pressure[tick] == pytest.approx(math.exp(-0.2), rel=1e-4)
    assert pressure[-1] == pytest.approx(0.0, abs=1e-2)


def test_the_charge_of_the_other_body_is_not_felt():
    pressure, spent = bay(1)
    assert spent[-1] == 1
    assert (pressure == 0.0).all()


def test_a_charge_is_felt_even_if_its_parachute_stays_packed():
    sound, _ = bay()
    pressure, _ = bay(0, (FaultKind.PARACHUTE_FAILS, 0))
    assert (pressure == sound).all()


def test_a_sensor_with_nothing_said_of_its_bay_feels_nothing():
    params = two_stage()
    add_sensor(params, SensorKind.BAROMETER)
    world = World(params)
    world.commands["channel"][4] = 1
    read = history(world, 0.3)["value"][:, 0]
    assert world.out["spent"][4] == 1
    assert (read == read[0]).all()
