"""Registers of one Modbus unit, RTU or TCP, asked for by pymodbus at a steady pace."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator
from typing import TYPE_CHECKING

from pymodbus.client import AsyncModbusSerialClient, AsyncModbusTcpClient
from pymodbus.exceptions import ModbusException

from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports.paths import path_appears
from pitlogger.devices.transports.serial import FRAMINGS, SerialSettings, open_port
from pitlogger.errors import SilentError, TransportError

if TYPE_CHECKING:
    from pitlogger_drivers.modbus.driver import ModbusConfig

log = logging.getLogger(__name__)
logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # it logs what it also raises


TRIES = 3  # questions without an answer before the unit counts as silent


class Heard:
    """What went over the line for one question, to tell an echo from damaged bytes."""

    def __init__(self) -> None:
        self.sent = self.came = b""

    def trace(self, sending: bool, data: bytes) -> bytes:
        """Keep what was sent and what came; pymodbus calls it with every packet."""
        if sending:
            self.sent, self.came = data, b""
        else:
            self.came = data
        return data

    @property
    def is_echo(self) -> bool:
        """Whether what came begins with what was sent."""
        return bool(self.sent) and self.came.startswith(self.sent)


class ModbusTransport:
    """Reads registers; yields their bytes as they were on the wire."""

    def __init__(self, config: ModbusConfig) -> None:
        self._config = config
        self._client: AsyncModbusSerialClient | AsyncModbusTcpClient | None = None
        self._heard = Heard()
        self._has_echo = False

    async def __aenter__(self) -> ModbusTransport:
        self._client = await (self._over_tcp() if self._config.host else self._over_serial())
        return self

    async def _over_tcp(self) -> AsyncModbusTcpClient:
        given = self._config
        client = AsyncModbusTcpClient(
            given.host, port=given.tcp_port, timeout=given.patience_s, retries=0,
            reconnect_delay=0, trace_packet=self._heard.trace,
        )  # fmt: skip
        if not await client.connect():
            client.close()
            raise TransportError(
                f"nobody answers at {given.way}",
                remedy="Check that it is on and in this network, and its address and port",
            )
        return client

    async def _over_serial(self) -> AsyncModbusSerialClient:
        given = self._config
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
            handle_local_echo=self._has_echo,
            trace_packet=self._heard.trace,
        )
        if not await client.connect():
            client.close()
            raise TransportError(
                f"serial port {given.port} was taken while it was being opened",
                remedy="Close other programs that use it",
            )
        return client

    async def __aexit__(self, *exc: object) -> None:
        client, self._client = self._client, None
        if client is not None:
            client.close()

    async def send(self, data: bytes) -> None:
        """Refuse: only registers are read."""
        raise TransportError(f"a Modbus transmitter takes no commands ({data.hex()})")

    async def appears(self) -> None:
        """Return when a missing port is there."""
        if self._config.host:
            await asyncio.Event().wait()  # nothing tells
        await path_appears(self._config.port)

    async def chunks(self) -> AsyncIterator[Chunk]:
        """Yield the registers' bytes, high byte first.

        Raises:
            TransportError: The port went away, or the unit refused.
            SilentError: The unit did not answer several times.
        """
        loop = asyncio.get_running_loop()
        silent = 0
        while True:
            began_s = loop.time()
            raw = await self._ask()
            silent = silent + 1 if raw is None else 0
            if raw is not None:
                yield Chunk("", raw)
            elif silent >= TRIES:
                raise self._unanswered(silent)
            elif self._heard.is_echo and not self._has_echo and not self._config.host:
                await self._take_echo_off()
            await asyncio.sleep(max(0.0, began_s + self._config.every_s - loop.time()))

    async def _take_echo_off(self) -> None:
        """Open the line anew for an adapter that repeats all that is sent."""
        log.warning("%s repeats what is sent; its echo is taken off", self._config.way)
        self._has_echo = True
        assert self._client is not None
        self._client.close()
        self._client = await self._over_serial()

    def _unanswered(self, times: int) -> SilentError:
        given, heard = self._config, self._heard
        if not heard.came and self._has_echo:
            return SilentError(
                f"Modbus unit {given.unit} did not answer {times} times in a row; the adapter "
                "repeats what is sent, so the line to it works",
                remedy="Check the unit's address, baud rate and framing, its supply, and the two "
                "wires' polarity",
            )
        if heard.came:
            return SilentError(
                f"answers of Modbus unit {given.unit} came damaged {times} times in a row "
                f"({heard.came[:16].hex()}: the CRC does not match)",
                remedy="Check baud rate and framing, a resistor at each end of the line, its "
                "length, and that one master alone asks",
            )
        return SilentError(
            f"Modbus unit {given.unit} did not answer {times} times in a row",
            remedy="Check its address, baud rate and framing, the two wires' polarity, "
            "and that one master alone asks",
        )

    async def _ask(self) -> bytes | None:
        """Return the registers' bytes, ``None`` where nothing came."""
        given, client = self._config, self._client
        assert client is not None
        if not client.connected:
            raise TransportError(
                f"{given.way} went away",
                remedy="Check the plug; it is opened again when it is back",
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
