"""`drycount fly`: fly scenarios and tell where they fall short."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sequencer.cli.arguments import FilePath, WholeNumber, json_option, seed_option

if TYPE_CHECKING:
    from rich.console import Console

    from sequencer.flight import Result

__all__ = ["command"]


@click.command("fly")
@click.argument("paths", nargs=-1, required=True, metavar="PATH...", type=FilePath())
@click.option("-k", "keyword", metavar="WORD", help="Fly only scenarios whose name holds WORD.")
@click.option(
    "-v",
    "--verbose",
    is_flag=True,
    help="Show every flight's timeline, verdicts, firing circuits and all shortfalls.",
)
@click.option(
    "--coverage",
    is_flag=True,
    help="Show what the scenarios exercised of the sequences, and which to write for the rest.",
)
@json_option
@click.option("--junit", "junit_file", metavar="FILE", help="Write the results as JUnit XML.")
@click.option(
    "--jobs",
    type=WholeNumber(1, 256),
    metavar="N",
    help="Fly N scenarios at a time; the results do not depend on it.",
)
@click.option(
    "--on",
    metavar="TARGET",
    default="model",
    show_default=True,
    help="What executes the sequences.",
)
@click.option(
    "--executor",
    metavar="NAME",
    default="compiled",
    show_default=True,
    help="Which executor the target 'model' uses.",
)
@click.option(
    "--flight",
    type=WholeNumber(1, 10**9),
    metavar="K",
    help="Fly flight K of a campaign of the scenario, with what is dispersed drawn for it.",
)
@seed_option
@click.option(
    "--of",
    "campaign",
    metavar="DIR",
    type=FilePath(),
    help="With --flight: as it was drawn in the campaign that is kept in DIR.",
)
@click.pass_context
def command(
    ctx: click.Context,
    *,
    paths: tuple[Path, ...],
    keyword: str | None,
    verbose: bool,
    coverage: bool,
    json_file: str | None,
    junit_file: str | None,
    jobs: int | None,
    on: str,
    executor: str,
    flight: int | None,
    seed: int | None,
    campaign: Path | None,
) -> None:
    """Fly scenarios (files or folders) and tell where they fall short.

    First comes what fell short: the first wrong event, its time and the margin. Then one line for
    every flight with the requirement that came nearest to breaking, then the total.
    With --coverage follows what the flights exercised; the exit status does not depend on it.
    """
    from sequencer.compiling import lean_numba
    from sequencer.flight import find_scenarios, fly_many
    from sequencer.report.circuits import print_circuits
    from sequencer.report.files import STANDARD_OUTPUT, check_writable, write
    from sequencer.report.json_report import as_json
    from sequencer.report.junit import as_junit
    from sequencer.report.progress import watching
    from sequencer.report.summary import count, not_flown
    from sequencer.report.terminal import console, print_report
    from sequencer.report.timeline import print_timeline

    if json_file == junit_file == STANDARD_OUTPUT:
        raise click.UsageError("only one of --json and --junit can go to standard output", ctx)
    check_writable(json_file)
    check_writable(junit_file)
    shares = None
    if campaign is not None:
        from sequencer.studies.shards import read_design

        if flight is None or seed is not None:
            raise click.UsageError("--of goes with --flight, and has its own seed", ctx)
        design = read_design(campaign)
        seed, shares = design.seed, design.shares(flight)
    with lean_numba(), watching(len(find_scenarios(paths, keyword))) as step:
        results = fly_many(
            paths,
            keyword=keyword,
            jobs=jobs,
            on=on,
            executor=executor,
            flight=flight or 0,
            seed=seed,
            shares=shares,
            watched=coverage,
            progress=step,
            announce=lambda line: click.echo(line, err=True),
        )
    out = console(stderr=STANDARD_OUTPUT in {json_file, junit_file})
    if verbose:
        for result in results:
            print_timeline(result, out)
            print_circuits(result, out)
    if any(result.error is None for result in results):
        print_report(results, out, everything=verbose)
    covered = _covered(results, paths, out, everything=verbose) if coverage else None
    if json_file is not None:
        write(json_file, as_json(results, covered))
    if junit_file is not None:
        write(junit_file, as_junit(results))
    for reason in not_flown(results):
        click.echo(f"drycount: {' '.join(reason.split())}", err=True)
    ctx.exit(count(results).status)


def _covered(
    results: Sequence[Result], paths: Sequence[Path], out: Console, *, everything: bool
) -> dict[str, Any] | None:
    """Print what the flights exercised; the same for JSON, None if there was no flight."""
    from sequencer.report.reach import as_dict, print_reach
    from sequencer.scenario.coverage import coverage, find_cells
    from sequencer.studies.reach import reach
    from sequencer.studies.ruled_out import best_rule

    flown = [result.path for result in results if result.error is None]
    if not flown:
        return None
    found = reach(results, best_rule())
    faults = coverage(flown, find_cells(paths)[0])
    print_reach(found, faults, out, everything=everything)
    return as_dict(found, faults)
