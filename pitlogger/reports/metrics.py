"""Metrics in OpenMetrics text, for a monitoring system that collects them.

Source: OpenMetrics 1.0.0 (CNCF; text format): counters end in ``_total``, units end names, the
text ends with ``# EOF``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
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
        entries: Journal entries of this run; ``readings`` likewise, if counted.
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
    readings: int | None = None
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
            lane.state.id,
            lane.site.value,
            lane.piece,
            lane.quantity.value,
            None
            if lane.state.value is None
            else lane.state.value / _MILLI.get(lane.quantity.value, 1_000.0),
            None if lane.state.heard_ms < 0 else (now_ms - lane.state.heard_ms) / 1000,
            lane.state.valid(),
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


# Name, unit in the name and its meaning, for each quantity that has one.
_MEASURED: dict[str, tuple[str, str, str]] = {
    "temperature": ("pitlogger_temperature_celsius", "celsius", "Last good temperature."),
    "mass": ("pitlogger_mass_kilograms", "kilograms", "Last good mass."),
    "humidity": ("pitlogger_humidity_ratio", "ratio", "Last good relative humidity."),
    "battery": ("pitlogger_battery_ratio", "ratio", "Last known charge."),
}


def metrics(now: NodeNow) -> str:
    """Return the exposition text of a node."""
    lines = [
        *_family("pitlogger", "info", "What runs here.", [
            ("pitlogger_info", {"node": now.node, "version": now.version, "run": now.run}, 1),
        ]),
        *_family("pitlogger_well", "gauge", "1 while the engine ticks and the store writes.", [
            ("pitlogger_well", {}, int(now.well)),
        ]),
        *_family("pitlogger_cook_running", "gauge", "1 while a cook runs.", [
            ("pitlogger_cook_running", {}, int(now.cook_runs)),
        ]),
        *_measured(now),
        *_channels(now),
        *_alerts(now),
        *_family("pitlogger_journal_entries", "counter", "Journal entries of this run.", [
            ("pitlogger_journal_entries_total", {}, now.entries),
        ]),
    ]  # fmt: skip
    if now.readings is not None:
        lines += _family("pitlogger_readings", "counter", "Readings delivered in this run.", [
            ("pitlogger_readings_total", {}, now.readings),
        ])  # fmt: skip
    if now.waiting is not None:
        lines += _family(
            "pitlogger_notices_waiting", "gauge", "Notifications that wait, by way.",
            [("pitlogger_notices_waiting", {"way": w}, n) for w, n in now.waiting.items()],
        )  # fmt: skip
    return "\n".join([*lines, *_work(now), "# EOF", ""])


Sample = tuple[str, Mapping[str, str], float]


def _work(now: NodeNow) -> Iterator[str]:
    """Yield how the node gets on with its own work."""
    for name, about, value in (
        ("pitlogger_engine_behind_seconds", "How far the engine is behind.", now.behind_s),
        ("pitlogger_loop_lag_seconds", "Most that the loop came late lately.", now.held_up_s),
        ("pitlogger_commit_seconds", "Time the last commit took.", now.commit_s),
        ("pitlogger_unwritten_seconds", "Wait of the oldest unwritten entry.", now.unwritten_s),
    ):
        if value is not None:
            yield from _family(name, "gauge", about, [(name, {}, value)], "seconds")
    oldest = "pitlogger_notice_age_seconds"
    ages = [(oldest, {"way": way}, age) for way, age in (now.oldest_s or {}).items()]
    yield from _family(oldest, "gauge", "Age of the oldest waiting notice.", ages, "seconds")
    if now.turned_away is not None:
        name = "pitlogger_connections_refused"
        yield from _family(name, "counter", "Connections refused or ended to make room.", [
            (f"{name}_total", {}, now.turned_away),
        ])  # fmt: skip


def _family(
    name: str, kind: Kind, about: str, samples: Iterable[Sample], unit: str = ""
) -> Iterator[str]:
    held = list(samples)
    if not held:
        return
    yield f"# TYPE {name} {kind}"
    if unit:
        yield f"# UNIT {name} {unit}"
    yield f"# HELP {name} {about}"
    for sample, labels, value in held:
        named = ",".join(f'{key}="{_escaped(text)}"' for key, text in labels.items())
        yield f"{sample}{{{named}}} {value:g}" if named else f"{sample} {value:g}"


def _escaped(text: str) -> str:
    text = "".join(char if char.isprintable() or char == "\n" else "\ufffd" for char in text)
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")


def _labels(channel: ChannelNow) -> dict[str, str]:
    return {"channel": channel.id, "site": channel.site, "piece": channel.piece or ""}


def _measured(now: NodeNow) -> Iterator[str]:
    for quantity, (name, unit, about) in _MEASURED.items():
        samples = [
            (name, _labels(channel), channel.value)
            for channel in now.channels
            if channel.quantity == quantity and channel.good and channel.value is not None
        ]
        yield from _family(name, "gauge", about, samples, unit)


def _channels(now: NodeNow) -> Iterator[str]:
    age = "pitlogger_channel_age_seconds"
    yield from _family(
        age, "gauge", "Age of the last reading.",
        [(age, _labels(c), round(c.age_s, 3)) for c in now.channels if c.age_s is not None],
        "seconds",
    )  # fmt: skip
    good = "pitlogger_channel_good"
    yield from _family(
        good, "gauge", "1 while the last reading may be judged.",
        [(good, _labels(channel), int(channel.good)) for channel in now.channels],
    )  # fmt: skip


def _alerts(now: NodeNow) -> Iterator[str]:
    counts: dict[tuple[str, str, str], int] = {}
    for alert in now.alerts:
        counts[alert] = counts.get(alert, 0) + 1
    name = "pitlogger_alerts"
    yield from _family(
        name, "gauge", "Alerts that are not normal.",
        [
            (name, {"kind": kind, "priority": priority, "state": state}, count)
            for (kind, priority, state), count in counts.items()
        ],
    )  # fmt: skip
