"""Registers of one Modbus unit, RTU or TCP, asked for by pymodbus at a steady pace."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator
from typing import TYPE_CHECKING

from pymodbus.client import AsyncModbusSerialClient, AsyncModbusTcpClient
from pymodbus.exceptions import ModbusException
from pymodbus.pdu import DecodePDU, ModbusPDU

from pitlogger.devices.contract import Chunk
from pitlogger.devices.transports.paths import path_appears
from pitlogger.devices.transports.serial import FRAMINGS, SerialSettings, open_port
from pitlogger.errors import DecodeError, SilentError, TransportError
from pitlogger_drivers.modbus.decode import registers_of
from pitlogger_drivers.modbus.refusals import BUSY, LASTING, refusal
from pitlogger_drivers.modbus.registers import TYPES, parse_map

if TYPE_CHECKING:
    from pitlogger_drivers.modbus.driver import ModbusConfig

log = logging.getLogger(__name__)
logging.getLogger("pymodbus").setLevel(logging.CRITICAL)  # it logs what it also raises


MOST_REGISTERS = 125  # a request, Modbus application protocol V1.1b3, 6.3
TRIES = 3  # questions without a usable answer before the unit counts as silent


class Unreadable(ModbusPDU):
    """In place of a reply that is none."""


class Replies(DecodePDU):
    """Reads replies to the two functions asked; what is broken becomes ``Unreadable``.

    pymodbus would raise inside the event loop, which ends the connection with a traceback.
    """

    def __init__(self) -> None:
        super().__init__(is_server=False)
        self.pdu_table = {code: DecodePDU.pdu_table[code] for code in (3, 4)}

    def decode(self, frame: bytes) -> ModbusPDU:
        """Return the reply in a frame without address and check bytes."""
        count = len(frame) - 2  # after the function and the count itself
        is_whole = frame[0] & 0x80 or (count > 0 and count % 2 == 0 and frame[1] == count)
        return (is_whole and super().decode(frame)) or Unreadable()


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
        self._spans = [("", 0, config.count)]  # source, first register, how many
        if config.count > MOST_REGISTERS:
            self._asks_each()

    async def __aenter__(self) -> ModbusTransport:
        self._client = await (self._over_tcp() if self._config.host else self._over_serial())
        self._client.ctx.framer.decoder = Replies()
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
        """Yield the registers' bytes, high byte first; a fault where the unit gave none.

        Raises:
            TransportError: The way to the unit went.
            SilentError: The unit gave no usable answer several times, or never will.
        """
        loop = asyncio.get_running_loop()
        failed = 0
        while True:
            began_s = loop.time()
            is_heard = False
            faults: list[Chunk] = []
            for source, first, count in tuple(self._spans):
                answer = await self._ask(first, count)
                is_heard |= isinstance(answer, bytes | BusyError)
                if isinstance(answer, bytes):
                    yield Chunk(source, answer)
                elif answer is not None:
                    faults.append(Chunk(source, b"", answer))
            failed = 0 if is_heard else failed + 1
            last = faults[-1].fault if faults else None
            if failed and isinstance(last, LastingError):
                if not self._asks_each():
                    raise last
                continue
            if failed >= TRIES:
                raise last or self._unanswered(failed)
            for fault in faults:
                yield fault
            if self._heard.is_echo and failed and not self._has_echo and not self._config.host:
                await self._take_echo_off()
            await asyncio.sleep(max(0.0, began_s + self._config.every_s - loop.time()))

    def _asks_each(self) -> bool:
        """Ask for each value alone from now on, as not all registers between them are there.

        Returns:
            Whether that is news.
        """
        spans = [
            (entry.channel, entry.register, TYPES[entry.type].size // 2)
            for entry in parse_map(self._config.map)
        ]
        is_news = [span[1:] for span in spans] != [span[1:] for span in self._spans]
        self._spans = spans
        return is_news

    async def _take_echo_off(self) -> None:
        """Open the line anew for an adapter that repeats all that is sent."""
        log.warning("%s repeats what is sent; its echo is taken off", self._config.way)
        self._has_echo = True
        assert self._client is not None
        self._client.close()
        await self.__aenter__()

    def _unanswered(self, times: int) -> SilentError:
        given, heard = self._config, self._heard
        if heard.came:
            return self._damaged(f" {times} times in a row")
        silent = f"Modbus unit {given.unit} did not answer {times} times in a row"
        if given.host:
            return SilentError(
                f"{silent}, though {given.way} takes the connection",
                remedy="Check the unit number, that nothing else is connected to it (many take one "
                "connection only), and behind a gateway the unit's own line and supply",
            )
        if self._has_echo:
            return SilentError(
                f"{silent}; the adapter repeats what is sent, so the line to it works",
                remedy="Check the unit's address, baud rate and framing, its supply, and the two "
                "wires' polarity",
            )
        return SilentError(
            silent,
            remedy="Check its address, baud rate and framing, the two wires' polarity, "
            "and that one master alone asks",
        )

    def _damaged(self, times: str = "") -> SilentError:
        given, came = self._config, self._heard.came
        if given.host:
            return SilentError(
                f"what came from {given.way} is no answer of Modbus TCP ({came[:16].hex()})",
                remedy="Check the port, and that what is there speaks Modbus TCP and not the "
                "frames of a serial line",
            )
        try:
            registers_of(came)
            reason = "it answers something else"
        except DecodeError as error:
            reason = str(error)
        return SilentError(
            f"answers of Modbus unit {given.unit} came damaged{times} "
            f"({came[:16].hex()}): {reason}",
            remedy="Check baud rate and framing, a resistor at each end of the line, its "
            "length, and that one master alone asks",
        )

    async def _ask(self, first: int, count: int) -> bytes | SilentError | None:
        """Return the registers' bytes, what kept the unit from giving them, ``None`` for silence.

        Raises:
            TransportError: The way went.
        """
        given, client = self._config, self._client
        assert client is not None
        if not client.connected:
            raise self._gone()
        read = client.read_holding_registers if given.function == 3 else client.read_input_registers
        try:
            reply = await read(given.address + first, count=count, device_id=given.unit)
        except ModbusException:
            return None
        if reply.isError():
            return self._refusal(reply.exception_code)
        if len(reply.registers) != count:
            return self._damaged()
        return b"".join(register.to_bytes(2, "big") for register in reply.registers)

    def _refusal(self, code: int) -> SilentError:
        """Return what an exception means."""
        meaning, remedy = refusal(code)
        kind = BusyError if code in BUSY else LastingError if code in LASTING else SilentError
        said = f"Modbus unit {self._config.unit} refused with exception {code}, {meaning}"
        return kind(said, remedy=remedy)

    def _gone(self) -> TransportError:
        if self._config.host:
            return TransportError(
                f"{self._config.way} closed the connection",
                remedy="It is connected again by itself. Where that lasts, end other programs "
                "that are connected to it: many take one connection only",
            )
        return TransportError(
            f"{self._config.way} went away",
            remedy="Check the plug; it is opened again when it is back",
        )


class BusyError(SilentError):
    """The unit works on something else, and answers in a moment."""


class LastingError(SilentError):
    """The unit refuses a question that it will refuse again."""
