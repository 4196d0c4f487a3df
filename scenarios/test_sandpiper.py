"""What the demo's flight logic keeps, whatever goes wrong: pytest scenarios/test_sandpiper.py

Needs the extra `testing`. docs/testing.md tells how such tests are made.
"""

from pathlib import Path

from hypothesis import given, settings

from sequencer.sequence import load_sequence
from sequencer.testing import Rehearsal, crew, faults, input_streams, run, weather

HERE = Path(__file__).parent
RECOVERY = Rehearsal(HERE / "planned_recovery.scenario.toml")
FLIGHT = load_sequence(HERE / "flight.sequence.toml")
LANDING_MOTORS = ("fired flight.landing_1", "fired flight.landing_2")

#: flights take their time; the same examples on every run
few = settings(deadline=None, derandomize=True, max_examples=8)


@few
@given(faults(RECOVERY), weather(wind_m_s=6.0))
def test_a_fired_parachute_is_never_followed_by_a_landing_motor(fault, air):
    record = RECOVERY.fly(faults=[fault], weather=air)
    out = record.first("fired flight.main_chute")
    if out is not None:
        late = [event.label for event in record.events if event.tick >= out.tick]
        assert not set(late) & set(LANDING_MOTORS)


@few
@given(crew(RECOVERY))
def test_nobody_at_the_pad_lights_a_landing_motor(action):
    record = RECOVERY.fly(crew=[action])
    assert not any(record.first(label) for label in LANDING_MOTORS)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(input_streams(FLIGHT))
def test_nothing_fires_before_lift(stream):
    """Whatever the inputs say, and whichever of them are dead or wrong."""
    lifted = False
    for outputs in run(FLIGHT, stream):
        for kind, name, _ in outputs.events:
            lifted = lifted or (kind, name) == ("set", "lifted")
            assert lifted or kind != "fired"
