"""`drycount new`: a project of the user's own."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from sequencer.cli.arguments import FilePath

__all__ = ["command"]


@click.command("new")
@click.argument("folder", metavar="DIR", type=FilePath())
def command(folder: Path) -> None:
    """Start a project of your own in the empty or new folder DIR.

    It holds a vehicle, its sequences, requirements and a few scenarios, and flies at once; change
    it into your rocket one file at a time.
    """
    from sequencer.scenario.starter import start_project

    for name in start_project(folder):
        click.echo(f"wrote {name}")
    click.echo(f"Now: drycount fly {shlex.quote(click.format_filename(folder))}")
