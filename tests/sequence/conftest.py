"""The one good sequence that the tests of this package take apart."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from sequencer.documents import parse_document
from sequencer.errors import InputError
from sequencer.sequence import Sequence, load_sequence, resolve_sequence

GOOD = Path(__file__).parent / "data" / "good.sequence.toml"


@pytest.fixture(scope="session")
def good_text() -> str:
    return GOOD.read_text()


@pytest.fixture(scope="session")
def good() -> Sequence:
    return load_sequence(GOOD)


@pytest.fixture
def edited(good_text) -> Callable[..., Sequence]:
    """The good sequence with pieces of its text replaced: edited((old, new), ...)."""

    def load(*edits: tuple[str, str]) -> Sequence:
        text = good_text
        for old, new in edits:
            assert text.count(old) == 1, f"the good file has {text.count(old)} of {old!r}"
            text = text.replace(old, new)
        return resolve_sequence(parse_document(text, "good.sequence.toml"))

    return load


def line_of(text: str, piece: str) -> int:
    """Line on which `piece` begins; "piece+N" means N lines further down."""
    piece, _, further = piece.partition("+")
    assert piece in text, f"{piece!r} is not in the edited file"
    return text[: text.index(piece)].count("\n") + 1 + int(further or 0)


@pytest.fixture
def refused_at(tmp_path, good_text) -> Callable[[str, str, str, str, str | None], None]:
    """Asserts that the good file with one piece replaced is refused in one line at its place."""

    def check(old: str, new: str, at: str, what: str, near: str | None) -> None:
        assert good_text.count(old) == 1, f"the good file has {good_text.count(old)} of {old!r}"
        text = good_text.replace(old, new)
        path = tmp_path / "bad.sequence.toml"
        path.write_text(text)
        with pytest.raises(InputError) as caught:
            load_sequence(path)
        error = caught.value
        assert what in error.what
        assert error.line == line_of(text, at)
        assert error.nearest == near
        message = str(error)
        assert message.startswith(f"{path}:{error.line}: ")
        assert "\n" not in message
        assert (f"did you mean '{near}'?" in message) == (near is not None)

    return check
