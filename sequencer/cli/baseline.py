"""`drycount baseline`: keep golden timelines of flights, and tell what moved."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sequencer.cli.arguments import FilePath, Tolerance, WholeNumber, json_option
from sequencer.errors import UsageError, nearest

if TYPE_CHECKING:
    from sequencer.flight.result import Result
    from sequencer.studies.baselines import Allowance, Comparison, Fly

__all__ = ["command"]

_OPTIONS: tuple[Callable[[Any], Any], ...] = (
    click.argument("paths", nargs=-1, required=True, metavar="PATH...", type=FilePath()),
    click.option("-k", "keyword", metavar="WORD", help="Only scenarios whose name holds WORD."),
    click.option(
        "--in",
        "folder",
        metavar="DIR",
        type=FilePath(),
        help="Where the timelines are.  [default: a folder 'timelines' beside each scenario]",
    ),
    click.option(
        "--tolerance",
        "time_s",
        metavar="S",
        type=Tolerance(3600),
        help="Do not tell moves up to S seconds.  [default: what the timeline states]",
    ),
    click.option(
        "--margin-tolerance",
        "margin",
        metavar="SHARE",
        type=Tolerance(1),
        help="Do not tell changes up to this share of a margin.  [default: as stated]",
    ),
    click.option(
        "--on",
        metavar="TARGET",
        default="model",
        show_default=True,
        help="What executes the sequences.",
    ),
    click.option("--jobs", type=WholeNumber(1, 256), metavar="N", help="Fly N at a time."),
)


def _flights(function: Callable[..., None]) -> Callable[..., None]:
    """What all three commands are given."""
    for option in reversed(_OPTIONS):
        function = option(function)
    return function


class _Parts(click.Group):
    """A group that knows what was meant."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does it. Raises click.UsageError for an unknown command."""
        if args[0] not in self.commands and not args[0].startswith("-"):
            guess = nearest(args[0], self.commands)
            known = f" (known: {', '.join(self.commands)})"
            hint = f"; did you mean '{guess}'?" if guess else known
            raise click.UsageError(f"no command '{args[0]}'{hint}", ctx)
        return super().resolve_command(ctx, args)


@click.group("baseline", cls=_Parts, no_args_is_help=False)
def command() -> None:
    """Keep golden timelines of flights, and tell what moved.

    A timeline is a small text file for each scenario, to be reviewed in git: its events with their
    times, its margins, its outcome.
    """


@command.command("record", short_help="Fly scenarios that have no timeline yet, and keep theirs.")
@_flights
@click.pass_context
def record(ctx: click.Context, /, *, paths: tuple[Path, ...], **given: Any) -> None:
    """Fly the scenarios (files or folders) that have no timeline yet, and keep theirs.

    A timeline that is there is not touched. The status is 1 where a flight fell short of what its
    scenario expects: nothing is kept of it.
    """
    from sequencer.report.baseline import print_recording
    from sequencer.report.terminal import console
    from sequencer.studies.baselines import kept_for, record_flights

    kept = kept_for(_found(paths, given), given["folder"])
    found = record_flights(kept, _flying(given), _allowance(given))
    print_recording(found, console())
    _tell(found.not_flown)
    ctx.exit(found.status)


@command.command("compare", short_help="Fly scenarios that have a timeline, and tell what moved.")
@_flights
@click.option("--every", is_flag=True, help="A scenario without a timeline counts as moved.")
@click.option("-v", "--verbose", is_flag=True, help="Tell all that moved, every event by itself.")
@json_option
@click.pass_context
def compare(
    ctx: click.Context,
    /,
    *,
    paths: tuple[Path, ...],
    every: bool,
    verbose: bool,
    json_file: str | None,
    **given: Any,
) -> None:
    """Fly the scenarios (files or folders) that have a timeline, and tell what moved.

    The gravest comes first. The status is 0 when nothing moved, 1 when something did.
    """
    from sequencer.report.baseline import as_json, print_comparison
    from sequencer.report.files import STANDARD_OUTPUT, check_writable, write
    from sequencer.report.terminal import console

    check_writable(json_file)
    found = _compared(paths, given, strict=every)
    print_comparison(found, console(stderr=json_file == STANDARD_OUTPUT), everything=verbose)
    if json_file is not None:
        write(json_file, as_json(found))
    _tell(found.not_flown)
    ctx.exit(found.status)


@command.command("accept", short_help="Keep what moved from now on.")
@_flights
@click.option(
    "--only",
    multiple=True,
    metavar="NAME",
    help="Accept only what moved of this event, this requirement, or 'outcome'.",
)
@click.option("--all", "everyone", is_flag=True, help="Accept every scenario in the folders.")
@click.pass_context
def accept(
    ctx: click.Context,
    /,
    *,
    paths: tuple[Path, ...],
    only: tuple[str, ...],
    everyone: bool,
    **given: Any,
) -> None:
    """Keep what moved from now on, in the timelines of the scenarios that are named.

    Scenarios are named one by one; those of a folder only with --all.
    """
    from sequencer.report.baseline import print_acceptance, would_accept
    from sequencer.report.terminal import console
    from sequencer.studies.baselines import accept as keep

    found = _compared(paths, given)
    named = {path for path in paths if not path.is_dir()}
    for each in found.unrecorded:
        if each.scenario in named:
            raise UsageError(
                f"{each.scenario}: has no timeline; 'drycount baseline record' makes one"
            )
    if not everyone and any(path.is_dir() for path in paths):
        raise UsageError(
            "accept: scenarios are named one by one, or --all is given; "
            f"it would accept: {would_accept(found)}"
        )
    print_acceptance(found, keep(found, only), console())
    _tell(found.not_flown)
    ctx.exit(2 if found.not_flown else int(bool(found.short)))


def _found(paths: Sequence[Path], given: dict[str, Any]) -> list[Path]:
    from sequencer.flight import find_scenarios

    return find_scenarios(paths, given["keyword"])


def _compared(paths: Sequence[Path], given: dict[str, Any], *, strict: bool = False) -> Comparison:
    from sequencer.studies.baselines import compare_flights, kept_for, without_scenario

    folder = given["folder"]
    orphans = without_scenario(paths, folder) if given["keyword"] is None else []
    return compare_flights(
        kept_for(_found(paths, given), folder),
        _flying(given),
        _allowance(given),
        orphans=orphans,
        strict=strict,
    )


def _allowance(given: dict[str, Any]) -> Allowance:
    from sequencer.flight.target import check_target
    from sequencer.studies.baselines import Allowance

    check_target(given["on"], "compiled")
    return Allowance(given["time_s"], given["margin"])


def _flying(given: dict[str, Any]) -> Fly:
    from sequencer.compiling import lean_numba
    from sequencer.flight import fly_many
    from sequencer.report.progress import watching

    def fly(files: Sequence[Path]) -> Sequence[Result]:
        with lean_numba(), watching(len(files)) as step:
            return fly_many(
                files,
                jobs=given["jobs"],
                on=given["on"],
                progress=step,
                announce=lambda line: click.echo(line, err=True),
            )

    return fly


def _tell(results: Sequence[Result]) -> None:
    """Why scenarios could not be flown, on standard error."""
    from sequencer.report.summary import not_flown

    for reason in not_flown(results):
        click.echo(f"drycount: {' '.join(reason.split())}", err=True)
