"""What a command hides from numba is there again afterwards."""

from __future__ import annotations

import importlib
import subprocess
import sys

import pytest

from sequencer.compiling import lean_numba


def test_hidden_while_it_lasts_and_back_afterwards() -> None:
    script = (
        "import importlib, sys\n"
        "from sequencer.compiling import lean_numba\n"
        "with lean_numba():\n"
        "    try:\n"
        "        importlib.import_module('scipy.linalg')\n"
        "    except ImportError:\n"
        "        print('hidden')\n"
        "importlib.import_module('scipy.linalg')\n"
        "print('scipy.linalg' in sys.modules)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], check=True, capture_output=True, text=True
    )
    assert done.stdout.split() == ["hidden", "True"]


def test_what_is_loaded_already_stays() -> None:
    loaded = importlib.import_module("scipy.linalg")
    with lean_numba():
        assert sys.modules["scipy.linalg"] is loaded
    with pytest.raises(ZeroDivisionError), lean_numba():
        _ = 1 / 0
    assert sys.modules["scipy.linalg"] is loaded
