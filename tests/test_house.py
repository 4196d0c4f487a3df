"""The house's own rules: pinned versions, no silent skip, examples that run."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SKIPPING = """
import pytest

def test_tool():
    pytest.importorskip("a_tool_that_nobody_has")

@pytest.mark.xfail
def test_known():
    assert False
"""


def project():
    return tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]


def test_every_dependency_is_pinned():
    pins = {
        line.partition("==")[0].lower().replace("_", "-")
        for line in (ROOT / "constraints.txt").read_text().splitlines()
    }
    wanted = list(project()["dependencies"])
    for extra in project()["optional-dependencies"].values():
        wanted += extra
    names = {re.match(r"[\w-]+", line)[0].lower().replace("_", "-") for line in wanted}
    assert not names - pins


def test_pins_name_no_place():
    assert re.fullmatch(r"([\w.-]+==[\w.+!-]+\n)+", (ROOT / "constraints.txt").read_text())


@pytest.mark.parametrize(("strict", "failed"), [("0", 0), ("1", 1)])
def test_a_skip_fails_where_none_is_allowed(strict, failed, tmp_path):
    shutil.copy(ROOT / "tests/conftest.py", tmp_path)
    (tmp_path / "test_it.py").write_text(SKIPPING)
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "--rootdir", tmp_path,
         "-c", os.devnull, tmp_path],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "DRYCOUNT_NO_SKIP": strict},
    )  # fmt: skip
    assert done.returncode == failed, done.stdout
    assert ("not allowed to skip here" in done.stdout) is bool(failed)
    assert "1 xfailed" in done.stdout


def test_the_example_in_the_readme_runs(monkeypatch):
    text = (ROOT / "README.md").read_text()
    (example,) = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    monkeypatch.chdir(ROOT)
    found = {}
    exec(compile(example, "README.md", "exec"), found)  # noqa: S102 - our own text
    assert found["record"].events
