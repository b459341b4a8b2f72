"""The jobs of a node: a file each in the folder ``jobs`` beside the record, and issued papers.

A file is what ``pitlogger job`` reads; page, API and commands work on the same ones.
"""

from __future__ import annotations

import fcntl
import re
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger.files import write_whole
from pitlogger.formats.job_file import JobFile, parse_job
from pitlogger.node.register import NAME

_ID = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,58}[a-z0-9])?")


@dataclass(frozen=True, slots=True)
class KeptJob:
    """A job as it lies on the shelf; ``version`` changes with its text."""

    id: str
    text: str

    @property
    def version(self) -> str:
        return sha256(self.text.encode()).hexdigest()[:16]

    @property
    def file(self) -> JobFile:
        return parse_job(self.text, f"{self.id}.toml")


def job_id(name: str) -> str:
    """Return the id of a job: its name in lowercase letters, digits and dashes."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().casefold()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60].strip("-") or "job"


@dataclass(frozen=True, slots=True)
class JobShelf:
    """The folder of a node's jobs; it need not be there."""

    folder: Path

    @property
    def register(self) -> Path:
        return self.folder / NAME

    def ids(self) -> list[str]:
        return sorted(path.stem for path in self.folder.glob("*.toml") if _ID.fullmatch(path.stem))

    def read(self, job: str) -> KeptJob:
        """Return a job.

        Raises:
            UsageError: There is none of that name, or its file cannot be read.
        """
        if _ID.fullmatch(job) is None or job not in self.ids():
            raise UsageError(unknown("job", job, self.ids()))
        try:
            return KeptJob(job, (self.folder / f"{job}.toml").read_text("utf-8"))
        except (OSError, UnicodeDecodeError) as fault:
            raise UsageError(f"{job}.toml: cannot be read ({fault})") from None

    def keep(self, job: str, text: str, seen: str | None) -> KeptJob:
        """Keep a job's text, whole or not at all.

        Args:
            job: Its id.
            text: Of the job file.
            seen: The version that was changed, ``None`` for a new job.

        Raises:
            UsageError: The text is no job, or the id cannot be one.
            RefusedError: Somebody changed it meanwhile, a new one is there already, or the disk
                refuses.
        """
        if _ID.fullmatch(job) is None:
            raise UsageError(f"'{job}' names no job: expected lowercase letters, digits, dashes")
        parse_job(text, f"{job}.toml")
        with self._locked():
            now = self.read(job).version if job in self.ids() else None
            if now == KeptJob(job, text).version:
                return KeptJob(job, text)  # asked twice
            if now != seen:
                raise RefusedError(
                    f"{job}: there is a job of that name already; name it otherwise" if seen is None
                    else f"{job}: somebody changed it meanwhile; look at it again, nothing was kept"
                )  # fmt: skip
            try:
                write_whole(self.folder / f"{job}.toml", text)
            except OSError as fault:
                raise RefusedError(f"{job}: cannot be kept ({fault.strerror})") from None
        return KeptJob(job, text)

    @contextmanager
    def _locked(self) -> Iterator[None]:
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            held = (self.folder / ".lock").open("a")
        except OSError as fault:
            raise RefusedError(f"{self.folder}: cannot be written ({fault.strerror})") from None
        with held:
            fcntl.flock(held, fcntl.LOCK_EX)
            yield
