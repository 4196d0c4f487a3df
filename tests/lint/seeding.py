"""The demo's flight and pad computer with pieces of their text replaced."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from sequencer.documents import parse_document
from sequencer.lint import Subject, read_subjects
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import resolve_sequence
from sequencer.vehicle import load_vehicle

DEMO = demo_folder()


@cache
def demo() -> Subject:
    """The calm landing's set: both sequences and the vehicle."""
    (subject,) = read_subjects([DEMO / "calm_landing.scenario.toml"])
    return subject


def edited(text: str, *edits: tuple[str, str]) -> str:
    """`text` with each old piece, which must stand there once, replaced by the new one."""
    for old, new in edits:
        assert text.count(old) == 1, f"there are {text.count(old)} of {old!r}"
        text = text.replace(old, new)
    return text


def seeded(folder: Path, file: str, *edits: tuple[str, str]) -> Subject:
    """The demo with edits in "flight", "pad" or "vehicle"; "flight alone": no more is known."""
    clean = demo()
    if file == "vehicle":
        path = folder / "sandpiper.vehicle.toml"
        path.write_text(edited((DEMO / path.name).read_text(), *edits))
        sequences = dict(clean.sequences)
        vehicle = load_vehicle(path)
        return Subject(sequences, clean.documents, vehicle, whole=True, words=clean.words)
    computer, _, alone = file.partition(" ")
    path = DEMO / f"{computer}.sequence.toml"
    document = parse_document(edited(path.read_text(), *edits), path)
    logic = resolve_sequence(document)
    documents = {**clean.documents, path: document}
    if alone:
        return Subject({computer: logic}, documents)
    sequences = {**clean.sequences, computer: logic}
    return Subject(sequences, documents, clean.vehicle, whole=True, words=clean.words)
