"""Ctrl-C, also while machine code is loaded."""

from __future__ import annotations

import _thread
import contextlib
import signal
import threading
from collections.abc import Iterator
from types import FrameType

__all__ = ["stoppable"]

#: an exception in Python code that is called back from here is swallowed, and what was being
#: loaded is then half loaded
_CALLS_BACK = "llvmlite"
#: time until another attempt, s
_PAUSE_S = 0.02


@contextlib.contextmanager
def stoppable() -> Iterator[None]:
    """Inside, Ctrl-C raises KeyboardInterrupt as soon as somebody can take it.

    Does nothing outside the main thread, or where Ctrl-C has been given another meaning.
    """
    mine = (
        threading.current_thread() is threading.main_thread()
        and signal.getsignal(signal.SIGINT) is signal.default_int_handler
    )
    if not mine:
        yield
        return
    signal.signal(signal.SIGINT, _stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def _stop(number: int, frame: FrameType | None) -> None:
    inner = frame
    while inner is not None:
        if str(inner.f_globals.get("__name__")).startswith(_CALLS_BACK):
            later = threading.Timer(_PAUSE_S, _thread.interrupt_main)
            later.daemon = True
            later.start()
            return
        inner = inner.f_back
    signal.default_int_handler(number, frame)
