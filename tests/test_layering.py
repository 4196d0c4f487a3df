"""Imports run one way, and importing the package costs nothing."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent


def test_the_arrows_of_the_house_hold():
    """The contracts stand in pyproject.toml; `lint-imports` reads every import of the packages."""
    done = subprocess.run(
        [Path(sys.executable).parent / "lint-imports", "--no-cache", "--config", "pyproject.toml"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout
    assert " 0 broken" in done.stdout


def test_importing_the_package_loads_nothing_else():
    script = "import sys; import sequencer; print(*sorted(m for m in sys.modules if '.' in m))"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert not [name for name in done.stdout.split() if name.startswith(("sequencer.", "numpy"))]
