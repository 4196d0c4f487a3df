"""The world step against the same model hand-written in C (bench/cpeer).

Both step through the same flights with the same commands, those that the computers gave when the
flight was flown, in turn and in this process, so that a busy machine slows both alike; each loops
over the ticks in machine code, and what counts is the processor time that this thread got. A ratio
counts only if both fly the same flight, so where the two touch down is part of the measurement.
Without a C compiler nothing is measured, and that is said.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable
from typing import Any

import cpeer
import numba
import numpy as np
from numpy.typing import NDArray

from sequencer.errors import InternalError
from sequencer.scenario import Scenario, dispersed, load_scenario
from sequencer.scenario.starter import demo_folder
from sequencer.world import COMMANDS, World, prepare

Row = tuple[str, float, str, str]
Runner = Callable[..., None]

_ROUNDS = 31
_SEED = 1


def measure() -> list[Row]:
    """Steps per second of both, the worst of their ratios, and how far apart they touch down."""
    if cpeer.find_compiler() is None:
        print("no C compiler (cc): the world step is not measured against C", file=sys.stderr)
        return []
    folder = demo_folder()
    flights = {
        "the calm flight": load_scenario(folder / "calm_landing.scenario.toml"),
        "a dispersed flight in a breeze": dispersed(
            load_scenario(folder / "breeze.scenario.toml"), 1, _SEED
        ),
    }
    theirs, ours = cpeer.CStep(), _runner()
    rows: list[Row] = []
    for name, scenario in flights.items():
        rows += _compare(name, scenario, ours, theirs)
    return rows


def _compare(name: str, scenario: Scenario, ours: Runner, theirs: cpeer.CStep) -> list[Row]:
    commands = cpeer.commands_of(scenario)
    lines = commands.view(np.uint8).reshape(len(commands), COMMANDS.itemsize)
    fastest = [math.inf, math.inf]
    ratios: list[float] = []
    for _ in range(_ROUNDS):
        worlds = World(scenario.params), cpeer.CWorld(scenario.params, theirs)
        begun = time.thread_time()
        theirs.run(worlds[1].memory, commands)
        between = time.thread_time()
        ours(*_but_commands(worlds[0]), lines)
        took = time.thread_time() - between, between - begun
        fastest = [min(pair) for pair in zip(fastest, took, strict=True)]
        ratios.append(took[1] / took[0])
        apart = _apart(*worlds)
    count = len(commands)
    return [
        (f"world steps, {name}", count / fastest[0], "1/s", ""),
        (f"the same hand-written in C, {name}", count / fastest[1], "1/s", ""),
        (f"ours against C, {name}", fastest[1] / fastest[0], "times", ">= 0.85"),
        (f"the same, median of {_ROUNDS} rounds", float(np.median(ratios)), "times", ""),
        (f"touchdowns differ by, {name}", apart, "m, m/s", "<= 1e-9"),
    ]


def _but_commands(world: World) -> tuple[NDArray[np.uint8], ...]:
    state, params, _, out = world.memory
    return state, params, out


def _apart(one: World, other: cpeer.CWorld) -> float:
    """Largest difference in place (m) and speed (m/s) at touchdown."""
    if not one.state["down"] or not other.state["down"]:
        raise InternalError("the flight did not come down")
    names = ("down_east", "down_north", "down_speed", "down_sideways")
    return max(abs(float(one.state[name]) - float(other.state[name])) for name in names)


def _runner() -> Runner:
    """Our step in a loop of machine code, as cpeer's `run` has it."""
    prepare()
    from sequencer.world.kernel import step_bytes  # noqa: PLC0415 - compiles or loads

    njit: Any = numba.njit

    def run(
        state: NDArray[np.uint8],
        params: NDArray[np.uint8],
        out: NDArray[np.uint8],
        commands: NDArray[np.uint8],
    ) -> None:
        for i in range(len(commands)):
            step_bytes(state, params, commands[i], out)

    found: Runner = njit(run)
    return found


if __name__ == "__main__":
    for row in measure():
        print(*row)
