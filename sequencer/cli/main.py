"""The command line: finds a command, and turns whatever goes wrong into one line and a status.

    0    everything as expected
    1    something fell short of what was expected
    2    bad input or usage
    3    our own fault
    130  stopped from the keyboard
    141  whoever read our output stopped reading

Commands live in modules of their own, which are imported only when they are called: `--help`
loads click and nothing else.
"""

from __future__ import annotations

import io
import os
import re
import sys
import traceback
from collections.abc import Mapping, Sequence
from importlib import import_module

import click

from sequencer import __version__
from sequencer.cli.stopping import stoppable
from sequencer.errors import InputError, UsageError, nearest, printable

__all__ = ["COMMANDS", "cli", "main"]

#: command -> what it does; module sequencer.cli.NAME holds it as attribute `command`
COMMANDS: Mapping[str, str] = {
    "fly": "Fly scenarios and tell where they fall short, with margins.",
    "campaign": "Fly a scenario many times and tell probabilities and margins.",
    "lint": "Look through sequences for what cannot be right, without flying.",
    "baseline": "Keep golden timelines of flights, and tell what moved.",
    "mutants": "Change a sequence in small ways and see which scenario notices.",
    "faults": "Show which faults the scenarios cover, and what is missing.",
    "new": "Start a project of your own that flies at once.",
    "draw": "Draw the state diagram of a sequence.",
    "export": "Write a sequence as constant tables in C, for the firmware.",
}


class _Commands(click.Group):
    """A group that imports a command only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order in which a user meets them."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of this name. Raises click.UsageError for an unknown one."""
        if cmd_name not in COMMANDS:
            guess = nearest(cmd_name, COMMANDS)
            hint = f"; did you mean '{guess}'?" if guess else f" (known: {', '.join(COMMANDS)})"
            raise click.UsageError(f"no command '{cmd_name}'{hint}", ctx)
        command = import_module(f"sequencer.cli.{cmd_name}").command
        assert isinstance(command, click.Command)  # noqa: S101 - a promise among our own modules
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list in `--help`, from the table: no command is imported for it."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.command(
    cls=_Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Status: 0 as expected, 1 something fell short, 2 bad input or usage.",
)
@click.version_option(__version__, message="drycount %(version)s")
@click.option(
    "--traceback",
    is_flag=True,
    envvar="DRYCOUNT_TRACEBACK",
    help="After a fault of drycount itself, show where in the program it happened.",
)
def cli(traceback: bool) -> None:
    """Prove the flight logic of a model rocket on the ground, before the firmware flies."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command line and return its exit status (see the head of this module).

    arguments   without the program's name; default: those of the process
    """
    if sys.stderr is None:  # closed by whoever called us: there is nobody to tell anything
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115, PTH123 - until the end
    if sys.stdout is None:
        return _say("standard output is closed", 2)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # a name or a sign that the terminal cannot show must not end the report
            stream.reconfigure(errors="backslashreplace")
    args = list(sys.argv[1:] if arguments is None else arguments)
    if not args:
        with cli.make_context("drycount", [], resilient_parsing=True) as context:
            click.echo(cli.get_help(context), err=True)
        return 2
    try:
        with stoppable():
            status = _run(args)
        sys.stdout.flush()
    except BrokenPipeError:
        # nobody reads any more; keep the interpreter from complaining when it flushes at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return 141
    except OSError as error:
        return _say(_surroundings(error), 2)
    return status


def _run(args: list[str]) -> int:
    context: click.Context | None = None
    try:
        with cli.make_context("drycount", args) as context:
            cli.invoke(context)
    except click.exceptions.Exit as done:
        return done.exit_code
    except click.ClickException as error:
        return _say(_usage(error), 2)
    except (InputError, UsageError) as error:
        return _say(str(error), error.exit_status)
    except (KeyboardInterrupt, EOFError, click.Abort):
        return _say("stopped", 130)
    except OSError:
        raise
    except Exception as error:  # noqa: BLE001 - the last line of defence
        wants = context is not None and bool(context.params["traceback"])
        if wants:
            traceback.print_exc()
        hint = "" if wants else "; run it again with DRYCOUNT_TRACEBACK=1 to see where"
        return _say(f"a fault of drycount itself ({type(error).__name__}: {error}){hint}", 3)
    return 0


def _usage(error: click.ClickException) -> str:
    """Click's complaint as one line in our words, with the nearest valid option."""
    context = error.ctx if isinstance(error, click.UsageError) else None
    path = context.command_path if context is not None else "drycount"
    command = path.partition(" ")[2]
    if isinstance(error, click.NoSuchOption):
        known = [
            name
            for parameter in (context.command.get_params(context) if context is not None else [])
            for name in parameter.opts
            if isinstance(parameter, click.Option)
        ]
        # one letter looks like any other
        long = {name.removeprefix("--"): name for name in known if name.startswith("--")}
        asked = error.option_name
        guess = nearest(asked.removeprefix("--"), long) if asked.startswith("--") else None
        hint = f"did you mean '{long[guess]}'?" if guess else f"try '{path} --help'"
        text = f"no such option '{asked}'; {hint}"
    else:
        text = error.format_message().rstrip(".")
        text = text[:1].lower() + text[1:]
        text = re.sub(r"got unexpected extra arguments? \((.*)\)", r"too many arguments: \1", text)
        if isinstance(error, click.MissingParameter):
            text += f"; try '{path} --help'"
    return f"{command}: {text}" if command else text


def _surroundings(error: OSError) -> str:
    """What the machine refused, on which file."""
    what = (error.strerror or str(error)).lower()
    return f"{error.filename}: {what}" if error.filename else f"cannot write the output: {what}"


def _say(text: str, status: int) -> int:
    """One line on standard error."""
    click.echo(f"drycount: {printable(' '.join(text.splitlines()))}", err=True)
    return status
