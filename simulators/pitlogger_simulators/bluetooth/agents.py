"""Pairing: the agents that clients register, and what is asked of them.

Source of methods and errors: BlueZ D-Bus API documents, org.bluez.Agent and org.bluez.Device.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any

from pitlogger_simulators.bluetooth.peripherals import Pairing, PairingWay

# Calls a method of an agent: its owner, its path, member, signature, body. Returns the answer's
# body, or ``None`` where it refuses.
CallAgent = Callable[[str, str, str, str, list[Any]], Awaitable[list[Any] | None]]

FAILED = ("org.bluez.Error.AuthenticationFailed", "Authentication Failed")
REJECTED = ("org.bluez.Error.AuthenticationRejected", "Authentication Rejected")
CANCELED = ("org.bluez.Error.AuthenticationCanceled", "Authentication Canceled")


class Agents:
    """The agent in charge: the one registered last."""

    def __init__(self, call: CallAgent) -> None:
        self._call = call
        self._registered: list[tuple[str, str]] = []  # owner, path

    def register(self, owner: str, path: str) -> None:
        """Put an agent in charge."""
        self._registered.append((owner, path))

    def unregister(self, owner: str) -> None:
        """Forget the agents of a client."""
        self._registered = [agent for agent in self._registered if agent[0] != owner]

    async def pair(self, pairing: Pairing, device_path: str) -> tuple[str, str] | None:
        """Pair, and return the error where it fails."""
        if pairing.way is PairingWay.REFUSED:
            return REJECTED
        if pairing.way is PairingWay.JUST_WORKS:
            pairing.bonded, pairing.forgot = True, False
            return None
        if not self._registered:
            return FAILED
        owner, path = self._registered[-1]
        key = pairing.passkey
        if pairing.way is PairingWay.TYPED:
            answer = await self._call(owner, path, "RequestPasskey", "o", [device_path])
            if answer is None:
                return CANCELED
            if answer != [key]:
                return FAILED
        elif pairing.way is PairingWay.SHOWN:
            body = [device_path, key, 0]
            if await self._call(owner, path, "DisplayPasskey", "ouq", body) is None:
                return FAILED
        elif await self._call(owner, path, "RequestConfirmation", "ou", [device_path, key]) is None:
            return REJECTED
        pairing.bonded, pairing.forgot = True, False
        return None
