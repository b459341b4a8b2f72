"""Spoken messages: what is said, how loud, and what is told where nobody can hear it."""

from __future__ import annotations

import shutil
import stat
import wave
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from pitlogger.cli.instruments.doctor import doctor
from pitlogger.config import parse_config
from pitlogger.config_notify import SpeechTable
from pitlogger.errors import ConfigError, DeliveryError
from pitlogger.model.alerts import Priority
from pitlogger.notify.message import Message, alive_message
from pitlogger.notify.ways.speech import Speech, missing, spoken

WRAP = Message(
    "wrap-due/brisket-2@1#1", "raised", "To do: wrap due, brisket-2",
    "brisket-2 at 165 F, over 163 F\nSince 04:02 (1 min).\nDo: wrap now, look at the bark.",
    Priority.MEDIUM, 0,
)  # fmt: skip
REAL = shutil.which("espeak-ng")


@pytest.fixture
def program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that is all there is to run from."""
    monkeypatch.setenv("PATH", str(tmp_path))
    return tmp_path / "espeak-ng"


def write(program: Path, script: str) -> None:
    program.write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
    program.chmod(program.stat().st_mode | stat.S_IXUSR)


def said_by(program: Path) -> list[str]:
    return Path(f"{program}.said").read_text(encoding="utf-8").split("\n", 1)


def speech(**given: object) -> Speech:
    return Speech(SpeechTable.model_validate({"kind": "speech", **given}))


def test_what_is_said_names_the_piece_and_what_to_do() -> None:
    assert spoken(WRAP) == (
        "To do: wrap due, brisket 2. brisket 2 at 165 degrees, over 163 degrees. "
        "Do: wrap now, look at the bark"
    )


def test_what_is_said_is_bounded_and_no_option(program: Path) -> None:
    assert len(spoken(replace(WRAP, text="x" * 5000))) <= 400


@pytest.mark.parametrize(
    ("priority", "pct", "loudness"),
    [(Priority.LOW, 100, 80), (Priority.MEDIUM, 100, 130), (Priority.HIGH, 100, 200),
     (Priority.HIGH, 50, 100), (Priority.HIGH, 200, 200)],
)  # fmt: skip
async def test_the_graver_the_louder(
    program: Path, priority: Priority, pct: int, loudness: int
) -> None:
    write(program, f'echo "$@" > {program}.said; /bin/cat >> {program}.said')
    await speech(loudness_pct=pct, voice="en-us").send(
        replace(WRAP, priority=priority, title="-w x")
    )
    argv, text = said_by(program)
    assert argv == f"-a {loudness} -s 150 -v en-us --stdin"
    assert text.startswith("-w x. ")


@pytest.mark.parametrize(
    ("script", "why", "for_good"),
    [("echo 'Error: The voice does not exist.'; exit 1", "voice does not", True),
     ("echo 'ALSA lib: x'; echo 'error: No such file or directory'", "could not be heard", False)],
)  # fmt: skip
async def test_what_keeps_it_silent_is_told(
    program: Path, script: str, why: str, for_good: bool
) -> None:
    write(program, script)
    with pytest.raises(DeliveryError, match=why) as fault:
        await speech().send(WRAP)
    assert fault.value.for_good is for_good


async def test_without_the_program_it_says_how_to_install_it(program: Path) -> None:
    assert missing() == "espeak-ng is not installed"
    with pytest.raises(DeliveryError, match="apt-get install espeak-ng"):
        await speech().send(WRAP)


async def test_a_heartbeat_is_not_spoken(program: Path) -> None:
    assert await speech().send(alive_message("pit", 0, 60)) == "a heartbeat is not spoken"


@pytest.mark.skipif(REAL is None, reason="espeak-ng is not installed")
async def test_the_real_program_makes_sound_of_it(program: Path) -> None:
    """Written to a file in place of a loudspeaker; louder is louder."""
    heard = []
    for priority in (Priority.LOW, Priority.HIGH):
        write(program, f'exec {REAL} -w {program}.wav "$@"')
        await speech().send(replace(WRAP, priority=priority))
        with wave.open(f"{program}.wav") as sound:
            frames = memoryview(sound.readframes(sound.getnframes())).cast("h")
            heard.append(max(map(abs, frames)))
            assert sound.getnframes() > 2 * sound.getframerate()
    assert heard[1] > 1.5 * heard[0]


def test_a_wrong_voice_or_loudness_is_named() -> None:
    for keys in ('voice = "en; rm"', "loudness_pct = 0"):
        with pytest.raises(ConfigError, match=keys.partition(" ")[0]):
            parse_config(f'[[notify.way]]\nkind = "speech"\n{keys}\n')


def test_the_doctor_says_that_it_is_missing_where_it_is_wanted(
    program: Path, tmp_path: Path
) -> None:
    config = tmp_path / "c.toml"
    config.write_text(
        f'[node]\ndata = "{tmp_path}/d"\n[[notify.way]]\nkind = "speech"\n', encoding="utf-8"
    )
    result = CliRunner().invoke(doctor, ["--config", str(config), "--seconds", "0.1"])
    assert "trouble  speech: espeak-ng is not installed" in result.output
    assert result.exit_code == 1
