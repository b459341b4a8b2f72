"""Stable names for the characteristics of a device, several of which may share one UUID."""

from __future__ import annotations

import re
import struct
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

_SIG = 1
_MAIN = 0x0106


@dataclass(frozen=True, slots=True)
class CharacteristicName:
    """A characteristic as far as it can be distinguished: short UUID, handle, descriptors."""

    uuid: str
    handle: int
    descriptors: dict[str, bytes] = field(default_factory=dict)


def name_sources(found: Sequence[CharacteristicName]) -> dict[int, str]:
    """Return a name a handle: ``2a6e`` where the UUID is alone, else ``2a6e/core``.

    The first label that tells a characteristic from all others of its UUID is taken: user
    description (0x2901), ordinal of the presentation format (0x2904), application of the ES
    Measurement (0x290C), at last the handle, which is stable for one firmware only.
    """
    names: dict[int, str] = {}
    for uuid in dict.fromkeys(one.uuid for one in found):
        same = sorted((one for one in found if one.uuid == uuid), key=lambda one: one.handle)
        if len(same) == 1:
            names[same[0].handle] = uuid
            continue
        labels = _tell_apart(same)
        names |= {handle: f"{uuid}/{label}" for handle, label in labels.items()}
    return names


def _tell_apart(same: Sequence[CharacteristicName]) -> dict[int, str]:
    by_way = [[label(one) for one in same] for label in (_text, _ordinal, _application)]
    counts = [Counter(labels) for labels in by_way]
    chosen: dict[int, str] = {}
    for at, one in enumerate(same):
        ways = zip(by_way, counts, strict=True)
        unique = (labels[at] for labels, count in ways if count[labels[at]] == 1)
        chosen[one.handle] = next((label for label in unique if label), _by_handle(one))
    taken = Counter(chosen.values())
    return {
        one.handle: chosen[one.handle] if taken[chosen[one.handle]] == 1 else _by_handle(one)
        for one in same
    }


def _text(one: CharacteristicName) -> str:
    text = one.descriptors.get("2901", b"").decode("utf-8", "replace").strip("\0 ").casefold()
    return re.sub(r"[^a-z0-9]+", "-", text).strip("-")


def _ordinal(one: CharacteristicName) -> str:
    data = one.descriptors.get("2904", b"")
    if len(data) < 7:
        return ""
    namespace, description = struct.unpack_from("<BH", data, 4)
    if namespace != _SIG:
        return ""
    if description == _MAIN:
        return "main"
    return f"probe-{description}" if 1 <= description <= 255 else ""


def _application(one: CharacteristicName) -> str:
    data = one.descriptors.get("290c", b"")
    return f"application-{data[9]}" if len(data) >= 11 and data[9] else ""


def _by_handle(one: CharacteristicName) -> str:
    return f"handle-{one.handle:04x}"
