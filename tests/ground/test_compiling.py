"""Compiled code is kept between runs, and never older than its sources."""

import os
import re
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

import sequencer
from sequencer import compiling
from sequencer.world import jit

LEAF = """
from kit import compiled

@compiled()
def leaf(x):
    return x + FACTOR
"""
TOP = """
import numba
from kit import compiled
from leaf import leaf

@compiled(numba.float64(numba.float64))
def top(x):
    return 2.0 * leaf(x)
"""
KIT = """
from pathlib import Path
from sequencer.compiling import Kernels

here = Path(__file__).parent
KERNEL = Kernels("mini", [here / "kit.py", here / "leaf.py", here / "top.py"])
compiled = KERNEL.compiled
"""
MAIN = """
import kit

def load():
    import top

kit.KERNEL.prepare(load, print)
import top
print("answer", top.top(3.0))
print("folder", kit.KERNEL.folder)
"""


@pytest.fixture
def kernel(tmp_path):
    """A kernel of two modules; call it with a factor for the leaf to run it in its own process."""
    home = tmp_path / "kernel"
    home.mkdir()
    for name, text in {"top": TOP, "kit": KIT, "main": MAIN}.items():
        (home / f"{name}.py").write_text(textwrap.dedent(text))

    def start(factor):
        (home / "leaf.py").write_text(textwrap.dedent(LEAF).replace("FACTOR", str(factor)))
        environment = {
            **os.environ,
            "XDG_CACHE_HOME": str(tmp_path / "cache"),
            "PYTHONPATH": str(Path(sequencer.__file__).parents[1]),
        }
        environment.pop("NUMBA_CACHE_DIR", None)
        return subprocess.Popen(
            [sys.executable, str(home / "main.py")],
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    return start


def ended(process):
    """(announced, answer, folder) of a finished process."""
    printed, trouble = process.communicate(timeout=120)
    assert process.returncode == 0, trouble
    answer = float(re.search(r"answer (\S+)", printed)[1])
    return (
        "compiling the mini kernel" in printed,
        answer,
        Path(re.search(r"folder (.+)", printed)[1]),
    )


def test_editing_a_callee_gives_another_folder_and_the_new_result(kernel):
    said, answer, folder = ended(kernel(1.0))
    assert (said, answer) == (True, 8.0)
    assert any(folder.rglob("*.nbi"))
    assert ended(kernel(1.0)) == (False, 8.0, folder)
    said, answer, other = ended(kernel(5.0))
    assert (said, answer) == (True, 16.0)
    assert other != folder
    assert other.parent == folder.parent


def test_of_two_that_start_together_one_compiles_and_the_other_waits(kernel):
    together = [kernel(2.0), kernel(2.0)]
    results = [ended(process) for process in together]
    assert [answer for _, answer, _ in results] == [10.0, 10.0]
    assert sorted(said for said, _, _ in results) == [False, True]


def test_the_cache_lies_where_the_environment_says(monkeypatch, tmp_path):
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "numba"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    assert compiling.cache_parent() == tmp_path / "numba"
    monkeypatch.delenv("NUMBA_CACHE_DIR")
    assert compiling.cache_parent() == tmp_path / "xdg" / "drycount"
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    assert compiling.cache_parent() == tmp_path / "home" / ".cache" / "drycount"


def test_a_cache_that_cannot_be_made_moves_to_the_temporary_files(monkeypatch, tmp_path):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "file" / "below"))
    monkeypatch.setattr(compiling.tempfile, "gettempdir", lambda: str(tmp_path))
    assert compiling.cache_parent() == tmp_path / f"drycount-{os.getuid()}"
    assert compiling.cache_parent().is_dir()


def test_old_folders_are_removed_and_others_left_alone(monkeypatch, tmp_path):
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    for age in range(1, 8):
        folder = tmp_path / f"mini-{age}"
        folder.mkdir()
        os.utime(folder, (1e9 - age, 1e9 - age))
    (tmp_path / "maxi-1").mkdir()
    source = tmp_path / "source.py"
    source.write_text("x = 1\n")
    folder = compiling.Kernels("mini", [source]).folder
    kept = {entry.name for entry in tmp_path.iterdir() if entry.is_dir()}
    assert kept == {"maxi-1", folder.name, "mini-1", "mini-2", "mini-3"}


def test_every_compiled_module_of_the_flight_kernel_is_among_its_sources():
    here = Path(jit.__file__).parent
    users = {
        path
        for path in here.glob("*.py")
        if re.search(
            r"^from sequencer\.world\.jit import .*\bcompiled\b", path.read_text(), re.MULTILINE
        )
    }
    assert len(users) > 10
    named = set(jit.SOURCES)
    assert users <= named
    assert here / "layout.py" in named
    assert all(path.exists() for path in named)


def test_importing_the_world_does_not_import_numba():
    code = "import sys, sequencer.world, sequencer.world.layout; sys.exit('numba' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
