"""Worker processes: how many, and what Ctrl-C does to them."""

from __future__ import annotations

import contextlib
import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
from collections.abc import Iterator
from multiprocessing.connection import Connection

__all__ = ["cores", "end_quietly", "interrupts_held_back"]


def _end_after(signs: list[int | Connection]) -> None:
    multiprocessing.connection.wait(signs)
    os._exit(1)  # no thread but the main one can do it in another way


def end_quietly(leash: Connection | None = None) -> None:
    """In a worker: Ctrl-C, which reaches it too, ends it without a word; the parent says it.

    It also ends with its parent, however that ends: nobody else would tell it to. And when the
    parent closes the other end of `leash`, whatever the worker is doing.
    """
    parent = multiprocessing.parent_process()
    signs: list[int | Connection] = [] if parent is None else [parent.sentinel]
    if leash is not None:
        signs.append(leash)
    if signs:
        threading.Thread(target=_end_after, args=(signs,), daemon=True).start()
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})


@contextlib.contextmanager
def interrupts_held_back() -> Iterator[None]:
    """Inside, Ctrl-C waits: for this process, and for the processes that it starts.

    The mask is for what is started, which inherits it. It covers one thread only, and the signal
    may reach another, so here a handler takes note and what came is raised at the end.
    """
    if not hasattr(signal, "pthread_sigmask"):  # not on this platform
        yield
        return
    came: list[int] = []
    is_main = threading.current_thread() is threading.main_thread()
    handler = signal.getsignal(signal.SIGINT) if is_main else None
    if handler is not None:
        signal.signal(signal.SIGINT, lambda number, _: came.append(number))
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)  # one that waited comes here
        if handler is not None:
            signal.signal(signal.SIGINT, handler)
    if came:
        signal.raise_signal(signal.SIGINT)


def cores() -> int:
    """Cores that this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on this platform
        return os.cpu_count() or 1
