"""The shim under a daemon's feet: a disk that fails, a clock that steps, a power cut.

``disk.c`` is compiled once and loaded with LD_PRELOAD. A recorded run is cut afterwards at any
moment: what was synced is there, of the rest a random part, the last write torn.
"""

from __future__ import annotations

import mmap
import os
import shutil
import struct
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import NamedTuple

SOURCE = Path(__file__).with_name("disk.c")
COMPILER = shutil.which("cc") or shutil.which("gcc")
WELL, FULL, BROKEN, READ_ONLY = range(4)
SECTOR = 512
_PAGE = struct.Struct("<iiq")
_HEAD = struct.Struct("<c3xIqqq")


def compiled(folder: Path) -> Path:
    """Return the shim as a library, compiled into ``folder`` unless it is there."""
    library = folder / "disk.so"
    if not library.exists():
        assert COMPILER is not None, "no C compiler"
        made = library.with_suffix(f".{id(library)}")
        subprocess.run(
            [COMPILER, "-shared", "-fPIC", "-O1", "-U_FORTIFY_SOURCE", "-Wall", "-Werror",
             "-o", str(made), str(SOURCE), "-ldl", "-lpthread"],
            check=True,
        )  # fmt: skip
        made.replace(library)
    return library


class Shim:
    """What one daemon's disk and wall clock do, changed while it runs."""

    def __init__(self, folder: Path, data: Path, *, record: bool = False) -> None:
        self._library = compiled(folder)
        self._data = data
        self.log = folder / "disk.log" if record else None
        self._boot = folder / "boot_id"
        self.reboot("first-boot")
        page = folder / "control"
        page.write_bytes(bytes(_PAGE.size))
        self._file = page.open("r+b")
        self._map = mmap.mmap(self._file.fileno(), _PAGE.size)
        self.mode, self.sync_ms, self.wall_ms = WELL, 0, 0

    def reboot(self, boot: str) -> None:
        """Give the kernel another boot id, for the next start."""
        self._boot.write_text(boot + "\n", encoding="ascii")

    def set(
        self, *, mode: int | None = None, sync_ms: int | None = None, wall_ms: int | None = None
    ) -> None:
        """Change what the disk does, how long a sync takes, how far the wall clock is off."""
        self.mode = self.mode if mode is None else mode
        self.sync_ms = self.sync_ms if sync_ms is None else sync_ms
        self.wall_ms = self.wall_ms if wall_ms is None else wall_ms
        self._map[:] = _PAGE.pack(self.mode, self.sync_ms, self.wall_ms * 1_000_000)

    def environment(self) -> dict[str, str]:
        """Return what a process needs in its environment to stand on this shim."""
        found = {
            "LD_PRELOAD": str(self._library),
            "PITLOGGER_SHIM_FOLDER": str(self._data),
            "PITLOGGER_SHIM_CONTROL": self._file.name,
            "PITLOGGER_SHIM_BOOT": str(self._boot),
        }
        return found if self.log is None else {**found, "PITLOGGER_SHIM_LOG": str(self.log)}

    def close(self) -> None:
        self._map.close()
        self._file.close()


# -- power cuts ---------------------------------------------------------------------------


class Op(NamedTuple):
    """One thing done to the disk. ``data`` is what was written, or a path."""

    op: str
    file: int
    at_s: float
    a: int
    data: bytes


def read_log(path: Path) -> Iterator[Op]:
    """Yield what was done, in order."""
    log = path.read_bytes()
    at = 0
    while at + _HEAD.size <= len(log):
        op, file, at_ns, a, b = _HEAD.unpack_from(log, at)
        at += _HEAD.size
        length = b if op in b"OWUFR" else 0
        yield Op(op.decode(), file, at_ns / 1e9, a, log[at : at + length])
        at += length


@dataclass(slots=True)
class _File:
    """One file: what a power cut leaves for certain, and what was done since."""

    durable: bytearray = field(default_factory=bytearray)
    exists: bool = False
    pending: list[Op] = field(default_factory=list)

    def sync(self) -> None:
        for op in self.pending:
            _apply(self.durable, op)
        self.pending.clear()
        self.exists = True

    def after_cut(self, dice: Random) -> bytes | None:
        """Return what is found after the cut; ``None`` where the file never was."""
        if not self.exists and dice.random() < 0.5:
            return None
        found = bytearray(self.durable)
        fate = dice.random()  # of one cut: all lost, all kept, or a part
        for op in self.pending:
            if fate < 0.25 or (fate < 0.75 and dice.random() < 0.5):
                continue
            _apply(found, op if op.op == "T" or fate > 0.9 else _torn(op, dice))
        return bytes(found)


def _apply(content: bytearray, op: Op) -> None:
    if op.op == "T":
        del content[op.a :]
        content.extend(bytes(op.a - len(content)))
        return
    content.extend(bytes(max(0, op.a - len(content))))
    content[op.a : op.a + len(op.data)] = op.data


def _torn(op: Op, dice: Random) -> Op:
    """Return the front of a write, up to a random sector's end."""
    sectors = (len(op.data) + op.a % SECTOR) // SECTOR + 1
    end = dice.randrange(sectors + 1) * SECTOR - op.a % SECTOR
    return op._replace(data=op.data[: max(0, end)])


class Disk:
    """The files as a sequence of operations leaves them."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._files: dict[str, _File] = {}
        self._open: dict[int, _File] = {}
        self._from = ""

    def do(self, op: Op) -> None:
        """Take one operation."""
        name = op.data.decode() if op.op in "OUFR" else ""
        match op.op:
            case "O":
                if op.a & os.O_ACCMODE != os.O_RDONLY:  # else a folder, or known already
                    self._files.setdefault(name, _File())
                if name in self._files:
                    self._open[op.file] = self._files[name]
            case "W" | "T":
                self._open[op.file].pending.append(op)
            case "S":
                if op.file in self._open:
                    self._open[op.file].sync()
            case "U":
                self._files.pop(name, None)
            case "F":
                self._from = name
            case "R":
                self._files[name] = self._files.pop(self._from)

    def cut(self, target: Path, dice: Random) -> None:
        """Write what a power cut leaves into the folder ``target``."""
        for name, file in self._files.items():
            content = file.after_cut(dice)
            if content is not None:
                path = target / Path(name).relative_to(self._folder)
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(content)
