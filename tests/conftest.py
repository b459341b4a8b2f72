"""What holds for all tests."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

# How long an example takes is the machine's affair: speed is measured by the benchmarks.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail a run with ``CI`` set that skipped anything: what it stands for was not tried."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") and reporter is not None and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
        reporter.write_line("skipped under CI: install what tools/system-packages names", red=True)
