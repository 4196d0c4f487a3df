"""`drycount lint`: look through sequences for what cannot be right, without flying."""

from __future__ import annotations

from pathlib import Path

import click

from sequencer.cli.arguments import FilePath, json_option

__all__ = ["command"]


@click.command("lint")
@click.argument("paths", nargs=-1, metavar="PATH...", type=FilePath())
@click.option(
    "--rules", is_flag=True, help="List the rules with what they find, and look at nothing."
)
@json_option
@click.option(
    "--sarif",
    "sarif_file",
    metavar="FILE",
    help="Write what is found as SARIF 2.1.0 ('-': only that).",
)
@click.pass_context
def command(
    ctx: click.Context,
    *,
    paths: tuple[Path, ...],
    rules: bool,
    json_file: str | None,
    sarif_file: str | None,
) -> None:
    """Look through sequences for what cannot be right, without flying.

    PATH is sequences that fly together (with their vehicle, if it is to be looked at too), a
    vehicle, a scenario, or a folder of scenarios. The status is 1 when anything is found that no
    [[accepted]] table of its sequence gives a reason for.
    """
    from sequencer.lint import RULES, lint, read_subjects
    from sequencer.report.files import STANDARD_OUTPUT, check_writable, write
    from sequencer.report.lint import print_findings, print_rules
    from sequencer.report.lint_files import as_json, as_sarif
    from sequencer.report.terminal import console

    if rules:
        print_rules(RULES.values(), console())
        return
    if not paths:
        raise click.UsageError("name a sequence, a vehicle, a scenario or a folder", ctx)
    if json_file == sarif_file == STANDARD_OUTPUT:
        raise click.UsageError("only one of --json and --sarif can go to standard output", ctx)
    check_writable(json_file)
    check_writable(sarif_file)
    report = lint(read_subjects(paths))
    print_findings(report, console(stderr=STANDARD_OUTPUT in {json_file, sarif_file}))
    if json_file is not None:
        write(json_file, as_json(report))
    if sarif_file is not None:
        write(sarif_file, as_sarif(report))
    ctx.exit(1 if report.open else 0)
