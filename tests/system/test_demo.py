"""The demo as a person runs it: the real daemon, simulated devices, a whole short cook."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.slow

SAUSAGES = """
title = "A dozen sausages before the match"
about = "A short cook for the tests of the demo: one batch, one probe, three weighings."
start = 2026-05-02T12:00:00-05:00
limit = "3 h"
notice = "10 s"

[cook]
name = "sausages"
guests = 6

[[piece]]
id = "links"
cut = "sausage"
count = 12
mass = "1.6 kg"
wrap = "none"
wrap_at = "never"
pull_at = "158F"
pit = "pit"

[[channel]]
id = "pit"
site = "pit"
set_point = "275F"

[[channel]]
id = "links/core"
site = "core"
piece = "links"

[[channel]]
id = "bench-scale"
site = "bench"

[containers]
tray = "620 g"

[[pit]]
id = "pit"
kind = "gas"
set = "275F"

[[device]]
id = "bench"
kind = "serial-scale"

[[device]]
id = "probes"
kind = "gatt-environmental"
battery_pct = 70

[[scale]]
channel = "bench-scale"
device = "bench"
auto_off = "1 min"

[[probe]]
channel = "pit"
device = "probes"

[[probe]]
channel = "links/core"
device = "probes"

[[script]]
pieces = ["links"]
steps = [
  "weigh purchased in tray",
  "put on pit",
  "when pull-due: pull",
  "after 5 min: weigh rested in tray",
  "probes away",
  "serve 90 %",
  "weigh leftover in tray",
]
"""

CLOCK = """
[[fault]]
on = "clock"
kind = "clock-step"
amount = -56000000.0
from = "12:00"
to = "12:15"

[[fault]]
on = "clock"
kind = "clock-step"
amount = 3600.0
from = "12:30"
to = "12:40"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("demo")
    (made / "sausages.toml").write_text(SAUSAGES, encoding="utf-8")
    (made / "clock.toml").write_text(SAUSAGES + CLOCK, encoding="utf-8")
    return made


def command(*arguments: str) -> list[str]:
    return [sys.executable, "-c", "from pitlogger.cli import main; main()", *arguments]


def environment(folder: Path, path: str | None = None) -> dict[str, str]:
    changed = {"XDG_DATA_HOME": str(folder / "data"), "PATH": path or os.environ["PATH"]}
    return {**os.environ, **changed}


def run(folder: Path, *arguments: str, path: str | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command(*arguments), env=environment(folder, path), check=False,
        capture_output=True, text=True, timeout=600,
    )  # fmt: skip


@pytest.fixture(scope="module")
def finished(folder: Path) -> subprocess.CompletedProcess[str]:
    if shutil.which("dbus-daemon") is None:
        pytest.skip("dbus-daemon is not installed")
    return run(folder, "demo", "--headless", "--json", "--scenario", str(folder / "sausages.toml"))


@pytest.fixture(scope="module")
def document(finished: subprocess.CompletedProcess[str]) -> dict[str, Any]:
    assert finished.returncode == 0, finished.stderr
    found: dict[str, Any] = json.loads(finished.stdout)
    return found


def test_it_ends_by_itself_with_the_replay_document(document: dict[str, Any]) -> None:
    assert document["finished"] is True
    assert document["refused"] == []
    wanted = {"readings", "span_s", "alerts", "stages", "weighings", "yields", "forecasts"}
    assert wanted | {"record"} <= document.keys()
    assert document["span_s"] > 1800
    assert document["readings"] > 100


def test_the_person_weighed_through_the_real_scale(document: dict[str, Any]) -> None:
    kept = {row["checkpoint"]: row["net_g"] for row in document["weighings"]}
    assert kept["purchased"] == pytest.approx(1600, abs=10)
    assert 1000 < kept["rested"] < 1600
    (account,) = document["yields"]
    assert account["doubts"] == []


def test_the_prompt_brought_the_meat_off_the_pit(document: dict[str, Any]) -> None:
    raised = [row for row in document["alerts"] if row["kind"] == "pull-due"]
    assert raised[0]["state"] == "unacknowledged"
    resting = next(row for row in document["stages"] if row["stage"] == "resting")
    assert resting["from"] > raised[0]["at"]


def test_no_device_was_lost_and_nothing_went_stale(document: dict[str, Any]) -> None:
    kinds = {row["kind"] for row in document["alerts"]}
    assert not kinds & {"device-lost", "channel-stale", "probe-fault", "store-failing"}


def test_a_replay_of_the_record_gives_the_same_alerts_and_yields(
    folder: Path, document: dict[str, Any]
) -> None:
    answer = run(folder, "replay", document["record"], "--cook", document["cook_file"], "--json")
    assert answer.returncode == 0, answer.stderr
    again = json.loads(answer.stdout)
    # A plain replay looks for no stages or weights that nobody named, so asks about none.
    unlooked = ("stage-likely", "weight-likely", "weight-kept")
    asked = [one for one in document["alerts"] if one["kind"] not in unlooked]
    assert again["alerts"] == asked
    assert again["yields"] == document["yields"]
    assert again["stages"] == document["stages"]


def test_the_story_is_told_in_plain_lines(finished: subprocess.CompletedProcess[str]) -> None:
    told = finished.stderr
    assert "\x1b" not in told
    for line in (
        "sausages has begun",
        "take off the pit",
        "links: off the pit",
        "sausages is finished",
    ):
        assert line in told


def test_a_clock_unset_at_boot_and_stepped_later_moves_nothing(folder: Path) -> None:
    """The person is asked for the time until it is known; then all times are repaired."""
    answer = run(folder, "demo", "--headless", "--json", "--scenario", str(folder / "clock.toml"))
    assert answer.returncode == 0, answer.stderr
    found = json.loads(answer.stdout)
    assert found["refused"] == []
    assert "clock not set" in answer.stderr
    kinds = {row["kind"] for row in found["alerts"]}
    assert not kinds & {"device-lost", "channel-stale", "pit-low"}
    kept = {row["checkpoint"]: row["at"] for row in found["weighings"]}
    assert kept["purchased"].startswith("2026-05-02T17:0")
    assert kept["purchased"] < kept["rested"] < kept["leftover"] < "2026-05-02T20"
    assert 1800 < found["span_s"] < 3 * 3600


def test_without_a_message_bus_it_uses_serial_probes_and_an_interrupt_ends_it_cleanly(
    folder: Path, tmp_path: Path
) -> None:
    process = subprocess.Popen(
        command("demo", "--headless", "--json", "--scenario", str(folder / "sausages.toml")),
        env=environment(folder, path=str(tmp_path)), stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stderr is not None
    told = []
    for line in process.stderr:
        told.append(line)
        if "links: on the pit" in line:
            break
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=120)
    assert process.returncode == 0, err
    assert "Traceback" not in err
    assert "dbus-daemon is missing" in "".join(told)
    document = json.loads(out)
    assert document["finished"] is False
    assert document["readings"] > 5
    assert not {"device-lost", "channel-stale"} & {row["kind"] for row in document["alerts"]}


def test_live_devices_say_where_they_are_until_they_are_stopped(folder: Path) -> None:
    process = subprocess.Popen(
        command("simulate", str(folder / "sausages.toml"), "--devices", "--speed", "600"),
        env=environment(folder), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    told = ""
    for line in process.stdout:
        told += line
        if "weighs it at purchased" in line:
            break
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=120)
    assert process.returncode == 0, err
    assert "pitlogger run --config" in told
    assert "serial-scale, port" in told
