"""A small sequence that is executed by hand, and its runs as results of flights."""

from __future__ import annotations

from pathlib import Path

from sequencer.execute.deciding import DecidingExecutor
from sequencer.flight.result import Result, Seen
from sequencer.record import Event, FlightRecord, Verdict
from sequencer.sequence import load_sequence

TEXT = """\
[sequence]
name = "flight"
about = "made for a test"
rate_hz = 10
boot_s = 0.5
start = "pad"

[inputs]
tilt = { unit = "deg" }
height = { unit = "m" }
baro_ok = { unit = "bool" }
parted = { unit = "bool" }
key = { unit = "bool" }

[limits]
tilt_max = { value = 25, unit = "deg", tolerance = 2, reason = "made for a test" }
latest = { value = 2, unit = "s", tolerance = 0.1, reason = "made for a test" }
low = { value = 10, unit = "m", tolerance = 1, reason = "made for a test" }
high = { value = 50, unit = "m", tolerance = 1, reason = "made for a test" }

[flags]
out = {}

[inhibits]
key_out = { in_place_when = "not key", reason = "made for a test" }

[functions]
chute = { kind = "parachute", pulse_s = 0.3, inhibits = ["key_out"] }
nose = { kind = "separation", pulse_s = 0.3, inhibits = ["key_out"] }

[states.pad]
phase = "ground"
[[states.pad.exits]]
to = "staging"
when = "height > low and height > high"
name = "high up"

[states.staging]
phase = "flight"
[[states.staging.exits]]
to = "abort"
when = "baro_ok and tilt > tilt_max"
hold_s = 0.2
name = "tilt_abort"
[[states.staging.exits]]
to = "coast"
when = "parted or time_in_state >= latest"
name = "parted"

[states.coast]
phase = "flight"
on_entry = ["fire nose"]

[states.abort]
phase = "flight"
on_entry = ["fire chute", "set out"]
[[states.abort.exits]]
to = "pad"
when = "not out"
name = "again"
"""

#: how a tick that is not spoken of looks
QUIET = {"tilt": 3.0, "height": 5.0, "baro_ok": 1.0, "parted": 0.0, "key": 1.0}
#: radians that the file's degrees are
DEG = 0.017453292519943295


def written(folder: Path, *edits: tuple[str, str]) -> Path:
    """The sequence's file, with pieces of its text replaced."""
    text = TEXT
    for old, new in edits:
        assert text.count(old) == 1, f"the text has {text.count(old)} of {old!r}"
        text = text.replace(old, new)
    path = folder / "flight.sequence.toml"
    path.write_text(text, encoding="utf-8")
    return path


def flown(path: Path, name: str, *ticks: dict[str, float]) -> Result:
    """Execute ticks, each of them a quiet one with changes; tilt in deg, NaN is bad."""
    sequence = load_sequence(path)
    executor = DecidingExecutor(sequence)
    events = []
    for tick, changes in enumerate(ticks):
        executor.now = tick
        values = QUIET | changes
        values["tilt"] *= DEG
        out = executor.tick(tick, [values[put] for put in sequence.inputs], [True] * len(values))
        events += [Event(tick, kind, f"flight.{what}", detail) for kind, what, detail in out.events]
    because = "'fired chute' never came"
    verdict = Verdict("chute_in_time", "not exercised", None, "s", None, None, because)
    record = FlightRecord(name, 10, len(ticks), tuple(events), {}, "recovered", verdicts=(verdict,))
    seen = (Seen("flight", sequence.path, sequence.digest, executor.seen),)
    return Result(name, Path(f"{name}.scenario.toml"), "", record, seen=seen)
