"""`drycount mutants`: change a sequence in small ways, and see whether any scenario notices."""

from __future__ import annotations

from pathlib import Path

import click

from sequencer.cli.arguments import FilePath, WholeNumber, json_option

__all__ = ["command"]


@click.command("mutants")
@click.argument("sequence", metavar="SEQUENCE", type=FilePath())
@click.argument("paths", nargs=-1, metavar="[PATH]...", type=FilePath())
@click.option(
    "--sample",
    "wanted",
    type=WholeNumber(1, 10**6),
    metavar="N",
    help="Only N mutants, drawn by chance.",
)
@click.option(
    "--seed", type=WholeNumber(0, 2**63 - 1), metavar="S", help="Which they are; default: 1."
)
@click.option(
    "--out",
    "folder",
    metavar="DIR",
    type=FilePath(),
    help="Keep the results in DIR, and go on with what is there; default: the user's cache.",
)
@click.option("--jobs", type=WholeNumber(1, 256), metavar="N", help="Worker processes.")
@click.option(
    "--alone",
    is_flag=True,
    help="Look for a second scenario that notices each, and tell what one alone notices.",
)
@click.option(
    "--least",
    type=WholeNumber(0, 100),
    metavar="PERCENT",
    help="Status 1 if less of the structural mutants are noticed.",
)
@click.option("-v", "--verbose", is_flag=True, help="Show who noticed each of the others, too.")
@json_option
@click.pass_context
def command(
    ctx: click.Context,
    *,
    sequence: Path,
    paths: tuple[Path, ...],
    wanted: int | None,
    seed: int | None,
    folder: Path | None,
    jobs: int | None,
    alone: bool,
    least: int | None,
    verbose: bool,
    json_file: str | None,
) -> None:
    """Change SEQUENCE in small ways, one at a time, and see whether any scenario notices.

    Each mutant is flown through the scenarios (files or folders; default: those beside SEQUENCE)
    that fly it, until one is not as expected. What survives is told as a sentence: nothing would
    notice if somebody made that mistake. A second run flies only what has changed.
    """
    from sequencer.report.files import STANDARD_OUTPUT, check_writable, write
    from sequencer.report.mutants import as_json, print_mutants
    from sequencer.report.progress import counting_up
    from sequencer.report.terminal import console
    from sequencer.studies.mutants import fly_mutants

    if seed is not None and wanted is None:
        raise click.UsageError("--seed goes with --sample", ctx)
    check_writable(json_file)
    with counting_up("flights and mutants") as step:
        summary = fly_mutants(
            sequence,
            paths,
            draw=None if wanted is None else (wanted, 1 if seed is None else seed),
            folder=folder,
            jobs=jobs,
            alone=alone,
            progress=step,
            announce=lambda line: click.echo(line, err=True),
        )
    print_mutants(summary, console(stderr=json_file == STANDARD_OUTPUT), everything=verbose)
    if json_file is not None:
        write(json_file, as_json(summary))
    share = summary.structural.share
    ctx.exit(1 if least is not None and share * 100.0 < least else 0)
