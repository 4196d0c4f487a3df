"""`drycount draw`: the state diagram of a sequence."""

from __future__ import annotations

from pathlib import Path

import click

from sequencer.cli.arguments import FilePath

__all__ = ["command"]


@click.command("draw")
@click.argument("sequence", type=FilePath())
@click.option(
    "--format",
    "form",
    type=click.Choice(["mermaid", "dot", "svg"]),
    default="mermaid",
    show_default=True,
    help="Form of the diagram; svg needs the extra 'draw'.",
)
@click.option(
    "-o",
    "--output",
    default="-",
    metavar="FILE",
    help="Where to write it.  [default: standard output]",
)
def command(sequence: Path, form: str, output: str) -> None:
    """Draw the state diagram of a SEQUENCE file."""
    from sequencer.report.diagram import dot, mermaid, svg
    from sequencer.report.files import check_writable, write
    from sequencer.sequence import load_sequence

    check_writable(output)
    make = {"mermaid": mermaid, "dot": dot, "svg": svg}[form]
    write(output, make(load_sequence(sequence)))
