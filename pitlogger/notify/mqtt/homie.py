"""The node as a Homie 5 device. Pure.

Source: the Homie convention 5.0 (github.com/homieiot/convention, convention.md), by section.
Topic IDs: a-z, 0-9 and hyphen. QoS and retained messages: QoS 2 for what is retained. Device
attributes: ``homie``, ``version`` and ``name`` are required, ``nodes`` and ``properties`` are
objects by id, a changed document gets a higher version, and it changes only while ``$state`` is
``init``, ``disconnected`` or ``lost``. Lifecycle: ``ready`` once all values are out. Float: no
sign but a minus. Formats: that of an enum is required. Units: no unit of mass is among the
recommended ones; free text is allowed. Alert topic: retained, deleted when over.
"""

from __future__ import annotations

from typing import Any

from pitlogger.engine.compiled_channel import Lane
from pitlogger.model.alerts import ACTIVE
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import SENML_UNIT, Quality
from pitlogger.notify.mqtt.discovery import ids_of, slug
from pitlogger.notify.mqtt.tree import to_json
from pitlogger.views.node import Node

_UNIT: dict[Quantity, str] = {
    Quantity.TEMPERATURE: "°C",
    Quantity.MASS: "kg",
    Quantity.HUMIDITY: "%",
    Quantity.BATTERY: "%",
    Quantity.SIGNAL: "dBm",
    Quantity.PRESSURE: "Pa",
    Quantity.VOLTAGE: "V",
}


class HomieTree:
    """One Homie device: a node a channel, with its value and its quality."""

    qos = reading_qos = 2

    def __init__(self, node: Node) -> None:
        self._node = node
        self._nodes: dict[str, Any] = {}
        self._version = 0
        self.root = f"homie/5/pitlogger-{slug(node.config.node.name)}"
        self.will = (f"{self.root}/$state", "lost")

    def first(self) -> list[tuple[str, str]]:
        """Return what is published before all else, and before the description changes."""
        return [(f"{self.root}/$state", "init")]

    def last(self) -> list[tuple[str, str]]:
        """Return what is published before a clean end."""
        return [(f"{self.root}/$state", "disconnected")]

    def state(self) -> dict[str, str]:
        """Return what is to be retained now, by topic; readings apart, ``$state`` at last."""
        state = {f"{self.root}/$description": to_json(self._description())}
        for watch in self._node.engine.state.watches.values():
            if watch.state in ACTIVE:
                state[f"{self.root}/$alert/{slug(watch.key)}"] = watch.message or watch.kind
        return state | {f"{self.root}/$state": "ready"}

    def reading(self, lane: Lane) -> list[tuple[str, str]]:
        """Return what is published for the last reading of a channel."""
        state = lane.state
        place = f"{self.root}/{self._ids()[state.id]}"
        quality = Quality.STALE if state.stale else state.quality
        told = [(f"{place}/quality", quality.value)]
        if quality is Quality.GOOD and state.value is not None and lane.quantity in SENML_UNIT:
            told.append((f"{place}/value", number(state.value / SENML_UNIT[lane.quantity][1])))
        return told

    def _ids(self) -> dict[str, str]:
        return ids_of(self._node.engine.lanes)

    def _description(self) -> dict[str, Any]:
        ids = self._ids()
        nodes = {
            ids[lane.state.id]: _described(lane)
            for lane in self._node.engine.lanes.values()
            if lane.quantity in _UNIT
        }
        if nodes != self._nodes or not self._version:
            # Engine time never runs back, over restarts either.
            self._version = max(self._version + 1, self._node.clock.engine_ms())
            self._nodes = nodes
        name = f"pitlogger {self._node.config.node.name}"
        return {"homie": "5.0", "version": self._version, "name": name, "nodes": nodes}


def _described(lane: Lane) -> dict[str, Any]:
    return {
        "name": lane.state.id,
        "type": f"pitlogger-{lane.quantity.value}",
        "properties": {
            "value": {
                "name": lane.quantity.value,
                "datatype": "float",
                "unit": _UNIT[lane.quantity],
            },
            "quality": {
                "name": "quality",
                "datatype": "enum",
                "format": ",".join(quality.value for quality in Quality),
            },
        },
    }


def number(value: float) -> str:
    """Return a number without exponent; six decimals show a milligram in kilograms."""
    return f"{value:.6f}".rstrip("0").rstrip(".")
