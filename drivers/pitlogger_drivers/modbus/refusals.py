"""Why a Modbus unit refuses: its exceptions in words, and what to do.

Source: Modbus application protocol specification V1.1b3, section 7 (names of the exceptions;
the codes agree with pymodbus 3.16.1). What to do: from memory.
"""

from __future__ import annotations

BUSY = frozenset((5, 6))  # it answers in a moment
LASTING = frozenset((1, 2, 3))  # the same question is refused again
_NAMES = {
    1: "illegal function",
    2: "illegal data address",
    3: "illegal data value",
    4: "server device failure",
    5: "acknowledge",
    6: "server device busy",
    8: "memory parity error",
    10: "gateway path unavailable",
    11: "gateway target device failed to respond",
}
_REMEDIES = {
    1: "It has no such registers: set function = 4 (input) for 3 (holding), or the other way",
    2: "It lacks a register that was asked for: check address and map by its manual, which may "
    "count from 1, 30001 or 40001 where 0 is meant",
    3: "It does not give so many registers at once: take a shorter map, or a device for each part",
    4: "Switch it off and on; where that lasts, replace it",
    5: "It takes its time and is asked again; a longer every_s may help",
    6: "It is asked again; where that lasts, let nobody else ask it so often",
    8: "Switch it off and on; where that lasts, replace it",
    10: "Look at the gateway's own settings: which line has this unit number",
    11: "The gateway works: check the unit number, and line, rate and supply of what is behind it",
}


def refusal(code: int) -> tuple[str, str]:
    """Return the name of an exception and what to do."""
    name = _NAMES.get(code, "which the standard does not know")
    return name, _REMEDIES.get(code, "Look it up in its manual")
