"""What holds for every test: repeatable examples, and no silent skip where none is allowed."""

from __future__ import annotations

import os
import signal

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "house",
    derandomize=True,
    deadline=None,  # the machine may be busy; time is measured by `make bench`, never asserted
    max_examples=40,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile("soak", parent=settings.get_profile("house"), max_examples=2000)
settings.load_profile(os.environ.get("DRYCOUNT_HYPOTHESIS", "house"))

# started in the background by a shell, a process and all its children ignore Ctrl-C
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

NO_SKIP = os.environ.get("DRYCOUNT_NO_SKIP") == "1"


def _refuse_skip(report):
    """Under DRYCOUNT_NO_SKIP a skip is a failure: the machine was meant to have the tool."""
    if NO_SKIP and report.skipped and not hasattr(report, "wasxfail"):
        why = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        report.outcome = "failed"
        report.longrepr = f"not allowed to skip here: {why}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport():
    return _refuse_skip((yield))


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report():
    return _refuse_skip((yield))
