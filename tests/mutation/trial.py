"""One run of pytest over a copy of the tree, in a process forked from one that imported much."""

from __future__ import annotations

import os
import sys
from multiprocessing import get_context
from pathlib import Path

# What most tests import: a second of each run.
IMPORTED = [
    "fastapi", "hypothesis", "hypothesis.stateful", "httpx", "jinja2", "numpy", "pydantic",
    "pytest", "pytest_asyncio", "scipy.stats", "sqlite_utils", "xdist",
]  # fmt: skip
QUIETLY = ["-q", "-x", "-p", "no:cacheprovider", "-p", "no:schemathesis",
           "-W", "ignore::pytest.PytestAssertRewriteWarning"]  # fmt: skip


def environment(tree: Path) -> dict[str, str]:
    """Return an environment in which the tree's own packages come first."""
    roots = [tree, tree / "drivers", tree / "simulators"]
    return os.environ | {
        "PYTHONPATH": os.pathsep.join(map(str, roots)),
        "PYTHONDONTWRITEBYTECODE": "",  # what is compiled once is not compiled for each mutant
        "PYTHONPYCACHEPREFIX": str(tree.parent / "compiled"),
    }


def pytest_in(tree: Path, tests: list[str], *, timeout_s: float, late: int) -> int:
    """Run tests in a tree; return pytest's exit code, or ``late`` where time ran out."""
    context = get_context("forkserver")
    context.set_forkserver_preload(IMPORTED)
    process = context.Process(target=_run, args=(tree, tests))
    process.start()
    process.join(timeout_s)
    if process.is_alive():
        process.kill()
        process.join()
        return late
    return process.exitcode or 0


def _run(tree: Path, tests: list[str]) -> None:
    import pytest

    os.environ |= environment(tree)
    sys.path[:0] = os.environ["PYTHONPATH"].split(os.pathsep)
    sys.dont_write_bytecode = False
    sys.pycache_prefix = os.environ["PYTHONPYCACHEPREFIX"]
    for name in [name for name in sys.modules if name.partition(".")[0] == "tests"]:
        del sys.modules[name]  # those of the tree are meant
    os.chdir(tree)
    nothing = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nothing, 1)
    os.dup2(nothing, 2)
    os._exit(int(pytest.main([*QUIETLY, *tests])))
