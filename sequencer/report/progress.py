"""How far long work has come: one line that counts on a terminal, now and then one elsewhere."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import Progress, TextColumn, TimeRemainingColumn

from sequencer.flight.result import Result
from sequencer.report.terminal import console

__all__ = ["Step", "counting", "counting_up", "watching"]

#: called once with each finished result
Step = Callable[[Result], None]

#: least time between two plain lines, s
PAUSE_S = 5.0


@contextmanager
def watching(
    total: int, out: Console | None = None, clock: Callable[[], float] = time.monotonic
) -> Iterator[Step]:
    """Yield a function that takes each result as it comes and shows the count so far.

    total   number of results that will come
    out     where to show it; default: standard error, so that results stay alone on standard output
    clock   seconds from any origin; only paces the plain lines
    """
    out = console(stderr=True) if out is None else out
    if out.is_terminal and not out.is_dumb_terminal:
        with _counter(total, out) as step:
            yield step
    else:
        yield _lines(total, out, clock)


@contextmanager
def counting(
    total: int, out: Console | None = None, clock: Callable[[], float] = time.monotonic
) -> Iterator[Callable[[int], None]]:
    """As `watching`, for flights without a name: yields a function that takes how many more."""
    out = console(stderr=True) if out is None else out
    if out.is_terminal and not out.is_dumb_terminal:
        shown = TextColumn("{task.completed:.0f} of {task.total:.0f} flown, {task.elapsed:.0f} s")
        with Progress(shown, TimeRemainingColumn(), console=out, transient=True) as progress:
            task = progress.add_task("", total=total)
            yield lambda more: progress.advance(task, more)
        return
    flown, last = 0, clock()

    def step(more: int) -> None:
        nonlocal flown, last
        flown += more
        now = clock()
        if now - last >= PAUSE_S:
            last = now
            out.print(f"{flown} of {total} flown", soft_wrap=True)

    yield step


@contextmanager
def counting_up(
    what: str, out: Console | None = None, clock: Callable[[], float] = time.monotonic
) -> Iterator[Callable[[int, int], None]]:
    """As `counting`, where how many there will be is known late.

    what   is counted, such as "mutants"

    Yields a function that takes how many are done, of how many.
    """
    out = console(stderr=True) if out is None else out
    if out.is_terminal and not out.is_dumb_terminal:
        shown = TextColumn(
            f"{{task.completed:.0f}} of {{task.fields[whole]}} {what}, {{task.elapsed:.0f}} s"
        )
        with Progress(shown, TimeRemainingColumn(), console=out, transient=True) as progress:
            task = progress.add_task("", total=None, whole="?")
            yield lambda done, whole: progress.update(
                task, completed=done, total=whole, whole=whole
            )
        return
    last = clock()

    def step(done: int, whole: int) -> None:
        nonlocal last
        now = clock()
        if now - last >= PAUSE_S:
            last = now
            out.print(f"{done} of {whole} {what}", soft_wrap=True)

    yield step


@contextmanager
def _counter(total: int, out: Console) -> Iterator[Step]:
    columns = (
        TextColumn(
            "{task.completed:.0f} of {task.total:.0f} flown, {task.fields[short]} short, "
            "{task.elapsed:.0f} s"
        ),
        TextColumn("{task.description}", style="dim"),
    )
    with Progress(*columns, console=out, transient=True) as progress:
        task = progress.add_task("", total=total, short=0)
        tally = _Tally()

        def step(result: Result) -> None:
            tally.add(result)
            progress.update(task, completed=tally.flown, description=result.name, short=tally.short)

        yield step


def _lines(total: int, out: Console, clock: Callable[[], float]) -> Step:
    tally = _Tally()
    last = clock()

    def step(result: Result) -> None:
        nonlocal last
        tally.add(result)
        now = clock()
        if now - last >= PAUSE_S:
            last = now
            out.print(f"{tally.flown} of {total} flown, {tally.short} short", soft_wrap=True)

    return step


class _Tally:
    """Counts results."""

    def __init__(self) -> None:
        self.flown = 0
        self.short = 0

    def add(self, result: Result) -> None:
        """Count one more."""
        self.flown += 1
        self.short += not result.as_expected
