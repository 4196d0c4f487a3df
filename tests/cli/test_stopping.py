"""Ctrl-C: at once, but never from inside code whose exceptions are swallowed."""

from __future__ import annotations

import signal
import time
import types

import pytest

from sequencer.cli.stopping import stoppable


def inside(name, action):
    """Call `action` from a function of a module called `name`."""
    module = types.ModuleType(name)
    exec("def call(action):\n    return action()\n", module.__dict__)  # noqa: S102 - our own text
    return module.call(action)


def test_it_stops_at_once():
    with pytest.raises(KeyboardInterrupt), stoppable():
        signal.raise_signal(signal.SIGINT)


def test_inside_a_loader_it_waits_until_that_is_done():
    done = []

    def load():
        signal.raise_signal(signal.SIGINT)
        done.append("loaded")

    def work():
        inside("llvmlite.binding.somewhere", load)
        for _ in range(1000):
            time.sleep(0.01)

    with pytest.raises(KeyboardInterrupt), stoppable():
        work()
    assert done == ["loaded"]


def test_afterwards_ctrl_c_means_what_it_meant():
    before = signal.getsignal(signal.SIGINT)
    with stoppable():
        assert signal.getsignal(signal.SIGINT) is not before
    assert signal.getsignal(signal.SIGINT) is before


def test_a_meaning_that_somebody_else_gave_it_is_left_alone():
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with stoppable():
            assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before)
