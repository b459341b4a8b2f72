"""Nothing prints a traceback: what nobody expected is one sentence and a file."""

from __future__ import annotations

import logging
import os
import subprocess
import sys
from pathlib import Path

import click
import pytest

from pitlogger import cli
from pitlogger.cli.installation.service import refuse_hidden
from pitlogger.errors import RefusedError
from pitlogger.service import logs

NOBODY = 65534
POWERLESS = (
    "setpriv",
    "--bounding-set=-all",
    "--inh-caps=-all",
)  # root who may no more than others
SECRET = "tk_AgQdq7mVBoFD37zQVN29RhuMzNIz2"
as_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root can give a folder away")


@click.command()
def broken() -> None:
    """Fail as nobody expected."""
    raise RuntimeError(f"no more charcoal {SECRET}")


def test_an_error_nobody_expected_is_a_sentence_and_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    monkeypatch.setattr(cli.root, "get_command", lambda *_: broken)
    with pytest.raises(SystemExit) as ended:
        cli.main(["status"])
    said = capsys.readouterr().err
    assert ended.value.code == 1
    assert len(said.splitlines()) == 1
    assert "RuntimeError: no more charcoal" in said
    (report,) = (tmp_path / "pitlogger").glob("crash-*.txt")
    assert str(report) in said
    told = report.read_text(encoding="utf-8")
    assert "Traceback" in told
    assert SECRET not in told + said


def test_a_log_line_names_the_file_that_tells_where_an_error_came_from(tmp_path: Path) -> None:
    try:
        raise RuntimeError("no more charcoal")
    except RuntimeError as error:
        given = (RuntimeError, error, error.__traceback__)
    record = logging.LogRecord("x", logging.ERROR, "", 0, "driver failed", None, given)
    said = logs.LineFormatter("%(message)s", tmp_path).format(record)
    (report,) = tmp_path.glob("fault-*.txt")
    assert (
        said == f"driver failed\nRuntimeError: no more charcoal; where it came from is in {report}"
    )
    assert "Traceback" in report.read_text(encoding="utf-8")


@as_root
@pytest.mark.parametrize(
    "words",
    [["status"], ["weigh", "brisket-1", "trimmed", "5 kg"], ["service", "status"],
     ["store", "doctor"], ["pair"], ["night"],
     ["devices", "scan", "--no-bluetooth", "--seconds", "0.1"]],
    ids=" ".join,
)  # fmt: skip
def test_a_user_outside_the_group_is_told_the_group_command(
    tmp_path: Path, words: list[str]
) -> None:
    """As after the package: folders of the service that others may not enter."""
    shut = tmp_path / "run"
    for folder in (shut, tmp_path / "etc"):
        folder.mkdir(mode=0o750)
    (tmp_path / "etc/pitlogger.toml").write_text("[node]\n")
    for folder in (shut, tmp_path / "etc"):
        os.chown(folder, NOBODY, NOBODY)
    program = f"""
import sys
from pathlib import Path
import pitlogger.cli
import pitlogger.cli.client as client
import pitlogger.cli.installation.configuration as configuration
client.SYSTEM_SOCKET = Path({str(shut / "pitlogger.sock")!r})
configuration.SYSTEM_CONFIG = Path({str(tmp_path / "etc/pitlogger.toml")!r})
sys.argv[1:] = {words!r}
pitlogger.cli.main()
"""
    done = subprocess.run(
        [*POWERLESS, sys.executable, "-c", program],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert "Traceback" not in done.stderr
    if words[:2] != ["devices", "scan"]:
        assert done.returncode in (2, 3), done
        assert (
            "sudo usermod -aG pitlogger $USER, then log out and in again"
            in done.stdout + done.stderr
        )


def test_a_program_in_a_home_folder_is_no_service(tmp_path: Path) -> None:
    with pytest.raises(RefusedError, match=r"/home/pat.*a service does not see.*/opt/pitlogger"):
        refuse_hidden(Path("/home/pat/pitlogger/.venv/bin/pitlogger"))
    link = Path("/opt") / "nothing"
    refuse_hidden(Path("/usr/bin/env"), link)


def test_a_link_into_a_home_folder_is_no_service_either(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pitlogger.cli.installation.service.HIDDEN", (tmp_path / "home",))
    target = tmp_path / "home/pat/pitlogger"
    target.parent.mkdir(parents=True)
    target.touch()
    link = tmp_path / "pitlogger"
    link.symlink_to(target)
    with pytest.raises(RefusedError, match="a service does not see"):
        refuse_hidden(link)
