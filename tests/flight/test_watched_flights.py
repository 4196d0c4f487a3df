"""Flights whose decisions are watched are the same flights."""

from __future__ import annotations

import pytest

from sequencer.errors import UsageError
from sequencer.flight import fly_many
from sequencer.sequence import load_sequence
from sequencer.sequence.decisions import decisions_of


@pytest.mark.parametrize("name", ["reboot_in_coast", "tilt_abort_straddles_staging"])
def test_watching_changes_nothing_and_every_exit_is_seen_as_it_is_taken(demo, name):
    (plain,) = fly_many([demo / f"{name}.scenario.toml"])
    (watched,) = fly_many([demo / f"{name}.scenario.toml"], watched=True)
    assert watched.record.events == plain.record.events
    assert watched.record.verdicts == plain.record.verdicts
    assert plain.seen == ()
    assert {seen.computer for seen in watched.seen} == {"pad", "flight"}
    for seen in watched.seen:
        names = [one.name for one in decisions_of(load_sequence(seen.path))]
        taken = {
            (tick, names[sight.decision]) for sight, tick in seen.sights.items() if sight.taken
        }
        took = [
            (event.tick, event.name.removeprefix(f"{seen.computer}."))
            for event in plain.record.events
            if event.kind == "took" and event.name.startswith(f"{seen.computer}.")
        ]
        assert taken <= set(took)
        assert {name for _, name in taken} == {name for _, name in took}


def test_only_the_compiled_model_can_be_looked_into(demo):
    with pytest.raises(UsageError, match="executor 'compiled' only"):
        fly_many([demo / "calm_landing.scenario.toml"], watched=True, executor="reference")
