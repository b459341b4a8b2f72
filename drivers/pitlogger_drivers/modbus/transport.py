"""Registers of one Modbus RTU unit, asked for by pymodbus at a steady pace."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator
from dataclasses import dataclass

from pymodbus.client import AsyncModbusSerialClient
from pymodbus.exceptions import ModbusException

from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports.paths import path_appears
from pitlogger.devices.transports.serial import FRAMINGS, SerialSettings, open_port
from pitlogger.errors import SilentError, TransportError

logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # it logs what it also raises


@dataclass(frozen=True, slots=True)
class ModbusSettings:
    """A unit on a line, and which of its registers are read."""

    port: str
    baud: int
    framing: str
    unit: int
    function: int
    address: int
    count: int
    every_s: float
    patience_s: float
    tries: int = 3


class ModbusTransport:
    """Reads registers; yields their octets as they were on the wire."""

    def __init__(self, settings: ModbusSettings) -> None:
        self._settings = settings
        self._client: AsyncModbusSerialClient | None = None

    async def __aenter__(self) -> ModbusTransport:
        given = self._settings
        # pymodbus does not tell why a port would not open; this says it in words.
        open_port(SerialSettings(given.port, given.baud, given.framing)).close()
        bits, parity, stop = FRAMINGS[given.framing]
        client = AsyncModbusSerialClient(
            given.port,
            baudrate=given.baud,
            bytesize=bits,
            parity=parity,
            stopbits=stop,
            timeout=given.patience_s,
            retries=0,
            reconnect_delay=0,
        )
        if not await client.connect():
            client.close()
            raise TransportError(
                f"serial port {given.port} was taken while it was being opened",
                remedy="Close other programs that use it",
            )
        self._client = client
        return self

    async def __aexit__(self, *exc: object) -> None:
        client, self._client = self._client, None
        if client is not None:
            client.close()

    async def send(self, data: bytes) -> None:
        """Refuse: only registers are read."""
        raise TransportError(f"a Modbus transmitter takes no commands ({data.hex()})")

    async def appears(self) -> None:
        """Return when a missing port is there."""
        await path_appears(self._settings.port)

    async def chunks(self) -> AsyncIterator[Chunk]:
        """Yield the registers' octets, high octet first.

        Raises:
            TransportError: The port went away, or the unit refused.
            SilentError: The unit did not answer several times.
        """
        loop = asyncio.get_running_loop()
        silent = 0
        while True:
            began_s = loop.time()
            octets = await self._ask()
            silent = silent + 1 if octets is None else 0
            if octets is not None:
                yield Chunk("", octets)
            elif silent >= self._settings.tries:
                raise SilentError(
                    f"Modbus unit {self._settings.unit} did not answer {silent} times in a row",
                    remedy="Check its address, baud rate and framing, the two wires' polarity, "
                    "and that one master alone asks",
                )
            await asyncio.sleep(max(0.0, began_s + self._settings.every_s - loop.time()))

    async def _ask(self) -> bytes | None:
        """Return the registers' octets, ``None`` where nothing came."""
        given, client = self._settings, self._client
        assert client is not None
        if not client.connected:
            raise TransportError(
                f"serial port {given.port} went away",
                remedy="Check the adapter's plug; it is opened again when it is back",
            )
        read = client.read_holding_registers if given.function == 3 else client.read_input_registers
        try:
            reply = await read(given.address, count=given.count, device_id=given.unit)
        except ModbusException:
            return None
        if reply.isError():
            raise TransportError(
                f"Modbus unit {given.unit} refused with exception {reply.exception_code}",
                remedy="Check function, register address and count in its manual",
            )
        return b"".join(register.to_bytes(2, "big") for register in reply.registers)
