"""Metrics in OpenMetrics text, for a monitoring system that collects them.

Source: OpenMetrics 1.0.0 (CNCF; text format): counters end in ``_total``, units end names, the
text ends with ``# EOF``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from pitlogger.engine.step import Engine
from pitlogger.model.alerts import AlertState

CONTENT_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
Kind = Literal["gauge", "counter", "info"]


@dataclass(frozen=True, slots=True)
class ChannelNow:
    """A channel as it stands. ``value`` is in the unit its quantity is measured in, or none."""

    id: str
    site: str
    piece: str | None
    quantity: str
    value: float | None
    age_s: float | None
    good: bool


@dataclass(frozen=True, slots=True)
class NodeNow:
    """What is worth watching of a node.

    Attributes:
        alerts: (kind, priority, state) of each alert that is not normal.
        entries: Journal entries of this run.
        waiting: Notifications that wait, by way.
        oldest_s: Age of the oldest message that waits, by way; 0 where none does.
        held_up_s: Most that the event loop came late in the last minutes.
        behind_s: How far the engine is behind its clock; up to 1 is the pace of its ticks.
        commit_s: How long the last commit took, with its wait for the disk.
        unwritten_s: How long the oldest entry has been waiting for the disk.
        turned_away: Connections refused or ended to make room.
    """

    node: str
    version: str
    run: str
    well: bool
    cook_runs: bool
    channels: tuple[ChannelNow, ...] = ()
    alerts: tuple[tuple[str, str, str], ...] = ()
    entries: int = 0
    waiting: Mapping[str, int] | None = None
    oldest_s: Mapping[str, float] | None = None
    behind_s: float | None = None
    held_up_s: float | None = None
    commit_s: float | None = None
    unwritten_s: float | None = None
    turned_away: int | None = None


# Milli-units of a channel for one of the unit that is exposed.
_MILLI = {"temperature": 1_000.0, "mass": 1_000_000.0, "humidity": 100_000.0, "battery": 100_000.0}


def channels_now(engine: Engine, now_ms: int) -> tuple[ChannelNow, ...]:
    """Return the channels of an engine as they stand at an engine time."""
    return tuple(
        ChannelNow(
            (state := lane.state).id,
            lane.site.value,
            lane.piece,
            (quantity := lane.quantity.value),
            None if state.value is None else state.value / _MILLI.get(quantity, 1_000.0),
            None if state.heard_ms < 0 else (now_ms - state.heard_ms) / 1000,
            state.valid(),
        )
        for lane in engine.lanes.values()
    )


def alerts_now(engine: Engine) -> tuple[tuple[str, str, str], ...]:
    """Return kind, priority and state of each alert that is not normal."""
    return tuple(
        (watch.kind, watch.priority.label, watch.state.value)
        for watch in engine.state.watches.values()
        if watch.state is not AlertState.NORMAL
    )


# Name and meaning of each quantity that has one; the unit ends the name.
_MEASURED = {
    "temperature": ("pitlogger_temperature_celsius", "Last good temperature."),
    "mass": ("pitlogger_mass_kilograms", "Last good mass."),
    "humidity": ("pitlogger_humidity_ratio", "Last good relative humidity."),
    "battery": ("pitlogger_battery_ratio", "Last known charge."),
}
_UNITS = ("celsius", "kilograms", "ratio", "seconds")
_SUFFIX = {"info": "_info", "counter": "_total", "gauge": ""}
Sample = tuple[Mapping[str, str], float | None]  # labels and value; none is not exposed


def metrics(now: NodeNow) -> str:
    """Return the exposition text of a node."""
    lines: list[str] = []
    for name, kind, about, samples in _families(now):
        known = [(labels, value) for labels, value in samples if value is not None]
        if not known:
            continue
        unit = name.rpartition("_")[2]
        lines.append(f"# TYPE {name} {kind}")
        lines += [f"# UNIT {name} {unit}"] if unit in _UNITS else []
        lines.append(f"# HELP {name} {about}")
        for labels, value in known:
            named = ",".join(f'{key}="{_escaped(text)}"' for key, text in labels.items())
            sample = name + _SUFFIX[kind]
            lines.append(f"{sample}{{{named}}} {value:g}" if named else f"{sample} {value:g}")
    return "\n".join([*lines, "# EOF", ""])


def _families(now: NodeNow) -> Iterator[tuple[str, Kind, str, list[Sample]]]:
    """Yield name, kind, meaning and samples of all that is exposed."""
    known = {"node": now.node, "version": now.version, "run": now.run}
    yield "pitlogger", "info", "What runs here.", [(known, 1)]
    of_alerts: list[Sample] = [
        (dict(zip(("kind", "priority", "state"), alert, strict=True)), count)
        for alert, count in Counter(now.alerts).items()
    ]
    for quantity, (name, about) in _MEASURED.items():
        good = [one for one in now.channels if one.good and one.quantity == quantity]
        yield name, "gauge", about, [(_labels(one), one.value) for one in good]
    ages: list[Sample] = [(_labels(one), one.age_s) for one in now.channels]
    judged: list[Sample] = [(_labels(one), float(one.good)) for one in now.channels]
    gauges: tuple[tuple[str, str, list[Sample]], ...] = (
        ("well", "1 while the engine ticks and the store writes.", [({}, int(now.well))]),
        ("cook_running", "1 while a cook runs.", [({}, int(now.cook_runs))]),
        ("channel_age_seconds", "Age of the last reading.", ages),
        ("channel_good", "1 while the last reading may be judged.", judged),
        ("alerts", "Alerts that are not normal.", of_alerts),
        ("notices_waiting", "Notifications that wait, by way.", _by_way(now.waiting)),
        ("notice_age_seconds", "Age of the oldest waiting notice.", _by_way(now.oldest_s)),
        ("engine_behind_seconds", "How far the engine is behind.", [({}, now.behind_s)]),
        ("loop_lag_seconds", "Most that the loop came late lately.", [({}, now.held_up_s)]),
        ("commit_seconds", "Time the last commit took.", [({}, now.commit_s)]),
        ("unwritten_seconds", "Wait of the oldest unwritten entry.", [({}, now.unwritten_s)]),
    )
    for name, about, samples in gauges:
        yield f"pitlogger_{name}", "gauge", about, samples
    for name, about, count in (
        ("journal_entries", "Journal entries of this run.", now.entries),
        ("connections_refused", "Connections refused or ended to make room.", now.turned_away),
    ):
        yield f"pitlogger_{name}", "counter", about, [({}, count)]


def _labels(channel: ChannelNow) -> dict[str, str]:
    return {"channel": channel.id, "site": channel.site, "piece": channel.piece or ""}


def _by_way(held: Mapping[str, float] | None) -> list[Sample]:
    return [({"way": way}, value) for way, value in (held or {}).items()]


def _escaped(text: str) -> str:
    text = "".join(char if char.isprintable() or char == "\n" else "\ufffd" for char in text)
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
