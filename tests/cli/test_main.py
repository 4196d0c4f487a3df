from __future__ import annotations

import os
import subprocess
import sys

import click
import pytest

from sequencer import __version__
from sequencer.cli import main as cli_main
from sequencer.cli.main import COMMANDS, main
from sequencer.errors import InputError, InternalError


def stderr_of(capsys):
    captured = capsys.readouterr()
    assert captured.out == ""
    return captured.err


def run(*arguments, **more):
    return subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys; from sequencer.cli.main import main; sys.exit(main())",
            *arguments,
        ],
        capture_output=True,
        text=True,
        check=False,
        **more,
    )


@pytest.fixture
def broken_command(monkeypatch):
    """Make `drycount fly` do something of the test's own."""

    def install(action):
        @click.command("fly")
        @click.option("--jobs", type=click.IntRange(1))
        @click.argument("path")
        def command(**_):
            action()

        def import_module(name):
            assert name == "sequencer.cli.fly"
            return type("module", (), {"command": command})

        monkeypatch.setattr(cli_main, "import_module", import_module)

    return install


def test_version(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"drycount {__version__}\n"


def test_help_names_every_command(capsys):
    assert main(["--help"]) == 0
    text = capsys.readouterr().out
    for name, about in COMMANDS.items():
        assert f"  {name}" in text
        assert about in text


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(name, capsys):
    assert main([name, "--help"]) == 0
    assert capsys.readouterr().out.startswith(f"Usage: drycount {name}")


def test_help_loads_nothing_heavy():
    """The budget for --help is a list of modules, not a time: none of these may be imported."""
    script = (
        "import sys\n"
        "from sequencer.cli.main import main\n"
        "status = main(['--help']) or main(['fly', '--help'])\n"
        "heavy = {'numpy', 'numba', 'pydantic', 'rich', 'scipy', 'transitions', 'tree_sitter'}\n"
        "heavy |= {'z3'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)\n"
        "sys.exit(status)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "[]\n")


def test_no_command_shows_the_help_but_is_no_success(capsys):
    assert main([]) == 2
    assert "Commands:" in stderr_of(capsys)


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["fli"], "no command 'fli'; did you mean 'fly'?"),
        (["xyzzy"], f"no command 'xyzzy' (known: {', '.join(COMMANDS)})"),
        (["--verson"], "no such option '--verson'; did you mean '--version'?"),
        (["fly", "--jbos", "2", "x"], "fly: no such option '--jbos'; did you mean '--jobs'?"),
        (["fly", "-q", "x"], "fly: no such option '-q'; try 'drycount fly --help'"),
        (["fly"], "fly: missing argument 'PATH...'; try 'drycount fly --help'"),
        (["fly", "x", "--jobs", "two"],
         "fly: invalid value for '--jobs': 'two' is not a whole number from 1 to 256"),
        (["fly", "x", "--jobs", "0"],
         "fly: invalid value for '--jobs': '0' is not a whole number from 1 to 256"),
        (["fly", "x", "--json"], "option '--json' requires an argument"),
        (["fly", "x", "--format", "png"],
         "fly: no such option '--format'; try 'drycount fly --help'"),
        (["fly", ""], "fly: invalid value for 'PATH...': an empty name is no file or folder"),
        (["new", ""], "new: invalid value for 'DIR': an empty name is no file or folder"),
        (["new", "a", "b", "c"], "new: too many arguments: b c"),
        (["fly", "x", "--json", ""], "an empty name is no file to write to"),
        (["draw", "x", "--format", "png"],
         "draw: invalid value for '--format': 'png' is not one of 'mermaid', 'dot', 'svg'"),
    ],
)  # fmt: skip
def test_a_wrong_command_line_is_one_line_and_status_2(arguments, line, capsys):
    assert main(arguments) == 2
    assert stderr_of(capsys) == f"drycount: {line}\n"


def test_bad_input_is_one_line_and_status_2(broken_command, capsys):
    def action():
        raise InputError("unknown key 'mas_kg'", file="a.toml", line=3, nearest="mass_kg")

    broken_command(action)
    assert main(["fly", "x"]) == 2
    assert stderr_of(capsys) == (
        "drycount: a.toml:3: unknown key 'mas_kg'; did you mean 'mass_kg'?\n"
    )


@pytest.mark.parametrize("error", [KeyboardInterrupt, click.Abort, EOFError])
def test_stopped_from_the_keyboard(error, broken_command, capsys):
    def action():
        raise error

    broken_command(action)
    assert main(["fly", "x"]) == 130
    assert stderr_of(capsys) == "drycount: stopped\n"


@pytest.mark.parametrize("error", [ZeroDivisionError("by\nzero"), InternalError("by zero")])
def test_our_own_fault_says_so_on_one_line(error, broken_command, capsys):
    def action():
        raise error

    broken_command(action)
    assert main(["fly", "x"]) == 3
    assert stderr_of(capsys) == (
        f"drycount: a fault of drycount itself ({type(error).__name__}: by zero); "
        "run it again with DRYCOUNT_TRACEBACK=1 to see where\n"
    )


@pytest.mark.parametrize("how", ["option", "environment"])
def test_the_place_of_our_own_fault_on_request(how, broken_command, capsys, monkeypatch):
    def action():
        raise ZeroDivisionError("by zero")

    broken_command(action)
    if how == "environment":
        monkeypatch.setenv("DRYCOUNT_TRACEBACK", "1")
    assert main([*(["--traceback"] if how == "option" else []), "fly", "x"]) == 3
    text = stderr_of(capsys)
    assert text.startswith("Traceback")
    assert text.endswith("drycount: a fault of drycount itself (ZeroDivisionError: by zero)\n")


def test_what_the_machine_refuses_names_the_file(broken_command, capsys):
    def action():
        raise PermissionError(13, "Permission denied", "out.json")

    broken_command(action)
    assert main(["fly", "x"]) == 2
    assert stderr_of(capsys) == "drycount: out.json: permission denied\n"


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no /dev/full")  # noqa: PTH110
def test_a_full_disk_is_one_line():
    with open("/dev/full", "w") as full:  # noqa: PTH123
        done = subprocess.run(
            [sys.executable, "-c",
             "import sys; from sequencer.cli.main import main; sys.exit(main(['--version']))"],
            stdout=full, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr == "drycount: cannot write the output: no space left on device\n"


def test_a_reader_that_stops_reading_is_no_fault():
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-c",
         "import sys; from sequencer.cli.main import main; sys.exit(main(['--help']))"],
        stdout=write, stderr=subprocess.PIPE, text=True, check=False,
    )  # fmt: skip
    os.close(write)
    assert (done.returncode, done.stderr) == (141, "")


@pytest.mark.parametrize(
    ("closed", "status", "told"),
    [("1", 2, "drycount: standard output is closed\n"), ("2", 2, "")],
)
def test_a_stream_that_is_closed_from_the_start_is_no_fault(closed, status, told):
    """As a shell's `>&-` and `2>&-` hand it over."""
    code = "import sys; from sequencer.cli.main import main; sys.exit(main(['fly', 'nowhere']))"
    done = subprocess.run(
        ["sh", "-c", f'exec "$0" -c "$1" {closed}>&-', sys.executable, code],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (status, told)


def test_the_installed_command_works():
    done = run("--version")
    assert (done.returncode, done.stdout) == (0, f"drycount {__version__}\n")


def test_what_the_terminal_cannot_show_does_not_end_the_report():
    done = run("fly", "nö\N{SNOWMAN}", env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
