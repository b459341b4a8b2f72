"""Seeded mutants of the rooms that decide something: ``make mutate``.

A first run with coverage learns which tests reach which line; each mutant is then tried, in a
copy of the tree, by the tests that reach its line. Mutants come from Cosmic Ray's
operators. What survives is printed; ``equivalent.toml`` lists, with the reason, those that change
nothing anybody could see. Writes ``build/mutants.json``.

A machine with little time tries them in parts: ``--reached FILE`` keeps what the first run learned,
``--part 1/8`` tries an eighth, ``--again`` those of ``build/mutants.json`` that survived (with
``--also`` the tests written since), and ``--table`` prints the table of all that was tried.
"""

from __future__ import annotations

import itertools
import json
import os
import random
import shutil
import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from queue import Queue
from tempfile import TemporaryDirectory

import click

from tests.mutation.mutants import Mutant, listed_equivalents, mutants_of, mutated
from tests.mutation.trial import environment, pytest_in

ROOMS = ("rules", "engine", "safety", "store", "forecast", "yields", "planning")
TESTS = (
    "tests/unit",
    "tests/engine",
    "tests/store",
    "tests/yields",
    "tests/planning",
    "tests/forecast",
    "tests/safety",
    "tests/pipeline",
    "tests/cli",
    "tests/inference",
    "tests/formats",
)
LEFT_OUT = "not random_records and not (random_reuse and time)"  # minutes for each mutant
FEW_TESTS = 3
FIRST_TESTS = 60  # what they let pass is tried by the others
MOST_TESTS = 600  # a mutant that this many tests let pass has survived
TIMEOUT_S = 240.0  # a fault that loops for ever; far more than a busy machine needs
OTHERS_TIMEOUT_S = 240.0
CHANGES = itertools.count(1)
ALIVE = {"survived", "unreached"}
OUT = Path("build/mutants.json")


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of a mutant: ``killed``, ``survived``, ``unreached`` or ``equivalent``."""

    mutant: Mutant
    outcome: str
    tests: int
    seconds: float


def copy_tree(target: Path) -> Path:
    """Copy what tests need of this checkout."""
    for name in ("pitlogger", "drivers", "simulators", "tests", "config", "docs"):
        shutil.copytree(name, target / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "DEVELOPERS.md", "CHANGELOG.md", "Makefile"):
        shutil.copy(name, target / name)
    return target


def reach(tree: Path, folder: str) -> list[tuple[str, int, list[str]]]:
    """Return which tests of a folder reach a line, the quickest first: (file, line, tests)."""
    import coverage

    report = tree / "durations.json"
    (tree / "conftest.py").write_text(DURATIONS)
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider",
               "-p", "no:schemathesis", "-k", LEFT_OUT,
               "--cov=pitlogger", "--cov-context=test", "--cov-report=", folder]  # fmt: skip
    done = subprocess.run(
        command, cwd=tree, env=environment(tree) | {"DURATIONS": str(report)}, check=False
    )
    if done.returncode != 0:
        raise SystemExit(f"{folder} fails without any mutant: mend it first")
    took_s: dict[str, float] = json.loads(report.read_text())
    data = coverage.CoverageData(str(tree / ".coverage"))
    data.read()
    found: list[tuple[str, int, list[str]]] = []
    for file in data.measured_files():
        name = str(Path(file).relative_to(tree))
        of_file: set[str] = set()
        for line, contexts in data.contexts_by_lineno(file).items():
            names = {context.rpartition("|")[0] for context in contexts if context}
            of_file |= names
            found.append((name, line, sorted(names, key=lambda test: took_s.get(test, 1.0))))
        # What runs on import, constants and class bodies, is tried by all that use the file.
        found.append((name, 0, sorted(of_file, key=lambda test: took_s.get(test, 1.0))))
    return found


DURATIONS = """
import json, os, pathlib
took = {}
def pytest_runtest_logreport(report):
    took[report.nodeid] = took.get(report.nodeid, 0.0) + report.duration
def pytest_sessionfinish():
    if "DURATIONS" in os.environ:
        pathlib.Path(os.environ["DURATIONS"]).write_text(json.dumps(took))
"""


def learned(tree: Path, kept: Path | None) -> dict[tuple[str, int], list[str]]:
    """Return which tests reach a line; what an earlier run kept is not learned again."""
    known: dict[str, list[tuple[str, int, list[str]]]] = {}
    if kept is not None and kept.exists():
        known = json.loads(kept.read_text())
    for folder in TESTS:
        if folder not in known and (tree / folder).is_dir():
            known[folder] = reach(tree, folder)
            if kept is not None:
                kept.write_text(json.dumps(known))
    found: dict[tuple[str, int], list[str]] = defaultdict(list)
    for rows in known.values():
        for file, line, tests in rows:
            found[file, line] += tests
    return found


def tried() -> dict[str, Verdict]:
    """Return what was tried before, by mutant."""
    if not OUT.exists():
        return {}
    rows = [Verdict(Mutant(**row.pop("mutant")), **row) for row in json.loads(OUT.read_text())]
    return {row.mutant.key: row for row in rows}


def put(path: Path, source: str) -> None:
    """Write a module with a time of change that it never had: what was compiled of it is old."""
    path.write_text(source)
    os.utime(path, (0, path.stat().st_mtime + next(CHANGES)))


def spread(tests: list[str], own: str) -> list[str]:
    """Return tests in the order to try them: one of each file in turn, those of ``own`` first.

    The quickest of all would mostly be refusals, which run little of what they reach.
    """
    turns: dict[str, int] = defaultdict(int)
    ranked = []
    for test in random.Random(len(tests)).sample(tests, len(tests)):
        file = test.partition("::")[0]
        ranked.append((turns[file], not file.startswith(own), test))
        turns[file] += 1
    return [test for *_, test in sorted(ranked)]


def judge(
    mutant: Mutant, trees: Queue[Path], reached: dict[tuple[str, int], list[str]], also: list[str]
) -> Verdict:
    """Try one mutant in a free copy of the tree, by ``also`` and the tests of its room first."""
    lines = range(mutant.line, mutant.line + 3)
    tests = next((found for line in lines if (found := reached.get((mutant.file, line)))), [])
    if len(tests) < FEW_TESTS:  # it may run on import, which counts for the first test alone
        tests = list(dict.fromkeys([*tests, *reached.get((mutant.file, 0), [])]))
    tests = also + spread(tests, f"tests/{mutant.room}/")[:MOST_TESTS]
    if not tests:
        return Verdict(mutant, "unreached", 0, 0.0)
    tree = trees.get()
    began = time.monotonic()
    path = tree / mutant.file
    original = path.read_text()
    try:
        put(path, mutated(original, mutant))
        code = pytest_in(tree, tests[:FIRST_TESTS], timeout_s=TIMEOUT_S, late=1)
        if code == 0 and len(tests) > FIRST_TESTS:
            code = pytest_in(tree, tests[FIRST_TESTS:], timeout_s=OTHERS_TIMEOUT_S, late=0)
    finally:
        put(path, original)
        trees.put(tree)
    outcome = "survived" if code == 0 else "killed"
    return Verdict(mutant, outcome, len(tests), time.monotonic() - began)


def table(verdicts: list[Verdict]) -> str:
    """Return the table: a row a room."""
    rooms: dict[str, list[Verdict]] = defaultdict(list)
    for verdict in verdicts:
        rooms[verdict.mutant.room].append(verdict)
    lines = ["| room | mutants | equivalent | killed | survived | unreached | killed of the real |",
             "|---|---|---|---|---|---|---|"]  # fmt: skip
    for room, rows in [*sorted(rooms.items()), ("all", verdicts)]:
        count = {name: sum(row.outcome == name for row in rows)
                 for name in ("equivalent", "killed", "survived", "unreached")}  # fmt: skip
        real = len(rows) - count["equivalent"]
        share = f"{100 * count['killed'] / real:.0f} %" if real else "-"
        lines.append(f"| {room} | {len(rows)} | {count['equivalent']} | {count['killed']} | "
                     f"{count['survived']} | {count['unreached']} | {share} |")  # fmt: skip
    return "\n".join(lines)


@click.command()
@click.option("--count", default=400, show_default=True, help="How many mutants.")
@click.option("--seed", default=20260919, show_default=True, help="Which ones.")
@click.option("--jobs", default=os.cpu_count() or 1, show_default=True, help="How many at once.")
@click.option("--room", "rooms", multiple=True, default=ROOMS, help="Only these rooms.")
@click.option("--reached", type=click.Path(path_type=Path), help="Keep what the first run learned.")
@click.option("--part", default="1/1", show_default=True, help="Which of how many parts.")
@click.option("--again", is_flag=True, help="Only those that survived so far.")
@click.option("--also", multiple=True, help="Tests that are new since --reached was learned.")
@click.option("--table", "only_table", is_flag=True, help="Try none; print what was tried.")
def main(
    count: int, seed: int, jobs: int, rooms: tuple[str, ...], reached: Path | None, part: str,
    again: bool, also: tuple[str, ...], only_table: bool,
) -> None:  # fmt: skip
    """Put small faults into a copy of the code and see whether tests notice."""
    verdicts = tried() if again or only_table or part != "1/1" else {}
    if not only_table:
        with TemporaryDirectory() as folder:
            trees: Queue[Path] = Queue()
            for number in range(jobs):
                trees.put(copy_tree(Path(folder) / str(number)))
            first = Path(folder) / "0"
            known = learned(first, reached)
            drawn = mutants_of(first, rooms, count, random.Random(seed))
            number, parts = map(int, part.split("/"))
            some = [m for m in drawn[number - 1 :: parts] if m.key not in verdicts]
            if again:
                alive = {key for key, row in verdicts.items() if row.outcome in ALIVE}
                some = [mutant for mutant in drawn if mutant.key in alive]
            for verdict in _tried(some, trees, known, list(also), jobs):
                verdicts[verdict.mutant.key] = verdict
                write(verdicts)
    print(table(list(verdicts.values())))


def write(verdicts: dict[str, Verdict]) -> None:
    """Keep what was tried so far, so that a run can be ended at any time."""
    OUT.parent.mkdir(exist_ok=True)
    OUT.write_text(json.dumps([asdict(verdict) for verdict in verdicts.values()], indent=1))


def _tried(
    some: list[Mutant], trees: Queue[Path], reached: dict[tuple[str, int], list[str]],
    also: list[str], jobs: int,
) -> Iterator[Verdict]:  # fmt: skip
    """Yield what became of each mutant; those that no test noticed are printed."""
    same = listed_equivalents()
    yield from (Verdict(m, "equivalent", 0, 0.0) for m in some if m.key in same)
    with ThreadPoolExecutor(jobs) as pool:
        todo = [m for m in some if m.key not in same]
        for verdict in pool.map(lambda m: judge(m, trees, reached, also), todo):
            yield verdict
            if verdict.outcome in ALIVE:
                print(f"{verdict.outcome}: {verdict.mutant.key}", flush=True)


if __name__ == "__main__":
    main()
