"""Metrics are read by the official parser of OpenMetrics."""

from __future__ import annotations

from prometheus_client.openmetrics.parser import text_string_to_metric_families

from pitlogger.bootstrap.engines import new_engine
from pitlogger.engine.feed import feed
from pitlogger.engine.inputs import Command
from pitlogger.formats.cook_file import parse_cook
from pitlogger.model.journal import CookStarted, TroubleChanged
from pitlogger.model.readings import Quality, Reading
from pitlogger.reports.metrics import ChannelNow, NodeNow, alerts_now, channels_now, metrics
from tests.reports.conftest import COOK, START_MS

EVIL = 'a"b\\c\nd{}'
NOW = NodeNow(
    node=EVIL, version="0.1", run="r", well=True, cook_runs=True,
    channels=(
        ChannelNow("pit", "pit", None, "temperature", 115.5, 1.25, True),
        ChannelNow("bench", "bench", None, "mass", 6.4, 3.0, True),
        ChannelNow(EVIL, "core", "brisket-1", "temperature", 70.0, 99.0, False),
        ChannelNow("new", "core", None, "temperature", None, None, False),
    ),
    alerts=(("pit-low", "medium", "unacknowledged"), ("pit-low", "medium", "unacknowledged")),
    entries=12, waiting={"phone": 2},
)  # fmt: skip


def samples(text: str) -> dict[str, list[tuple[dict[str, str], float]]]:
    found: dict[str, list[tuple[dict[str, str], float]]] = {}
    for family in text_string_to_metric_families(text):  # type: ignore[no-untyped-call]
        for sample in family.samples:
            found.setdefault(sample.name, []).append((sample.labels, sample.value))
    return found


def test_the_official_parser_reads_every_sample() -> None:
    read = samples(metrics(NOW))
    assert read["pitlogger_journal_entries_total"] == [({}, 12.0)]
    assert read["pitlogger_notices_waiting"] == [({"way": "phone"}, 2.0)]
    assert read["pitlogger_mass_kilograms"][0][1] == 6.4


def test_names_survive_whatever_they_hold() -> None:
    read = samples(metrics(NOW))
    assert read["pitlogger_info"][0][0]["node"] == EVIL
    assert EVIL in [labels["channel"] for labels, _ in read["pitlogger_channel_good"]]


def test_a_value_that_may_not_be_judged_is_left_out() -> None:
    read = samples(metrics(NOW))
    assert [labels["channel"] for labels, _ in read["pitlogger_temperature_celsius"]] == ["pit"]


def test_alerts_are_counted_by_kind_priority_and_state() -> None:
    ((labels, count),) = samples(metrics(NOW))["pitlogger_alerts"]
    assert (labels["kind"], labels["state"], count) == ("pit-low", "unacknowledged", 2.0)


def test_a_node_with_nothing_to_tell_is_still_readable() -> None:
    read = samples(metrics(NodeNow("pit", "0.1", "r", False, False)))
    assert read["pitlogger_well"] == [({}, 0.0)]


def test_an_engine_is_told_in_base_units() -> None:
    engine = new_engine("r")
    said = (
        Command(START_MS, CookStarted(parse_cook(COOK))),
        Reading("bench", START_MS + 1000, 6_400_000, Quality.GOOD, True),
        Reading("pit", START_MS + 1000, 115_500, Quality.GOOD),
        Command(START_MS + 2000, TroubleChanged("disk-low", "node", True, "full")),
    )
    for given in said:
        for _ in feed(engine, given):
            pass
    known = {channel.id: channel for channel in channels_now(engine, START_MS + 3000)}
    assert (known["bench"].value, known["pit"].value, known["pit"].age_s) == (6.4, 115.5, 2.0)
    assert ("disk-low", "medium", "unacknowledged") in alerts_now(engine)
