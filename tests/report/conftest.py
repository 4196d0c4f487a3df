"""Hand-made flights for the reports: nothing here was flown."""

from __future__ import annotations

import io
import math
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

from sequencer.flight.result import Result, Shortfall
from sequencer.record import Event, FlightRecord, Signal, Verdict

HASHES = {"flight.sequence": "aabbccdd00112233", "vehicle": "1234567890abcdef"}


def make_record(name, verdicts=(), events=(), outcome="landed", ticks=1234, hashes=None):
    height = np.array([0.0, 1.5, np.nan, 3.25])
    return FlightRecord(
        scenario=name,
        rate_hz=100,
        ticks=ticks,
        events=tuple(events),
        signals={"height_m": Signal("height_m", "m", height)},
        outcome=outcome,
        facts={"apogee_m": 178.25, "nearest_m": math.inf},
        hashes=HASHES if hashes is None else hashes,
        verdicts=tuple(verdicts),
    )


SOFT = Verdict("soft_touchdown", "met", 0.4236, "m/s", 1200, 1200, "0.58 m/s of 1 m/s allowed")
UPRIGHT = Verdict("upright", "met", 12.5, "deg", 1200, 1200, "tilt 2.5 deg of 15 deg allowed")
UNUSED = Verdict("chute_in_time", "not exercised", None, "s", None, None, "no parachute was fired")
HARD = Verdict(
    "soft_touchdown",
    "broken",
    -3.1,
    "m/s",
    1198,
    1203,
    "4.1 m/s, 1 m/s allowed",
    "the legs fold above it",
)
NOMINAL_EVENTS = (
    Event(0, "entered", "pad.safe"),
    Event(0, "entered", "flight.safe"),
    Event(120, "entered", "pad.ignition", "everyone is clear"),
    Event(125, "liftoff"),
    Event(126, "set", "flight.lifted"),
    Event(1200, "touchdown"),
    Event(1234, "ended", "flight", "over"),
)
WRONG_EVENTS = (
    *NOMINAL_EVENTS[:5],
    Event(900, "fault_begun", "open_igniter", "igniter open"),
    Event(903, "blocked", "flight.landing_1", "key_out"),
    *NOMINAL_EVENTS[5:],
)


@pytest.fixture
def nominal():
    record = make_record("calm", [UNUSED, UPRIGHT, SOFT], NOMINAL_EVENTS)
    return Result("calm", Path("scenarios/calm.scenario.toml"), "the flight as planned", record)


@pytest.fixture
def short():
    record = make_record("one_open", [HARD, UPRIGHT], WRONG_EVENTS, "crashed")
    return Result(
        "one_open",
        Path("scenarios/faults/one_open.scenario.toml"),
        "one landing igniter is open",
        record,
        (
            Shortfall(f"'soft_touchdown' is broken: {HARD.because}", HARD, WRONG_EVENTS[6]),
            Shortfall("'fired flight.main_chute' never came (expected after the start)"),
            Shortfall("outcome is 'crashed', expected 'landed'", None, WRONG_EVENTS[7]),
            Shortfall("'late flight' came at 3.00 s, but must never come"),
        ),
    )


@pytest.fixture
def failed():
    line = "scenarios/gone.scenario.toml: no such file"
    return Result("gone", Path("scenarios/gone.scenario.toml"), "", None, (), line)


@pytest.fixture
def page():
    """Make a console of some width (None: a pipe), and a function that gives what it holds."""

    def make(width=None, **options):
        out = io.StringIO()
        terminal = width is not None
        options = {"color_system": None, "legacy_windows": False, **options}
        console = Console(
            file=out,
            width=width,
            force_terminal=terminal,
            highlight=False,
            markup=False,
            emoji=False,
            **options,
        )
        return console, out.getvalue

    return make


@pytest.fixture
def make_result():
    """A flight by name, verdicts and hashes."""

    def make(name, verdicts=(), hashes=None, **more):
        record = make_record(name, verdicts, NOMINAL_EVENTS, hashes=hashes)
        return Result(name, Path(f"{name}.scenario.toml"), "", record, **more)

    return make
