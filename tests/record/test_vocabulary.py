"""The tables of events and signals, and the page made from them."""

from __future__ import annotations

from pathlib import Path

from sequencer.record import EVENT_KINDS, FLIGHT_OVER, SIGNALS
from sequencer.record.vocabulary import as_markdown
from sequencer.units import suffix_unit, unit

PAGE = Path(__file__).parents[2] / "docs" / "events.md"


def test_page_is_what_the_tables_say():
    """If it is not: Path("docs/events.md").write_text(as_markdown())."""
    assert PAGE.read_text(encoding="utf-8") == as_markdown()


def test_every_entry_is_on_the_page():
    text = as_markdown()
    for word in (*EVENT_KINDS, *SIGNALS):
        assert f"| `{word}` |" in text


def test_names_of_signals_carry_their_units():
    for name, signal in SIGNALS.items():
        assert suffix_unit(name) == unit(signal.unit), name


def test_sources_and_sentences():
    assert {kind.source for kind in EVENT_KINDS.values()} == {"computer", "world", "scenario"}
    for word, kind in EVENT_KINDS.items():
        assert kind.meaning.endswith("."), word
    assert FLIGHT_OVER.split()[0] in EVENT_KINDS
