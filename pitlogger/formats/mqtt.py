"""Packets of MQTT 5, as far as a bundle and its receipt need them: each is sent once at most.

    connect    0x10  "MQTT" 5, flags, keepalive s, properties, client id
    connack    0x20  session, reason, properties
    publish    0x30  topic, properties, payload; without a packet id at QoS 0
    subscribe  0x82  packet id, properties, filter, options (0: QoS 0)
    suback     0x90  packet id, properties, reason
    pingreq    0xC0  pingresp 0xD0  disconnect 0xE0  reason, properties

A packet begins with that byte and the length of the rest in groups of 7 bits. Source: MQTT 5.0
(OASIS), 1.5 data types, 2.2.2 properties, 3 packets. Example: ``e0 00`` ends a connection.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.errors import DecodeError, ShortFrameError

CONNACK, PUBLISH, SUBACK, PINGRESP, DISCONNECTED = 0x20, 0x30, 0x90, 0xD0, 0xE0
PING, DISCONNECT = b"\xc0\x00", b"\xe0\x00"
REFUSED = 0x80  # reasons from here on are faults
TAKEN_OVER = 0x8E
MOST_BYTES = 1 << 20  # of a packet that is read

_REASONS = {
    0x84: "the broker does not speak MQTT 5",
    0x85: "the broker refuses this client id",
    0x86: "the broker refuses the user name or password",
    0x87: "the broker does not allow this",
    0x88: "the broker is not available",
    0x89: "the broker is busy",
    0x8B: "the broker is shutting down",
    0x8D: "the broker heard nothing for too long",
    TAKEN_OVER: "another client uses this client id",
    0x95: "the broker takes no packet of this size",
    0x97: "a quota of the broker is used up",
    0x98: "the broker's administrator ended the connection",
}
_SERVER_KEEPALIVE = 0x13
# Bytes of each property's value; of a text, a binary value or a pair its own length says it.
_BYTES = {
    1: (0x01, 0x17, 0x19, 0x24, 0x25, 0x28, 0x29, 0x2A), 2: (_SERVER_KEEPALIVE, 0x21, 0x22, 0x23),
    4: (0x02, 0x11, 0x18, 0x27),
}  # fmt: skip
_WIDTHS = {name: width for width, names in _BYTES.items() for name in names}
_TEXTS = (0x03, 0x08, 0x09, 0x12, 0x15, 0x16, 0x1A, 0x1C, 0x1F)


def reason_text(reason: int) -> str:
    """Return what a broker's reason code means."""
    return _REASONS.get(reason, f"the broker ended it for reason 0x{reason:02X}")


def connect(client_id: str, keepalive_s: int) -> bytes:
    """Return the packet that begins a clean session; an empty id lets the broker choose one."""
    head = b"\x00\x04MQTT\x05\x02" + keepalive_s.to_bytes(2, "big") + b"\x00"
    return _packet(0x10, head + _text(client_id))


def subscribe(packet_id: int, topics: str) -> bytes:
    """Return the packet that asks for messages of a topic filter, each once at most."""
    return _packet(0x82, packet_id.to_bytes(2, "big") + b"\x00" + _text(topics) + b"\x00")


def publish(topic: str, payload: bytes) -> bytes:
    """Return a message, sent once at most."""
    return _packet(PUBLISH, _text(topic) + b"\x00" + payload)


def split(data: bytes) -> tuple[list[tuple[int, bytes]], bytes]:
    """Return the whole packets at the start of data, first byte and rest each, and what is left.

    Raises:
        DecodeError: Not MQTT, or a packet too long to be meant.
    """
    found, at = [], 0
    while len(data) - at >= 2:
        try:
            size, begin = _number(data, at + 1)
        except ShortFrameError:
            break
        if size > MOST_BYTES:
            raise DecodeError(f"a packet of {size} bytes; at most {MOST_BYTES} are read")
        if len(data) < begin + size:
            break
        found.append((data[at], data[begin : begin + size]))
        at = begin + size
    return found, data[at:] if at else data


def message(body: bytes) -> tuple[str, bytes]:
    """Return topic and payload of a message at QoS 0.

    Raises:
        DecodeError: No such packet.
    """
    topic, at = _sized(body, 0)
    size, at = _number(body, at)
    if at + size > len(body):
        raise ShortFrameError(f"{len(body)} bytes; its properties have {size}")
    try:
        return topic.decode(), body[at + size :]
    except UnicodeDecodeError as fault:
        raise DecodeError(f"a topic that is not UTF-8 ({fault})") from None


@dataclass(frozen=True, slots=True)
class Answer:
    """A broker's answer to connecting: its reason, and its keepalive where it wants another, s."""

    reason: int
    keepalive_s: int | None


def connack(body: bytes) -> Answer:
    """Return what a broker answers to connecting.

    Raises:
        DecodeError: No such packet.
    """
    if len(body) < 3:  # one that knows no MQTT 5 answers with two bytes
        return Answer(0x84, None)
    size, at = _number(body, 2)
    end, keepalive_s = at + size, None
    if end > len(body):
        raise ShortFrameError(f"{len(body)} bytes; its properties should end at {end}")
    while at < end:
        name, start = body[at], at + 1
        at = _after(body, name, start)
        if name == _SERVER_KEEPALIVE:
            keepalive_s = int.from_bytes(body[start:at], "big")
    if at != end:
        raise DecodeError(f"properties that end at {at}; expected {end}")
    return Answer(body[1], keepalive_s)


def _after(body: bytes, name: int, at: int) -> int:
    """Return where the value of a property ends."""
    if name in _WIDTHS:
        return at + _WIDTHS[name]
    if name in _TEXTS:
        return _sized(body, at)[1]
    if name == 0x26:  # a pair of texts
        return _sized(body, _sized(body, at)[1])[1]
    if name == 0x0B:
        return _number(body, at)[1]
    raise DecodeError(f"property 0x{name:02X}, which MQTT 5 does not know")


def _packet(head: int, body: bytes) -> bytes:
    size, length = len(body), bytearray()
    while True:
        size, low = size >> 7, size & 0x7F
        length.append(low | (0x80 if size else 0))
        if not size:
            return bytes((head, *length)) + body


def _text(text: str) -> bytes:
    data = text.encode()
    return len(data).to_bytes(2, "big") + data


def _sized(data: bytes, at: int) -> tuple[bytes, int]:
    """Return bytes that their length precedes, and where they end."""
    end = at + 2 + int.from_bytes(data[at : at + 2], "big")
    if end > len(data) or at + 2 > len(data):
        raise ShortFrameError(f"{len(data)} bytes; expected {end}")
    return data[at + 2 : end], end


def _number(data: bytes, at: int) -> tuple[int, int]:
    """Return a number in groups of 7 bits, the lowest first, and where it ends."""
    value = 0
    for place, byte in enumerate(data[at : at + 4]):
        value |= (byte & 0x7F) << (7 * place)
        if byte < 0x80:
            return value, at + place + 1
    if len(data) - at >= 4:
        raise DecodeError(f"a length of more than four bytes: {data[at : at + 4].hex()}")
    raise ShortFrameError(f"{len(data)} bytes; a length of more was begun")
