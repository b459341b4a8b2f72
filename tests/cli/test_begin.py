"""``pitlogger begin``: a configuration that is good, from answers alone."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pitlogger.cli.installation.begin import BeginAnswers, begin, configuration_text, refuse_used
from pitlogger.cli.installation.service import FIRST_CONFIG
from pitlogger.config import load_config
from pitlogger.config_notify import NtfyTable
from pitlogger.errors import RefusedError


def answered(file: Path, *lines: str) -> Result:
    """Go through the questions with these answers."""
    words = ["--config", str(file), "--no-bluetooth", "--seconds", "0"]
    return CliRunner().invoke(begin, words, input="".join(f"{line}\n" for line in lines))


def test_enter_alone_makes_a_configuration_that_is_good(tmp_path: Path) -> None:
    file = tmp_path / "pitlogger.toml"
    done = answered(file, *[""] * 12)
    assert done.exit_code == 0, done.output
    read = load_config(file)
    assert (read.units.temperature, read.units.mass) == ("F", "lb-oz")
    assert "say who is told of alarms" in done.output
    assert f"start it: pitlogger run --config {file}" in done.output


def test_answers_that_cannot_be_used_are_asked_again(tmp_path: Path) -> None:
    file = tmp_path / "pitlogger.toml"
    done = answered(
        file, "Big Smoker!", "big-smoker", "n", "Atlantis", "Europe/Berlin", "y", "c", "",
        "my phone", "http://127.0.0.1:9/pit-7f3a", "y", "n", "n",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    read = load_config(file)
    assert read.node.name == "big-smoker"
    assert (read.units.temperature, read.units.mass) == ("C", "kg")
    (way,) = read.notify.way
    assert isinstance(way, NtfyTable)
    assert way.url == "http://127.0.0.1:9/pit-7f3a"
    for told in ("'Atlantis' is no time zone", "an address such as", "such as pit or big-smoker"):
        assert told in done.output


@pytest.mark.parametrize(("is_service", "code", "left"), [
    (True, 0, False), (True, 1, True), (False, 0, True),
])  # fmt: skip
def test_a_time_zone_that_was_not_set_is_left_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, is_service: bool, code: int, left: bool
) -> None:
    asked: list[str] = []

    def ran(command: list[str], **_: object) -> subprocess.CompletedProcess[bytes]:
        asked.append(command[-1])
        return subprocess.CompletedProcess(command, code)

    monkeypatch.setattr("os.geteuid", lambda: 0)
    monkeypatch.setattr("shutil.which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr("subprocess.run", ran)
    file = tmp_path / "pitlogger.toml"
    if is_service:
        monkeypatch.setattr("pitlogger.cli.installation.begin.SYSTEM_CONFIG", file)
    done = answered(file, "", "n", "Europe/Berlin", "y", "", "", "", "n")
    told = done.output + str(done.exception)
    assert ("Europe/Berlin" in asked) is is_service
    assert ("Now it is" in told) is not left


def test_nothing_is_written_before_it_was_agreed_to(tmp_path: Path) -> None:
    file = tmp_path / "pitlogger.toml"
    done = answered(file, "", "", "", "", "", "n")
    assert isinstance(done.exception, RefusedError)
    assert not file.exists()
    assert answered(file, "").exit_code == 1  # the answers ended
    assert not file.exists()


def test_a_configuration_somebody_worked_on_stays(tmp_path: Path) -> None:
    file = tmp_path / "pitlogger.toml"
    file.write_text(FIRST_CONFIG)
    refuse_used(file)  # the one of the package is nobody's work
    file.write_text('[node]\nname = "mine"\n[web]\nport = 80\n')
    with pytest.raises(RefusedError, match=r"is set up already \(web\)"):
        refuse_used(file)


def test_the_service_keeps_its_socket() -> None:
    text = configuration_text(BeginAnswers(), is_service=True)
    assert 'socket = "/run/pitlogger/pitlogger.sock"' in text
