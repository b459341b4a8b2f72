"""BTHome v2 service data (16-bit UUID 0xFCD2), plain or encrypted.

    offset  bytes  field
    0       1       bit 0 encrypted, bit 1 address follows, bit 2 sends on events only,
                    bits 5-7 version, which is 2
    1       6       address, last byte first, only where bit 1 is set
    then            plain: objects (id byte, little-endian value), ids ascending
                    encrypted: ciphertext of the objects
    end-8   4       u32 counter, encrypted only
    end-4   4       tag, encrypted only

Example: ``40 02 ca 09 03 bf 13``: version 2, plain; 0x02 temperature 2506 * 0.01 =
25.06 degC; 0x03 humidity 5055 * 0.01 = 50.55 %.

Encryption is AES-CCM with a 16-byte key, a 4-byte tag, no associated data, and the nonce
address (6 bytes in print order) + D2 FC + first byte + counter.

Refused: a counter that does not grow, a plain frame from a device whose key is known, a wrong
tag, a packet id that was had or is older. A packet id 1 to 63 ahead is newer; after 4 s of
silence any is. An event without a packet id or counter is taken once in 4 s, since senders
repeat the frame. The counter is compared only after the tag has proved it.

Source: BTHome v2 format and encryption pages. The packet-id window, the 4 s and the address
flag (of an earlier edition) follow the reference decoder bthome-ble 3.25.0. The 4 s for events
without a packet id: ours.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESCCM

from pitlogger import errors
from pitlogger.devices.contract import Chunk
from pitlogger.devices.decoders import DecodeOptions, DecoderInfo
from pitlogger.devices.framing import Outcome
from pitlogger_drivers.bthome.objects import EVENTS, PACKET_ID, measure, split

SERVICE = "0000fcd2-0000-1000-8000-00805f9b34fb"
ON_EVENTS = 0x04  # bit of the first byte: the device sends when something happens, else never
_ENCRYPTED, _HAS_ADDRESS = 0x01, 0x02
_SILENCE_S = 4.0
_NEWER = 64


@dataclass(frozen=True, slots=True)
class DeviceMemory:
    """What must be remembered of a device to know a frame again.

    Attributes:
        counter: Last counter proved by its tag. Keep it over restarts.
        packet_id: Last packet id taken.
        event: Payload of the last event without a packet id.
        heard_s: Monotonic time of the last frame taken; means nothing in another process.
    """

    counter: int | None = None
    packet_id: int | None = None
    event: bytes = b""
    heard_s: float | None = None

    def to_dict(self) -> dict[str, int | None]:
        """Return what is worth keeping over a restart."""
        return {"counter": self.counter, "packet_id": self.packet_id}

    @classmethod
    def from_dict(cls, kept: Mapping[str, int | None]) -> DeviceMemory:
        """Return the state of ``to_dict``; missing entries are unknown."""
        return cls(counter=kept.get("counter"), packet_id=kept.get("packet_id"))


@dataclass(frozen=True, slots=True)
class Secret:
    """Key and address of a device that encrypts."""

    cipher: AESCCM
    address: bytes

    @classmethod
    def of(cls, key: bytes, address: str) -> Secret:
        """Return the secret for a key and a printed address.

        Raises:
            ConfigError: A key that is not 16 bytes, or an address that is not six.
        """
        if len(key) != 16:
            raise errors.ConfigError(
                f"a BTHome key has 16 bytes (32 hex digits), this one {len(key)}"
            )
        if not re.fullmatch(r"[0-9A-Fa-f]{2}(:[0-9A-Fa-f]{2}){5}", address):
            raise errors.ConfigError(
                f"'{address}' is not a Bluetooth address: decryption needs the sender's, "
                "such as 54:48:E6:8F:80:A5"
            )
        return cls(AESCCM(key, tag_length=4), bytes.fromhex(address.replace(":", "")))


def decode(
    frame: bytes, state: DeviceMemory, *, secret: Secret | None = None, now_s: float = 0.0
) -> tuple[list[Outcome], DeviceMemory]:
    """Return what one service-data block says, and the state after it.

    Args:
        frame: Service data without the UUID.
        state: State after the frame before.
        secret: Key and address; a device with a secret must not send plain.
        now_s: Monotonic seconds of receipt.

    Raises:
        DecodeError: The frame as a whole is refused; the state stays as it was.
    """
    payload, counter = _open(frame, secret)
    if counter is not None:
        _check_counter(counter, state.counter)
        state = replace(state, counter=counter)
    objects, broken = split(payload)
    try:
        state = _once(payload, objects, state, proved=counter is not None, now_s=now_s)
    except errors.ReplayError as error:
        return [error], state
    outcomes: list[Outcome] = [*measure(objects)]
    if broken is not None:
        outcomes.append(broken)
    return outcomes, state


def _open(frame: bytes, secret: Secret | None) -> tuple[bytes, int | None]:
    """Return the payload in plain text, and the counter where it was encrypted."""
    if not frame:
        raise errors.ShortFrameError("BTHome service data of 0 bytes: expected at least 1")
    flags = frame[0]
    if flags >> 5 != 2:
        raise errors.UnknownFrameError(f"BTHome version {flags >> 5} ({frame.hex()}): expected 2")
    start = 7 if flags & _HAS_ADDRESS else 1
    if len(frame) < start:
        raise errors.ShortFrameError(f"BTHome frame {frame.hex()} ends within its address")
    if flags & _ENCRYPTED:
        return _decrypt(frame, start, secret)
    if secret is not None:
        raise errors.ReplayError(
            f"plain BTHome frame {frame.hex()} from a device whose key is known: "
            "refused, since anybody could have sent it",
            remedy="If it does not encrypt, take its key out of the configuration",
        )
    return frame[start:], None


def _decrypt(frame: bytes, start: int, secret: Secret | None) -> tuple[bytes, int]:
    if secret is None:
        raise errors.KeyMissingError(
            "the BTHome frame is encrypted: give the device's key (32 hex digits) and address",
            remedy="Write key and address in its configuration, as its maker's set-up shows them",
        )
    if len(frame) < start + 8:
        raise errors.ShortFrameError(
            f"encrypted BTHome frame of {len(frame)} bytes ({frame.hex()}): "
            f"expected at least {start + 8}"
        )
    address = frame[6:0:-1] if start == 7 else secret.address
    counter = frame[-8:-4]
    nonce = address + b"\xd2\xfc" + frame[:1] + counter
    try:
        payload = secret.cipher.decrypt(nonce, frame[start:-8] + frame[-4:], None)
    except InvalidTag:
        raise errors.ChecksumError(
            f"the tag of the BTHome frame {frame.hex()} does not match: "
            "wrong key, wrong address, or a damaged or forged frame",
            remedy="Compare key and address with what its maker's set-up shows",
        ) from None
    return payload, int.from_bytes(counter, "little")


def _check_counter(counter: int, last: int | None) -> None:
    if last is None or counter > last:
        return
    if counter == last:
        raise errors.DuplicateFrameError(f"BTHome counter {counter} was had already")
    raise errors.ReplayError(
        f"BTHome counter {counter} is behind {last}: refused as a replay; "
        "reset the counter by hand if the battery was changed",
        remedy="If its battery was changed: pitlogger devices forget",
    )


def _once(
    payload: bytes,
    objects: list[tuple[int, bytes]],
    state: DeviceMemory,
    *,
    proved: bool,
    now_s: float,
) -> DeviceMemory:
    """Return the state with this frame taken.

    Raises:
        ReplayError: It was had already, or is older than the last.
    """
    is_close = state.heard_s is not None and now_s - state.heard_s <= _SILENCE_S
    packet_id = next((raw[0] for kind, raw in objects if kind == PACKET_ID), None)
    if packet_id is not None:
        if state.packet_id is not None and is_close:
            _check_packet_id(packet_id, state.packet_id)
        return replace(state, packet_id=packet_id, heard_s=now_s)
    is_event = not proved and any(kind in EVENTS for kind, _ in objects)
    if is_event and is_close and payload == state.event:
        raise errors.DuplicateFrameError(f"BTHome event {payload.hex()} was had already")
    return replace(state, event=payload if is_event else b"", heard_s=now_s)


def _check_packet_id(packet_id: int, last: int) -> None:
    if packet_id == last:
        raise errors.DuplicateFrameError(f"BTHome packet id {packet_id} was had already")
    if (packet_id - last) % 256 >= _NEWER:
        raise errors.ReplayError(f"BTHome packet id {packet_id} is older than {last}")


class BTHomeDecoder:
    """Decode the advertisements of one device.

    Args:
        secret: Key and address of a device that encrypts.
        state: State kept from an earlier process.
        monotonic_s: Tells the time of receipt; without it no silence is ever noticed.
    """

    __slots__ = ("_monotonic_s", "_secret", "state")

    def __init__(
        self,
        secret: Secret | None = None,
        state: DeviceMemory | None = None,
        monotonic_s: Callable[[], float] = lambda: 0.0,
    ) -> None:
        self._secret = secret
        self._monotonic_s = monotonic_s
        self.state = state or DeviceMemory()

    def feed(self, chunk: Chunk) -> list[Outcome]:
        """Return what one service-data block says, or why it is refused."""
        try:
            outcomes, self.state = decode(
                chunk.data, self.state, secret=self._secret, now_s=self._monotonic_s()
            )
        except errors.DecodeError as error:
            return [error]
        return outcomes


def _build(options: DecodeOptions) -> BTHomeDecoder:
    secret = Secret.of(options.key, options.address) if options.key is not None else None
    return BTHomeDecoder(secret)


DECODER = DecoderInfo(
    name="bthome",
    summary="BTHome v2 advertisement (service data without its UUID)",
    example="--hex 4002ca0903bf13",
    build=_build,
    options=("key", "address"),
)
