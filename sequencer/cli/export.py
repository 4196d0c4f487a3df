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
@click.option(
    "--vehicle",
    type=FilePath(),
    metavar="FILE",
    help="Build it for the wiring of this vehicle: a board then tells it, and refuses another.",
)
def command(sequence: Path, folder: Path, *, kit: bool, bench: bool, vehicle: Path | None) -> None:
    """Write a SEQUENCE file as constant tables in C99, for the firmware (docs/kit.md)."""
    from hil.export import export_c
    from hil.wiring import wiring_of
    from sequencer.sequence import load_sequence
    from sequencer.vehicle import load_vehicle

    logic = load_sequence(sequence)
    wiring = wiring_of(logic, load_vehicle(vehicle)) if vehicle is not None else None
    for path in export_c(logic, folder, kit=kit, bench=bench, wiring=wiring):
        click.echo(path)
