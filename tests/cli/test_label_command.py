"""``pitlogger label``: pages, files and bytes for a printer, from a cook file or a daemon."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pitlogger.cli.records.label import label
from pitlogger.errors import DaemonUnreachableError, UsageError

COOK = '[cook]\nname = "harvest supper"\n[[piece]]\nid = "brisket-1"\ncut = "brisket-packer"\n'


def run(*arguments: str) -> Result:
    return CliRunner().invoke(label, list(arguments))


@pytest.fixture
def cook(tmp_path: Path) -> str:
    (tmp_path / "cook.toml").write_text(COOK, encoding="utf-8")
    return str(tmp_path / "cook.toml")


def test_tags_of_a_cook_to_come_name_no_cook(cook: str) -> None:
    found = json.loads(run("--cook-file", cook, "--json").stdout)
    assert found == {
        "tags": [{"text": "PLP::brisket-1", "title": "brisket-1", "about": "harvest supper"}]
    }


def test_a_page_a_file_for_a_printer_and_a_wrong_ending(cook: str, tmp_path: Path) -> None:
    assert run("--cook-file", cook).stdout.count("<svg") == 2
    assert run("--cook-file", cook, "--out", str(tmp_path / "t.bin")).exit_code == 0
    assert b"PLP::brisket-1" in (tmp_path / "t.bin").read_bytes()
    assert isinstance(
        run("--cook-file", cook, "--out", str(tmp_path / "t.doc")).exception, UsageError
    )


def test_a_printer_gets_the_bytes(cook: str, tmp_path: Path) -> None:
    (tmp_path / "lp0").touch()
    assert run("--cook-file", cook, "--printer", str(tmp_path / "lp0")).exit_code == 0
    assert (tmp_path / "lp0").read_bytes().startswith(b"\x1b@")


@pytest.mark.parametrize(
    ("more", "error"),
    [(["brisket-2"], "unknown piece 'brisket-2' .did you mean 'brisket-1'"),
     (["--tray", "pan"], "--tray names containers of the daemon")],
)  # fmt: skip
def test_what_is_not_there_is_named(cook: str, more: list[str], error: str) -> None:
    with pytest.raises(UsageError, match=error):
        raise run(*more, "--cook-file", cook).exception or AssertionError


def test_without_a_daemon_it_says_so(tmp_path: Path) -> None:
    found = run("--socket", str(tmp_path / "none")).exception
    assert isinstance(found, DaemonUnreachableError)
