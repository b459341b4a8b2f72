"""The node as a Homie 5 device. Pure.

Source: the Homie convention 5.0.0 (May 2025): ids of a-z, 0-9 and hyphen; ``$description``
changes only while ``$state`` is not ready; ``$alert/ID`` retained and deleted when over; will
``lost``. The convention lists no unit of mass; free text is allowed.
"""

from __future__ import annotations

import zlib
from typing import Any

from pitlogger.engine.lanes import Lane
from pitlogger.model.alerts import ACTIVE
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import SENML_UNIT, Quality
from pitlogger.notify.mqtt.discovery import slug
from pitlogger.notify.mqtt.tree import to_json
from pitlogger.notify.node import Node

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

    def __init__(self, node: Node) -> None:
        self._node = node
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
                state[f"{self.root}/$alert/{slug(watch.key)}"] = watch.message
        return state | {f"{self.root}/$state": "ready"}

    def reading(self, lane: Lane) -> list[tuple[str, str]]:
        """Return what is published for the last reading of a channel."""
        state = lane.state
        place = f"{self.root}/{slug(state.id)}"
        quality = Quality.STALE if state.stale else state.quality
        told = [(f"{place}/quality", quality.value)]
        if quality is Quality.GOOD and state.value is not None and lane.quantity in SENML_UNIT:
            told.append((f"{place}/value", f"{state.value / SENML_UNIT[lane.quantity][1]:g}"))
        return told

    def _description(self) -> dict[str, Any]:
        nodes = {
            slug(lane.state.id): {
                "name": lane.state.id,
                "type": lane.quantity.value,
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
            for lane in self._node.engine.lanes.values()
            if lane.quantity in _UNIT
        }
        version = zlib.crc32(to_json(nodes).encode())  # any number that changes with the nodes
        name = f"pitlogger {self._node.config.node.name}"
        return {"homie": "5.0", "version": version, "name": name, "nodes": nodes}
