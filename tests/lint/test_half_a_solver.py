"""A solver that is there and cannot be loaded is as good as none."""

from __future__ import annotations

import sys

import pytest

from sequencer.cli.main import main
from sequencer.lint.solving import has_solver


@pytest.fixture
def broken_z3(tmp_path, monkeypatch):
    """A z3 that is found and fails as it is loaded."""
    (tmp_path / "broken" / "z3").mkdir(parents=True)
    (tmp_path / "broken" / "z3" / "__init__.py").write_text("raise ImportError('no library')\n")
    monkeypatch.syspath_prepend(tmp_path / "broken")
    for name in [name for name in sys.modules if name.partition(".")[0] == "z3"]:
        monkeypatch.delitem(sys.modules, name)
    has_solver.cache_clear()
    yield
    has_solver.cache_clear()


def test_lint_says_that_it_did_not_look(broken_z3, small, capsys):
    assert main(["lint", str(small())]) == 0
    captured = capsys.readouterr()
    assert "z3 is not installed (the extra 'solve' has it)" in captured.out
    assert captured.err == ""
    del broken_z3
