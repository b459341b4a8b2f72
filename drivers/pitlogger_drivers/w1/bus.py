"""The sensors of the kernel's 1-Wire bus: read together or one alone, and who is new in a place.

A sensor is known by the id burnt into it, so one that is changed for another falls silent while
its successor is a stranger. Who was on the bus together with a sensor tells the successor.
"""

from __future__ import annotations

import errno
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from pitlogger.devices.contract import Chunk, Memory
from pitlogger.errors import TransportError
from pitlogger_drivers.sensor_files import read_text

KIND = "w1"
_CONVERSION_S = 0.8  # 750 ms at 12 bits, Linux kernel documentation, w1_therm
# Linux kernel documentation, w1_therm: families of thermometers.
_THERMOMETERS = ("10-", "22-", "28-", "3b-", "42-")


class Bus:
    """Reads one sensor or all; blocks while they convert.

    Args:
        root: Where the kernel shows its bus.
        sensor: The id of the one that is wanted; empty for all of family 28.
        memory: Keeps who was there over restarts, as ``sensors``.
    """

    def __init__(self, root: Path, sensor: str, memory: Memory) -> None:
        self._root = root
        self._sensor = sensor
        self._memory = memory
        before = frozenset(memory.get("sensors", ()))
        self._beside = dict.fromkeys(before, before)  # who was there when each was last there
        self._met: set[str] = set()  # in this run

    def read(self) -> Iterator[Chunk]:
        """Yield the text of each sensor, or why it has none; all of a bus convert together.

        Raises:
            OSError: The sensor wanted, or every one, is gone.
        """
        if self._sensor:
            text = read_text(self._root / self._sensor / "w1_slave")
            self._meet(self._present())
            yield Chunk(KIND, text.encode())
            return
        sensors = {name for name in self._present() if name.startswith("28-")}
        if not sensors:
            raise FileNotFoundError(2, "no sensor of family 28", str(self._root))
        _convert_together(self._root)
        self._meet(sensors)
        for name in sorted(sensors | self._beside.keys()):
            if name in sensors:
                yield Chunk(f"{KIND}/{name}", self._text(name).encode())
            elif name in self._met or self._new(name):
                yield Chunk(f"{KIND}/{name}", b"", self._gone(name))

    def instead(self) -> tuple[str, str]:
        """Return what is on the bus in place of the sensor wanted, and what to do; or nothing."""
        if not self._sensor or not (new := self._new(self._sensor)):
            return "", ""
        if self._sensor in self._beside:
            return _successor(new, f'sensor = "{new[0]}"')
        if len(new) == 1:
            return f"; {new[0]} is on the bus", f'If that is meant, write sensor = "{new[0]}"'
        return (
            f"; {' and '.join(new)} are on the bus",
            "Write one of these as its sensor; pitlogger devices try w1 shows which is which",
        )

    def _present(self) -> set[str]:
        return {one.name for one in self._root.glob("*-*") if one.name.startswith(_THERMOMETERS)}

    def _meet(self, present: set[str]) -> None:
        self._beside.update(dict.fromkeys(present, frozenset(present)))
        self._met |= present
        self._memory["sensors"] = sorted(present if self._sensor else self._met)

    def _new(self, name: str) -> list[str]:
        """Return who is there now and was not while that sensor was."""
        return sorted(self._present() - self._beside.get(name, frozenset()) - {name})

    def _text(self, name: str) -> str:
        try:
            return read_text(self._root / name / "w1_slave")
        except OSError as error:  # it went, alone
            return f"<{errno.errorcode.get(error.errno or 0, 'ENODEV')}>"

    def _gone(self, name: str) -> TransportError:
        new = self._new(name)
        what, remedy = _successor(new, f'name = "temperature/{new[0]}"') if new else ("", "")
        return TransportError(
            f"1-Wire sensor {name} went from the bus{what}",
            remedy=remedy or "Check its plug and its wires",
        )


def _successor(new: list[str], key: str) -> tuple[str, str]:
    if len(new) == 1:
        remedy = f"If it took the place, write {key} in the configuration and let it be read again"
        return f"; {new[0]} is new on the bus", f"{remedy}: sudo systemctl reload pitlogger"
    remedy = f"Write the one that took the place in the configuration, as in {key}"
    told = f"; {' and '.join(new)} are new on the bus"
    return told, f"{remedy}; pitlogger devices try w1 shows which is which"


def _convert_together(root: Path) -> None:
    """Let all sensors of each bus convert at once, where the kernel can."""
    for bus in root.glob("w1_bus_master*"):
        trigger = bus / "therm_bulk_read"
        with suppress(OSError):
            if not trigger.exists():
                continue
            trigger.write_text("trigger\n", encoding="ascii")
            until_s = time.monotonic() + _CONVERSION_S
            while trigger.read_text("ascii").strip() == "-1" and time.monotonic() < until_s:
                time.sleep(0.05)
