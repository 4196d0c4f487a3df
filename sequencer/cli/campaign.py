"""`drycount campaign`: fly a scenario many times, and tell what that shows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from sequencer.cli.arguments import FilePath, Share, WholeNumber, json_option, seed_option

if TYPE_CHECKING:
    from sequencer.scenario import Scenario
    from sequencer.studies.sampling import Design, Sampling

__all__ = ["command"]


@click.command("campaign")
@click.argument("scenario", metavar="SCENARIO", type=FilePath())
@click.option(
    "--flights",
    type=WholeNumber(1, 10**8),
    metavar="N",
    default=1000,
    show_default=True,
    help="How many.",
)
@seed_option
@click.option(
    "--sampling",
    type=click.Choice(["plain", "latin", "sobol"]),
    default="plain",
    show_default=True,
    help="How dispersed quantities are drawn.",
)
@click.option(
    "--replicates",
    type=WholeNumber(1, 10**6),
    metavar="R",
    help="Independent repeats of a design that is not plain; default: 16.",
)
@click.option(
    "--out",
    "folder",
    metavar="DIR",
    type=FilePath(),
    help="Keep the flights in DIR (Parquet), and go on with what is there.",
)
@click.option(
    "--until-width",
    metavar="W",
    type=Share(),
    help="Stop early once no interval of a probability is wider than W (such as 0.02).",
)
@click.option("--jobs", type=WholeNumber(1, 256), metavar="N", help="Worker processes.")
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Fly on the workers of this Dask scheduler, such as tcp://127.0.0.1:8786.",
)
@json_option
def command(
    *,
    scenario: Path,
    flights: int,
    seed: int | None,
    sampling: str,
    replicates: int | None,
    folder: Path | None,
    until_width: float | None,
    jobs: int | None,
    scheduler: str | None,
    json_file: str | None,
) -> None:
    """Fly SCENARIO many times, with what it disperses drawn anew for each flight.

    Tells how often each outcome and each broken requirement come, with intervals of their
    probabilities, the margins and what drives them, and the worst flights by their numbers: `fly
    SCENARIO --flight K --seed S` flies one of them again. The status is 0 whatever the flights do.
    """
    from sequencer.report.campaign import as_json, print_campaign
    from sequencer.report.files import STANDARD_OUTPUT, check_writable, write
    from sequencer.report.progress import counting
    from sequencer.report.terminal import console
    from sequencer.studies.campaign import fly_campaign
    from sequencer.studies.sampling import REPLICATES, Design

    check_writable(json_file)
    asked = replicates or (1 if sampling == "plain" else REPLICATES)

    def design(read: Scenario) -> Design:
        chosen = int(read.params["seed"]) if seed is None else seed
        dimensions = len(read.dispersions.each)
        return Design(flights, chosen, dimensions, cast("Sampling", sampling), asked)

    with counting(flights) as step:
        summary = fly_campaign(
            scenario,
            design,
            folder=folder,
            until_width=until_width,
            jobs=jobs,
            scheduler=scheduler,
            progress=step,
            announce=lambda line: click.echo(line, err=True),
        )
    print_campaign(summary, console(stderr=json_file == STANDARD_OUTPUT))
    if json_file is not None:
        write(json_file, as_json(summary))
