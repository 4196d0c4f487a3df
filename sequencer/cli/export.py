"""`drycount export`: a sequence for the firmware."""

from __future__ import annotations

from pathlib import Path

import click

from sequencer.cli.arguments import FilePath

__all__ = ["command"]


@click.command("export")
@click.argument("sequence", type=FilePath())
@click.option(
    "--c",
    "folder",
    type=FilePath(),
    required=True,
    metavar="DIR",
    help="Write NAME_tables.h and NAME_tables.c there.",
)
@click.option("--kit", is_flag=True, help="Copy the C sources that execute the tables there too.")
@click.option(
    "--bench", is_flag=True, help="Copy those of the link to a host into DIR/bench (docs/link.md)."
)
def command(sequence: Path, folder: Path, *, kit: bool, bench: bool) -> None:
    """Write a SEQUENCE file as constant tables in C99, for the firmware (docs/kit.md)."""
    from hil.export import export_c
    from sequencer.sequence import load_sequence

    for path in export_c(load_sequence(sequence), folder, kit=kit, bench=bench):
        click.echo(path)
