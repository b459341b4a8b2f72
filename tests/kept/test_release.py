"""A release can be built again byte for byte, and its signature covers every file of it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SIGN = ROOT / "tools" / "sign"


def sources(folder: Path) -> Path:
    """Copy what a build reads; the copies have times and, some of them, modes of their own."""
    folder.mkdir()
    for name in ("pitlogger", "drivers", "simulators"):
        left_out = shutil.ignore_patterns("__pycache__")
        shutil.copytree(ROOT / name, folder / name, ignore=left_out, copy_function=shutil.copy)
    for name in ("pyproject.toml", "README.md", "LICENSE", "CHANGELOG.md"):
        shutil.copy(ROOT / name, folder)
    return folder


def built(folder: Path, out: Path, umask: int) -> dict[str, bytes]:
    """Build wheel and sdist; return their bytes by name."""
    subprocess.run(
        [sys.executable, "-m", "build", "-q", "--no-isolation", "--outdir", str(out), str(folder)],
        check=True, capture_output=True, umask=umask, cwd=folder,
        env={**os.environ, "SOURCE_DATE_EPOCH": "1780000000"},
    )  # fmt: skip
    return {path.name: path.read_bytes() for path in out.iterdir()}


def test_two_builds_are_the_same_bytes(tmp_path: Path) -> None:
    one, two = sources(tmp_path / "one"), sources(tmp_path / "a-longer-name")
    (two / "README.md").chmod(0o600)
    os.utime(two / "pitlogger" / "errors.py", (1, 1_500_000_000))
    first = built(one, tmp_path / "first", 0o022)
    assert {name.rsplit(".", 1)[1] for name in first} == {"whl", "gz"}
    assert built(two, tmp_path / "second", 0o077) == first


@pytest.fixture
def signed(tmp_path: Path) -> tuple[Path, Path]:
    """Return a signed folder and the public key."""
    if shutil.which("ssh-keygen") is None:
        pytest.skip("ssh-keygen is not here")
    key, folder = tmp_path / "key", tmp_path / "release"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(key)], check=True)
    folder.mkdir()
    (folder / "a.whl").write_bytes(b"wheel")
    (folder / "sbom.cdx.json").write_text("{}", encoding="utf-8")
    subprocess.run([str(SIGN), str(key), str(folder)], check=True)
    return folder, key.with_suffix(".pub")


def holds(folder: Path, public: Path) -> bool:
    done = subprocess.run(
        [str(SIGN), "--check", str(public), str(folder)], capture_output=True, check=False
    )
    return done.returncode == 0


def test_a_signature_holds(signed: tuple[Path, Path]) -> None:
    assert holds(*signed)


@pytest.mark.parametrize("name", ["a.whl", "sbom.cdx.json", "SHA256SUMS", "SHA256SUMS.sig"])
def test_one_changed_byte_is_noticed(signed: tuple[Path, Path], name: str) -> None:
    path = signed[0] / name
    data = path.read_bytes()
    path.write_bytes(bytes([data[0] ^ 1]) + data[1:])
    assert not holds(*signed)


def test_an_added_a_missing_file_and_a_stranger_are_noticed(
    signed: tuple[Path, Path], tmp_path: Path
) -> None:
    folder, public = signed
    (folder / "extra.whl").write_bytes(b"not ours")
    assert not holds(folder, public)
    (folder / "extra.whl").unlink()
    assert holds(folder, public)
    stranger = tmp_path / "stranger"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(stranger)], check=True)
    assert not holds(folder, stranger.with_suffix(".pub"))
    (folder / "a.whl").unlink()
    assert not holds(folder, public)
