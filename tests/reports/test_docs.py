"""The pages about being told and handing over name what there is, and the notebook runs."""

from __future__ import annotations

import json
import re
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import click
import pytest

from pitlogger.cli.records.report import report
from pitlogger.config import MqttTable, parse_config
from pitlogger.config_notify import AnyWay, NotifyTable, SounderTable
from pitlogger.notify.mqtt.commands import WORDS
from pitlogger.reports.metrics import NodeNow, metrics
from pitlogger.reports.tables import NAMES

DOCS = Path(__file__).parents[2] / "docs"


def page(name: str) -> str:
    return (DOCS / name).read_text(encoding="utf-8")


def indented(text: str, start: str) -> str:
    """Return the indented block that begins with a line."""
    lines = text[text.index(f"    {start}") :].splitlines()
    block = []
    for line in lines:
        if line and not line.startswith("    "):
            break
        block.append(line.removeprefix("    "))
    return "\n".join(block)


def test_the_configuration_shown_is_accepted() -> None:
    broker = "[mqtt]\nenabled = true\n"
    parse_config(broker + indented(page("notifications.md"), "[notify]"))
    parse_config(indented(page("mqtt.md"), "[mqtt]"))


def test_every_key_of_notify_and_mqtt_is_documented() -> None:
    told = page("notifications.md")
    ways = AnyWay.__args__[0].__args__
    for model in (NotifyTable, SounderTable, *ways):
        for key in model.model_fields:
            assert key in told, key
    assert [key for key in MqttTable.model_fields if key not in page("mqtt.md")] == []


def test_every_report_command_and_table_is_documented() -> None:
    told = page("reports.md")
    assert isinstance(report, click.Group)
    assert [name for name in report.commands if f"pitlogger report {name}" not in told] == []
    assert [name for name in NAMES if f"`{name}`" not in told] == []


def test_every_mqtt_command_is_documented() -> None:
    assert [word for word in WORDS if f"`{word}`" not in page("mqtt.md")] == []


def test_the_metrics_named_are_those_there_are() -> None:
    exposed = metrics(NodeNow("n", "0", "r", True, True))
    assert "pitlogger_well" in exposed
    assert "pitlogger_journal_entries_total" in exposed


@pytest.mark.parametrize("name", ["notifications.md", "mqtt.md", "reports.md",
                                  "reading-the-record.md"])  # fmt: skip
def test_no_page_calls_food_by_a_good_name(name: str) -> None:
    assert not re.search(r"\bsafe\b", page(name), re.IGNORECASE)


def test_the_notebook_reads_a_record(
    database: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PITLOGGER_RECORD", str(database))
    notebook = json.loads(page("notebooks/a-cook.ipynb"))
    names: dict[str, Any] = {}
    for cell in notebook["cells"]:
        if cell["cell_type"] == "code":
            exec("".join(cell["source"]), names)
    names["record"].close()
    said = capsys.readouterr().out
    assert "brisket-1    purchased      6.400 kg" in said
    assert "pit stood under 100 C for 0 min" in said


def test_the_record_can_be_read_as_the_page_says(database: Path) -> None:
    with closing(sqlite3.connect(f"file:{database}?mode=ro", uri=True)) as record:
        question = "SELECT channel, avg(mean) / 1000 FROM reading_60s GROUP BY channel"
        assert dict(record.execute(question))["pit"] == pytest.approx(115)
