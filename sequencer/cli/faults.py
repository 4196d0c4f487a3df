"""`drycount faults`: which faults the scenarios cover in which phase, and what is missing."""

from __future__ import annotations

from pathlib import Path

import click

from sequencer.cli.arguments import FilePath

__all__ = ["command"]


@click.command("faults")
@click.argument("paths", nargs=-1, required=True, metavar="PATH...", type=FilePath())
@click.option(
    "--json", "json_file", metavar="FILE", help="Write the table as JSON ('-': only that)."
)
@click.option(
    "--markdown",
    "markdown_file",
    metavar="FILE",
    help="Write the table as Markdown ('-': only that).",
)
@click.pass_context
def command(
    ctx: click.Context,
    *,
    paths: tuple[Path, ...],
    json_file: str | None,
    markdown_file: str | None,
) -> None:
    """Show which faults the scenarios (files or folders) cover in which phase of the flight.

    Cells that matter are named in *.cells.toml files, among PATH or in the folders among them;
    the status is 1 when one of them is empty.
    """
    from sequencer.flight import find_scenarios
    from sequencer.report.coverage import as_json, as_markdown, print_coverage
    from sequencer.report.files import STANDARD_OUTPUT, check_writable, write
    from sequencer.report.terminal import console
    from sequencer.scenario.coverage import coverage, find_cells

    if json_file == markdown_file == STANDARD_OUTPUT:
        raise click.UsageError("only one of --json and --markdown can go to standard output", ctx)
    check_writable(json_file)
    check_writable(markdown_file)
    cells, others = find_cells(paths)
    found = coverage(find_scenarios(others), cells)
    print_coverage(found, console(stderr=STANDARD_OUTPUT in {json_file, markdown_file}))
    if json_file is not None:
        write(json_file, as_json(found))
    if markdown_file is not None:
        write(markdown_file, as_markdown(found))
    ctx.exit(1 if found.missing else 0)
