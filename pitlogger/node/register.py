"""The register of issued papers: a file of one JSON object a line, only ever added to.

It lies beside the job files. A paper counts as issued once its line is on disk; two that issue at
once wait for each other, so numbers have no gap and no double.
"""

from __future__ import annotations

import errno
import fcntl
import json
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict
from pathlib import Path

from pitlogger.errors import RefusedError
from pitlogger.planning.job.papers import Paper, asked_first
from pitlogger.planning.job.prices import ask_prices
from pitlogger.questions import Answers

NAME = "papers.jsonl"


def read_register(path: Path) -> list[Paper]:
    """Return the papers issued so far, oldest first; none where there is no file.

    Raises:
        RefusedError: A line that cannot be read: nothing is issued on a register in doubt.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except FileNotFoundError:
        return []
    except (OSError, UnicodeDecodeError) as fault:
        raise RefusedError(f"{path}: cannot be read ({fault})") from None
    return [_paper(path, number, line) for number, line in enumerate(lines, 1) if line.strip()]


def _paper(path: Path, number: int, line: str) -> Paper:
    try:
        return Paper(**json.loads(line))
    except (ValueError, TypeError) as fault:
        raise RefusedError(
            f"{path}:{number}: not a paper ({fault}); put the file back from a copy, nothing is "
            "issued before"
        ) from None


def add(path: Path, make: Callable[[Sequence[Paper]], Sequence[Paper]]) -> list[Paper]:
    """Issue what ``make`` returns for the papers so far; return it once it is on disk."""
    try:
        with path.open("ab", buffering=0) as held:
            fcntl.flock(held, fcntl.LOCK_EX)
            made = list(make(read_register(path)))
            lines = [json.dumps(asdict(one), ensure_ascii=False) + "\n" for one in made]
            text, before = "".join(lines).encode(), held.seek(0, os.SEEK_END)
            try:
                if held.write(text) < len(text):
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                os.fsync(held.fileno())
            except OSError:
                held.truncate(before)  # a torn line would put the whole register in doubt
                raise
    except OSError as fault:
        raise RefusedError(
            f"{path}: cannot be written ({fault.strerror}); nothing issued"
        ) from None
    return made


def issue_asked(
    path: Path, make: Callable[[Sequence[Paper]], Sequence[Paper]], answers: Answers,
    doubts: Iterable[str] = (),
) -> list[Paper]:  # fmt: skip
    """Issue what ``make`` returns once it was confirmed as shown; before, no file is touched.

    Raises:
        QuestionError: It was not confirmed yet, or a price of the job is in doubt.
    """
    ask_prices(doubts, answers)

    def confirmed(before: Sequence[Paper]) -> Sequence[Paper]:
        return asked_first(make(before), answers)

    return add(path, confirmed) if confirmed(read_register(path)) else []
