"""Somebody else's driver: built to a wheel, installed elsewhere, found and tested there."""

from __future__ import annotations

import shutil
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent / "third_party"
ROOT = Path(__file__).parents[2]


def run(*command: str, cwd: Path) -> str:
    """Run a program and return what it printed."""
    done = subprocess.run(command, cwd=cwd, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{command}: {done.stdout}{done.stderr}"
    return done.stdout


@pytest.fixture(scope="module")
def elsewhere(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh environment with the kettle's wheel; pitlogger itself comes from this one."""
    folder = tmp_path_factory.mktemp("elsewhere")
    shutil.copytree(PACKAGE, folder / "source")
    build = (sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(folder))
    run(*build, str(folder / "source"), cwd=folder)
    venv.create(folder / "venv", with_pip=False)
    (wheel,) = folder.glob("*.whl")
    python = folder / "venv" / "bin" / "python"
    run(
        sys.executable, "-m", "pip", "--python", str(python), "install", "--no-deps", "--no-index",
        str(wheel), cwd=folder,
    )  # fmt: skip
    shared = (sysconfig.get_path("purelib"), ROOT, ROOT / "drivers")
    (site,) = (folder / "venv" / "lib").glob("python*/site-packages")
    (site / "shared.pth").write_text("".join(f"{path}\n" for path in shared), encoding="utf-8")
    return folder


@pytest.mark.slow
def test_a_third_party_driver_is_found_and_loaded(elsewhere: Path) -> None:
    said = run(
        str(elsewhere / "venv" / "bin" / "python"), "-c",
        "from pitlogger.devices.registry import Registry as R; r = R(); "
        "print('serial-scale' in r.names(), r.load('tea-kettle').info.summary)",
        cwd=elsewhere,
    )  # fmt: skip
    assert said == "True a kettle that prints its temperature\n"


@pytest.mark.slow
def test_a_third_party_driver_passes_the_contract_suite(elsewhere: Path) -> None:
    said = run(
        str(elsewhere / "venv" / "bin" / "python"), "-m", "pytest", "-q", "-o",
        "asyncio_mode=auto", "-o", "asyncio_default_fixture_loop_scope=function",
        str(elsewhere / "source" / "check_contract.py"),
        cwd=elsewhere / "source",
    )  # fmt: skip
    assert "12 passed" in said
