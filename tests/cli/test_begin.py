"""``pitlogger begin``: a configuration that is good, from answers alone."""

from __future__ import annotations

import inspect
import subprocess
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pitlogger.cli.installation.begin import (
    BeginAnswers,
    begin,
    configuration_text,
    refuse_used,
    zone_of,
)
from pitlogger.cli.installation.service import FIRST_CONFIG
from pitlogger.config import load_config, parse_config
from pitlogger.config_notify import NtfyTable
from pitlogger.devices.contract import Measurement
from pitlogger.devices.drafting import Tried, device_tables
from pitlogger.devices.reach import Find
from pitlogger.devices.registry import Registry
from pitlogger.devices.transports.ports import Port
from pitlogger.errors import RefusedError, UsageError
from pitlogger.model.quantities import Quantity
from pitlogger.testing import PseudoPort


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


@pytest.fixture
def scale(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A scale on the one serial port of this host."""
    stopped = threading.Event()
    with PseudoPort(tmp_path / "usb-board-if00") as port:

        def speak() -> None:
            while not stopped.wait(0.02):
                with suppress(OSError):
                    port.write(b"ST,GS,+   4.218kg\r\n")

        monkeypatch.setattr("pitlogger.devices.reach.ports", lambda: [Port(str(port.path), "x")])
        speaking = threading.Thread(target=speak)
        speaking.start()
        yield port.path
        stopped.set()
        speaking.join()


def test_devices_that_speak_are_written_with_what_they_say(scale: Path, tmp_path: Path) -> None:
    file = tmp_path / "pitlogger.toml"
    words = ["--config", str(file), "--no-bluetooth", "--seconds", "0.5"]
    done = CliRunner().invoke(begin, words, input="\n" * 12)
    assert done.exit_code == 0, done.output
    assert "usb-board-if00: serial-scale, mass 4.218 kg" in done.output
    (device,) = load_config(file).device
    assert (device.driver, (device.model_extra or {})["port"]) == ("serial-scale", str(scale))
    assert [channel.name for channel in device.channel] == ["mass"]
    assert "is lost" not in done.stderr  # the log is not for the person who is asked


def test_devices_that_are_not_wanted_are_not_written(scale: Path, tmp_path: Path) -> None:
    file = tmp_path / "pitlogger.toml"
    words = ["--config", str(file), "--no-bluetooth", "--seconds", "0.5"]
    done = CliRunner().invoke(begin, words, input="\n\n\n\n\nn\n\n")
    assert done.exit_code == 0, done.output
    assert load_config(file).device == ()


def heard(way: str, driver: str, name: str, channel: str) -> Tried:
    """Return a device that gave one temperature."""
    said = Measurement(channel, Quantity.TEMPERATURE, 48.3, "Cel")
    find = Find(way, f"{way}0", name, frozenset(), (("name", name),))
    return Tried(find, Registry().load(driver).info, (), (said,))


def test_the_computers_own_heat_is_no_probe() -> None:
    own = heard("hwmon", "hwmon", "cpu_thermal", "temperature")
    assert device_tables([own]) == ""
    both = device_tables([own, heard("iio", "iio", "amplifier", "temperature")])
    (device,) = parse_config(f'[node]\nname = "pit"\n{both}').device
    assert device.driver == "iio"


@pytest.mark.parametrize("text", [b"[node\nname=", b"\xff\xfe\x00"])
def test_a_configuration_that_cannot_be_read_is_told_in_a_sentence(
    tmp_path: Path, text: bytes
) -> None:
    file = tmp_path / "pitlogger.toml"
    file.write_bytes(text)
    done = answered(file)
    assert isinstance(done.exception, UsageError)
    assert str(file) in str(done.exception)


def test_a_phone_is_paired_only_with_what_runs(tmp_path: Path) -> None:
    done = answered(tmp_path / "pitlogger.toml", *[""] * 12)
    assert "Pair your phone with the page now?" not in done.output
    left = done.output.partition("Left to do:")[2]
    assert left.index("start it: pitlogger run") < left.index("pitlogger pair --role owner")


@pytest.mark.parametrize(
    ("said", "zone"),
    [("Chicago", "America/Chicago"), ("america/chicago", "America/Chicago"),
     ("new york", "America/New_York"), ("Europe/Berlin", "Europe/Berlin"), ("utc", "UTC")],
)  # fmt: skip
def test_a_city_names_its_time_zone(said: str, zone: str) -> None:
    assert zone_of(said) == zone


@pytest.mark.parametrize(
    ("said", "told"),
    [("Chicgo", "America/Chicago"), ("Louisville", "America/Kentucky/Louisville"), ("", "such as"),
     ("../etc/passwd", "is no time zone")],
)  # fmt: skip
def test_a_word_that_names_no_zone_is_told_what_is_near(said: str, told: str) -> None:
    with pytest.raises(UsageError, match=told):
        zone_of(said)


def test_words_for_units_and_an_address_without_its_scheme_are_understood(tmp_path: Path) -> None:
    file = tmp_path / "pitlogger.toml"
    done = answered(
        file, "", "", "Celsius", "kilograms", "kg", "ntfy.example.org/pit-7f3a", "", "n"
    )
    assert done.exit_code == 0, done.output
    read = load_config(file)
    assert (read.units.temperature, read.units.mass) == ("C", "kg")
    (way,) = read.notify.way
    assert isinstance(way, NtfyTable)
    assert way.url == "https://ntfy.example.org/pit-7f3a"


def test_no_text_names_a_file_that_is_not_installed() -> None:
    place = inspect.getsourcefile(zone_of)
    assert place is not None
    source = Path(place).read_text(encoding="utf-8")
    assert "docs/" not in source


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
