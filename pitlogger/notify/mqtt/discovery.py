"""Discovery by home-automation hubs: one retained message that describes the whole node.

Source: the public page on MQTT discovery of the hub that brought it up
(www.home-assistant.io/integrations/mqtt, "Device discovery payload"): topic
PREFIX/device/ID/config; ``dev`` and ``o`` are mandatory; each of ``cmps`` has ``p`` and, as an
entity, ``unique_id``; ``availability`` is shared; a component is removed by an update in which it
has ``p`` alone, followed by one without it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any
from zlib import crc32

from pitlogger import __version__
from pitlogger.engine.compiled_channel import Lane
from pitlogger.formats.json_text import parse_json
from pitlogger.model.quantities import Quantity
from pitlogger.notify.mqtt.tree import OFFLINE, ONLINE, level
from pitlogger.views.node import Node

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


def ids_of(names: Iterable[str]) -> dict[str, str]:
    """Return an id for each name, no two alike: of names that fall together, each gets a mark."""
    held: dict[str, list[str]] = {}
    for name in names:
        held.setdefault(slug(name), []).append(name)
    return {
        name: own if len(alike) == 1 or name == own else f"{own}-{crc32(name.encode()):08x}"
        for own, alike in held.items()
        for name in alike
    }


def without(document: dict[str, Any], gone: Mapping[str, str]) -> dict[str, Any]:
    """Return a description that removes components; ``gone`` is the platform of each by id."""
    removed = {id_: {"p": platform} for id_, platform in gone.items()}
    return {**document, "cmps": {**document["cmps"], **removed}}


def components_of(payload: object) -> dict[str, str]:
    """Return the components of a description as the broker keeps it: platform by id."""
    try:
        document = parse_json(payload) if isinstance(payload, bytes) else {}
        return {str(id_): str(part["p"]) for id_, part in document["cmps"].items()}
    except (ValueError, KeyError, TypeError, AttributeError):
        return {}  # not ours, or of a version that described itself otherwise


def discovery(node: Node, root: str, prefix: str) -> tuple[str, dict[str, Any]]:
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
    ids = ids_of(node.engine.lanes)
    for lane in node.engine.lanes.values():
        if lane.quantity in _SENSOR:
            id_ = f"channel-{ids[lane.state.id]}"
            components[id_] = {"unique_id": f"{own}-{id_}", **_sensor(root, lane)}
    book = node.engine.book
    if book.cook is not None and book.finished_ms is None:
        for piece, id_ in ids_of(book.pieces).items():
            components[f"stage-{id_}"] = _stage(f"{own}-stage-{id_}", root, piece)
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
    return f"{prefix}/device/{own}/config", document


def _sensor(root: str, lane: Lane) -> dict[str, Any]:
    unit, device_class = _SENSOR[lane.quantity]
    interval_s = (lane.interval_ms or 0) / 1000
    return {
        "p": "sensor",
        "name": lane.state.id,
        "state_topic": f"{root}/channel/{level(lane.state.id)}",
        "value_template": _VALUE,
        "unit_of_measurement": unit,
        "device_class": device_class,
        "state_class": "measurement",
        "expire_after": max(_LEAST_EXPIRY_S, round(_EXPIRY_PERIODS * interval_s)),
    }


def _stage(unique_id: str, root: str, piece: str) -> dict[str, Any]:
    return {
        "p": "sensor",
        "unique_id": unique_id,
        "name": f"{piece} stage",
        "state_topic": f"{root}/piece/{level(piece)}",
        "value_template": "{{ value_json.stage }}",
    }
