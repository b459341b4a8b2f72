"""``pitlogger service``: files in another root, what they hold, what is taken away again."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest
from click.testing import CliRunner

from pitlogger.cli.installation.service import service
from pitlogger.config import load_config
from pitlogger.errors import RefusedError


def run(*words: str) -> str:
    result = CliRunner().invoke(service, list(words), catch_exceptions=False)
    return result.output


def test_the_texts_are_printed_as_they_would_be_installed() -> None:
    assert "WatchdogSec=30" in run("files", "unit")
    assert run("files").endswith(run("files", "udev"))


def test_files_are_put_into_an_image_with_a_configuration_that_is_good(tmp_path: Path) -> None:
    told = run("install", "--root", str(tmp_path))
    config = tmp_path / "etc/pitlogger/pitlogger.toml"
    assert f"wrote {config}" in told
    assert load_config(config).node.socket == Path("/run/pitlogger/pitlogger.sock")
    assert stat.S_IMODE(config.stat().st_mode) == 0o640
    assert "ExecStart=/" in (tmp_path / "etc/systemd/system/pitlogger.service").read_text()
    assert (tmp_path / "etc/udev/rules.d/99-pitlogger.rules").exists()


def test_a_configuration_that_is_there_stays(tmp_path: Path) -> None:
    config = tmp_path / "etc/pitlogger/pitlogger.toml"
    config.parent.mkdir(parents=True)
    config.write_text('[node]\nname = "mine"\n')
    assert "stays as it is" in run("install", "--root", str(tmp_path))
    assert load_config(config).node.name == "mine"


def test_removing_takes_the_files_and_leaves_record_and_configuration(tmp_path: Path) -> None:
    run("install", "--root", str(tmp_path))
    told = run("remove", "--root", str(tmp_path))
    assert not (tmp_path / "etc/systemd/system/pitlogger.service").exists()
    assert (tmp_path / "etc/pitlogger/pitlogger.toml").exists()
    assert "kept: the record" in told
    assert "nothing was installed" in run("remove", "--root", str(tmp_path))


def test_without_root_the_host_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("os.geteuid", lambda: 1000)
    with pytest.raises(RefusedError, match="needs root: sudo pitlogger service"):
        CliRunner().invoke(service, ["install"], catch_exceptions=False)


def test_a_service_that_does_not_run_is_told_with_three(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PITLOGGER_SOCKET", str(tmp_path / "none.sock"))
    result = CliRunner().invoke(service, ["status", "--json"], standalone_mode=False)
    assert result.return_value == 3
    assert '"answers": false' in result.output
