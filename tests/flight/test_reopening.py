"""A target that goes away between two scenarios, and comes back or does not."""

from __future__ import annotations

from pathlib import Path

import pytest

from sequencer.errors import TargetError, UnreachableError, UsageError
from sequencer.flight.reopening import WAIT_S, Reopening
from sequencer.flight.result import Result

PATHS = [Path(f"{name}.scenario.toml") for name in "abcd"]


class Rig:
    """Flies what `script` says: a result, or what is raised, one entry for every attempt."""

    def __init__(self, *script: str | Exception) -> None:
        self.script = list(script)
        self.said: list[str] = []
        self.now = 0.0
        self.fly = Reopening(
            self.one, self.said.append, clock=lambda: self.now, sleep=self.let_go_by
        )

    def let_go_by(self, seconds: float) -> None:
        self.now += seconds

    def one(self, path: Path) -> Result:
        what = self.script.pop(0) if self.script else "gone"
        if isinstance(what, Exception):
            raise what
        if what == "gone":
            raise UnreachableError("port 'x' does not exist")
        return Result(path.name[0], path, "", None, error=what, lost=what.endswith("void"))


def test_what_is_gone_between_two_scenarios_is_waited_for() -> None:
    rig = Rig("it is void", *["gone"] * 9, "flown", "flown")
    assert [rig.fly(path).error for path in PATHS[:3]] == ["it is void", "flown", "flown"]
    assert rig.said == ["port 'x' does not exist; plug it in again, under this name: waiting 60 s"]
    assert 0.0 < rig.now < WAIT_S


def test_what_does_not_come_back_is_waited_for_once_and_costs_nothing_that_was_flown() -> None:
    rig = Rig("it is void")
    results = [rig.fly(path) for path in PATHS]
    why = "port 'x' does not exist; waited 60 s for it"
    assert [result.error for result in results] == ["it is void", why, why, why]
    assert [result.name for result in results] == list("abcd")
    assert len(rig.said) == 1
    assert rig.now == pytest.approx(WAIT_S)


def test_a_target_that_cannot_be_used_any_longer_is_not_tried_again() -> None:
    rig = Rig("it is void", TargetError("board is silent"), "flown")
    assert [rig.fly(path).error for path in PATHS[:3]] == ["it is void", *["board is silent"] * 2]
    assert rig.script == ["flown"]


@pytest.mark.parametrize(
    "error", [UnreachableError("not there"), TargetError("silent"), UsageError("no such computer")]
)
def test_what_is_wrong_before_the_first_flight_is_raised_at_once(error: Exception) -> None:
    rig = Rig("scenario.toml:1: what could not be read", error)
    assert rig.fly(PATHS[0]).error is not None  # nothing was opened for that
    with pytest.raises(type(error), match=str(error)):
        rig.fly(PATHS[1])
    assert rig.now == 0.0


def test_what_is_no_fault_of_the_target_is_raised() -> None:
    rig = Rig("it is void", UsageError("no such computer"))
    rig.fly(PATHS[0])
    with pytest.raises(UsageError, match="no such computer"):
        rig.fly(PATHS[1])
