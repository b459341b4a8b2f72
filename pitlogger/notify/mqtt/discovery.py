"""Discovery by home-automation hubs: one retained message that describes the whole node.

Source: public documentation of MQTT discovery, device form: topic PREFIX/device/ID/config,
``dev`` and ``o`` mandatory, each of ``cmps`` with ``p`` and ``unique_id``.
"""

from __future__ import annotations

import re
from typing import Any

from pitlogger import __version__
from pitlogger.engine.lanes import Lane
from pitlogger.model.quantities import Quantity
from pitlogger.notify.mqtt.tree import OFFLINE, ONLINE, level, to_json
from pitlogger.notify.node import Node

# Unit, device class of a quantity. No class says "battery of a probe" better than battery.
_SENSOR: dict[Quantity, tuple[str, str]] = {
    Quantity.TEMPERATURE: ("°C", "temperature"),
    Quantity.MASS: ("kg", "weight"),
    Quantity.HUMIDITY: ("%", "humidity"),
    Quantity.BATTERY: ("%", "battery"),
    Quantity.SIGNAL: ("dBm", "signal_strength"),
    Quantity.PRESSURE: ("Pa", "pressure"),
    Quantity.VOLTAGE: ("V", "voltage"),
}
_EXPIRY_PERIODS, _LEAST_EXPIRY_S = 3, 15
_VALUE = "{{ value_json[0].v if 'v' in value_json[0] else none }}"


def slug(text: str) -> str:
    """Return a text as an id of lowercase letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", text.casefold()).strip("-") or "x"


def discovery(node: Node, root: str, prefix: str) -> tuple[str, str]:
    """Return the topic and document that describe the node and its channels.

    No name of a channel or piece gets into a template: names are strangers' text.

    Args:
        root: Of the node's own tree.
        prefix: Under which the hub looks, such as ``homeassistant``.
    """
    own = f"pitlogger-{slug(node.config.node.name)}"
    components: dict[str, Any] = {
        "alarm": {
            "p": "binary_sensor",
            "unique_id": f"{own}-alarm",
            "name": "Alarm",
            "device_class": "problem",
            "state_topic": f"{root}/cook",
            "value_template": "{{ 'ON' if value_json.alarms else 'OFF' }}",
        }
    }
    for lane in node.engine.lanes.values():
        if lane.quantity in _SENSOR:
            components[slug(lane.state.id)] = _sensor(own, root, lane)
    book = node.engine.book
    if book.cook is not None and book.finished_ms is None:
        for piece in book.pieces:
            components[f"stage-{slug(piece)}"] = _stage(own, root, piece)
    document = {
        "dev": {"ids": [own], "name": f"pitlogger {node.config.node.name}", "sw": __version__},
        "o": {"name": "pitlogger", "sw": __version__},
        "availability": [
            {
                "topic": f"{root}/status",
                "payload_available": ONLINE,
                "payload_not_available": OFFLINE,
            }
        ],
        "cmps": components,
    }
    return f"{prefix}/device/{own}/config", to_json(document)


def _sensor(own: str, root: str, lane: Lane) -> dict[str, Any]:
    unit, device_class = _SENSOR[lane.quantity]
    interval_s = (lane.interval_ms or 0) / 1000
    return {
        "p": "sensor",
        "unique_id": f"{own}-{slug(lane.state.id)}",
        "name": lane.state.id,
        "state_topic": f"{root}/channel/{level(lane.state.id)}",
        "value_template": _VALUE,
        "unit_of_measurement": unit,
        "device_class": device_class,
        "state_class": "measurement",
        "expire_after": max(_LEAST_EXPIRY_S, round(_EXPIRY_PERIODS * interval_s)),
    }


def _stage(own: str, root: str, piece: str) -> dict[str, Any]:
    return {
        "p": "sensor",
        "unique_id": f"{own}-stage-{slug(piece)}",
        "name": f"{piece} stage",
        "state_topic": f"{root}/piece/{level(piece)}",
        "value_template": "{{ value_json.stage }}",
    }
