"""`*.scenario.toml` files as pytest items: one flight, one test.

One line in a project's pytest settings switches it on: `addopts = "-p sequencer.pytest_plugin"`.
Importing this module loads pytest and nothing of ours. Nothing but text leaves an item: under
pytest-xdist a NumPy number in a report would end the whole run, and properties of a test case are
not in the schema of JUnit files.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

__all__ = ["FellShortError", "ScenarioFile", "ScenarioItem"]

_SUFFIX = ".scenario.toml"
_MODEL = "model"
_NARROWEST = 40
_NO_WORD = re.compile(r"\W+")


class FellShortError(AssertionError):
    """A flight that did not come out as its scenario says, or could not be flown.

    Its text is what a person wants to read.
    """


def pytest_addoption(parser: pytest.Parser) -> None:
    """Options of `pytest`; the names begin with the project's."""
    group = parser.getgroup("drycount", "flight logic (drycount)")
    group.addoption(
        "--drycount-on",
        action="append",
        metavar="TARGET",
        help="What executes the sequences of scenarios (default: model). Given more than once, "
        "every scenario is flown on each.",
    )


def pytest_configure(config: pytest.Config) -> None:
    """Refuse targets that cannot be used before anything is collected."""
    targets = config.getoption("drycount_on")
    if targets:
        from sequencer.errors import DrycountError  # noqa: PLC0415 - only where it is used
        from sequencer.flight.target import check_target  # noqa: PLC0415

        for target in targets:
            try:
                check_target(target, "compiled")
            except DrycountError as error:
                raise pytest.UsageError(f"--drycount-on: {error}") from None


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:  # noqa: ANN401 - a class of pytest-xdist's
    """Workers have no terminal: tell them how wide the one is that people look at."""
    node.workerinput["drycount_width"] = _width(node.config)


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> ScenarioFile | None:
    """Every scenario file is one."""
    if file_path.name.endswith(_SUFFIX):
        return ScenarioFile.from_parent(parent, path=file_path)
    return None


class ScenarioFile(pytest.File):
    """A scenario file; its items are its flights, one for each target."""

    def collect(self) -> Iterator[ScenarioItem]:
        """Read the file and what it extends; nothing else is opened before it is flown."""
        from sequencer.errors import InputError  # noqa: PLC0415 - pytest starts without it
        from sequencer.scenario.extend import read_extended  # noqa: PLC0415
        from sequencer.scenario.schema import ScenarioFile as Tables  # noqa: PLC0415

        try:
            tables = read_extended(self.path).validate(Tables)
        except InputError as error:
            raise self.CollectError(str(error)) from None
        marks = [_mark(self.config, tag) for tag in tables.scenario.tags]
        name = self.path.name.removesuffix(_SUFFIX)
        given = list(dict.fromkeys(self.config.getoption("drycount_on") or ()))
        for target in given or [_MODEL]:
            item = ScenarioItem.from_parent(
                self, name=f"{name}[{target}]" if given else name, callobj=_fly
            )
            item.target = target
            for mark in marks:
                item.add_marker(mark)
            yield item


class ScenarioItem(pytest.Function):
    """One flight. As a function of pytest's it takes part in fixtures that are used everywhere."""

    #: what executes the sequences
    target: str = _MODEL

    def repr_failure(
        self,
        excinfo: pytest.ExceptionInfo[BaseException],
        *args: Any,
        **kwargs: Any,
    ) -> Any:  # noqa: ANN401 - as pytest has it
        """What fell short, in words; anything else as pytest shows it."""
        if isinstance(excinfo.value, FellShortError):
            return str(excinfo.value)
        return super().repr_failure(excinfo, *args, **kwargs)

    def reportinfo(self) -> tuple[Path, int | None, str]:
        """Where the item stands: the file as a whole."""
        return self.path, None, self.name


def _width(config: pytest.Config) -> int:
    """Of the terminal that people look at, in characters."""
    given = getattr(config, "workerinput", {}).get("drycount_width")
    return int(given or max(config.get_terminal_writer().fullwidth, _NARROWEST))


def _mark(config: pytest.Config, tag: str) -> str:
    """The marker of a tag, declared, so that it may be used under --strict-markers too."""
    name = _NO_WORD.sub("_", tag).strip("_") or "tag"
    line = f"{name}: scenarios with the tag '{tag}'"
    if line not in config.getini("markers"):
        config.addinivalue_line("markers", line)
    return name


def _fly(request: pytest.FixtureRequest) -> None:
    """Fly the scenario of this item, and fail where it falls short."""
    from sequencer.flight.many import fly_one  # noqa: PLC0415 - collecting must stay cheap

    item = request.node
    result = fly_one(item.path, item.target, "compiled", _say(request.config))
    if result.error is not None:
        raise FellShortError(result.error)
    if not result.as_expected:
        from sequencer.report.page import shortfalls_as_text, timeline_as_text  # noqa: PLC0415

        width = _width(request.config)
        item.add_report_section("call", "timeline", timeline_as_text(result, width))
        # pytest's summary at the end shows the first line
        first = f"fell short: {result.shortfalls[0].what}"
        raise FellShortError(f"{first}\n\n{shortfalls_as_text(result, width)}")


def _say(config: pytest.Config) -> Callable[[str], None] | None:
    """Tells what takes long; workers of pytest-xdist have nobody to tell."""
    reporter = config.pluginmanager.getplugin("terminalreporter")
    return None if reporter is None else reporter.write_line
