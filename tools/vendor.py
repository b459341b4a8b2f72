"""Fetch the vendored front-end files again and compare or replace them.

    python tools/vendor.py check     # exits 1 where a file differs from the lock
    python tools/vendor.py fetch     # npm pack by exact version, check sha512, unpack

The lock names each package's version, licence, npm integrity (sha512) and the files taken.
Needs npm for ``fetch`` only; nobody who installs pitlogger needs either.
"""

from __future__ import annotations

import base64
import hashlib
import json
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LOCKS = (
    ROOT / "pitlogger/web/static/vendor/lock.json",
    ROOT / "tests/browser/vendor/lock.json",
)


def main() -> int:
    """Do what the first argument says; return the exit code."""
    action = sys.argv[1] if len(sys.argv) == 2 else ""
    if action == "check":
        faults = [fault for lock in LOCKS for fault in check(lock)]
        print("\n".join(faults) or "vendored files are as the locks say")
        return 1 if faults else 0
    if action == "fetch":
        for lock in LOCKS:
            fetch(lock)
        return 0
    print(__doc__)
    return 2


def check(lock: Path) -> list[str]:
    """Return what differs between the files beside a lock and the lock."""
    faults = []
    for package in json.loads(lock.read_text(encoding="utf-8"))["packages"]:
        for taken in package["files"]:
            path = lock.parent / taken["to"]
            if not path.is_file() or sha512(path.read_bytes()) != taken["integrity"]:
                faults.append(f"{path}: not the file the lock names")
    return faults


def fetch(lock: Path) -> None:
    """Pack each package by its exact version and unpack the listed files."""
    document = json.loads(lock.read_text(encoding="utf-8"))
    for package in document["packages"]:
        with tempfile.TemporaryDirectory() as folder:
            name = f"{package['name']}@{package['version']}"
            subprocess.run(["npm", "pack", "--silent", name], cwd=folder, check=True)
            (archive,) = Path(folder).glob("*.tgz")
            found = sha512(archive.read_bytes())
            if package["integrity"] not in ("", found):
                raise SystemExit(f"{name}: integrity {found}, the lock says {package['integrity']}")
            package["integrity"] = found
            with tarfile.open(archive) as packed:
                for taken in package["files"]:
                    member = packed.extractfile(f"package/{taken['from']}")
                    assert member is not None
                    data = member.read()
                    (lock.parent / taken["to"]).write_bytes(data)
                    taken["integrity"] = sha512(data)
    lock.write_text(json.dumps(document, indent=2) + "\n", encoding="utf-8")


def sha512(data: bytes) -> str:
    """Return the digest in the form npm writes it."""
    return "sha512-" + base64.b64encode(hashlib.sha512(data).digest()).decode("ascii")


if __name__ == "__main__":
    sys.exit(main())
