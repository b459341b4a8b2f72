"""What a scanner sends: the text of a code, ended by CR, LF or both.

A serial scanner sends it as it is. One that poses as a keyboard types it, on the layout that
it was set to; it is read as the US layout here, whatever the computer is set to:

    struct input_event { long seconds, microseconds; u16 type, code; s32 value; }   native order

Type 1 is a key, its value 1 down, 0 up, 2 repeated. Shift and Control are followed; Control and
``]`` are GS (0x1D), as scanners type the FNC1 of a GS1 code. Enter, Tab and keypad Enter end
the code.

Source: Linux kernel documentation, input (event interface), ``input-event-codes.h``; USB HID
usage tables, page 7 (US layout).

Example (serial): ``50 4c 54 3a 70 61 6e 0d`` is ``PLT:pan``.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence

from pitlogger.devices.contract import Chunk, Measurement
from pitlogger.devices.decoders import DecodeOptions, DecoderInfo
from pitlogger.devices.framing import LineDecoder, Outcome
from pitlogger.errors import MalformedError
from pitlogger.model.quantities import Quantity

EVENT = struct.Struct("llHHi")
_KEY, _UP = 1, 0
_ENDS = frozenset((15, 28, 96))  # Tab, Enter, Enter of the keypad
_SHIFTS, _CONTROLS = frozenset((42, 54)), frozenset((29, 97))
# Key codes from the first of each row on: plain, with Shift.
_ROWS = (
    (2, "1234567890-=", "!@#$%^&*()_+"),
    (16, "qwertyuiop[]", "QWERTYUIOP{}"),
    (30, "asdfghjkl;'`", 'ASDFGHJKL:"~'),
    (43, "\\zxcvbnm,./", "|ZXCVBNM<>?"),
    (57, " ", " "),
    (71, "789-456+1230.", "789-456+1230."),
    (55, "*", "*"),
)
_PLAIN = {first + at: char for first, plain, _ in _ROWS for at, char in enumerate(plain)}
_SHIFTED = {first + at: char for first, _, shifted in _ROWS for at, char in enumerate(shifted)}
_SHIFTED_KEYS = {**_PLAIN, **_SHIFTED}


def parse(line: bytes) -> tuple[Outcome, ...]:
    """Return the code of one line.

    Raises:
        MalformedError: Bytes that are no text.
    """
    try:
        text = line.decode("utf-8").strip(" \t")
    except UnicodeDecodeError:
        raise MalformedError(
            f"{line[:24]!r} is no text: check baud and framing, or set the scanner to UTF-8"
        ) from None
    if any(char < " " and char != "\x1d" for char in text) or not text.strip("\x1d"):
        raise MalformedError(f"{text[:24]!r} holds control characters: a code does not")
    return (Measurement("code", Quantity.CODE, None, "", text=text),)


class KeyboardDecoder:
    """Keys typed, to the codes they spell."""

    __slots__ = ("_held", "_lines", "_rest")

    def __init__(self) -> None:
        self._lines = LineDecoder(parse)
        self._held: set[int] = set()
        self._rest = b""

    def feed(self, chunk: Chunk) -> Sequence[Outcome]:
        """Return the codes that the keys complete."""
        data = self._rest + chunk.data
        whole = len(data) // EVENT.size * EVENT.size
        self._rest = data[whole:]
        typed = "".join(self._typed(*event[2:]) for event in EVENT.iter_unpack(data[:whole]))
        return self._lines.feed(Chunk("", typed.encode())) if typed else ()

    def _typed(self, kind: int, code: int, value: int) -> str:
        """Return the character that an event types, if it does."""
        if kind != _KEY:
            return ""
        if code in _SHIFTS or code in _CONTROLS:
            (self._held.discard if value == _UP else self._held.add)(code)
            return ""
        if value != 1:
            return ""  # neither a key let go nor one that repeats is a character of a code
        if code in _ENDS:
            return "\n"
        if self._held & _CONTROLS:
            return "\x1d" if code == 27 else ""
        return (_SHIFTED_KEYS if self._held & _SHIFTS else _PLAIN).get(code, "")


LINES = DecoderInfo(
    name="line-scanner",
    summary="Scanner that sends each code as a line",
    example=r"--text 'PLT:half-pan-3\r'",
    build=lambda options: LineDecoder(parse),
)


def _keyboard(options: DecodeOptions) -> KeyboardDecoder:
    return KeyboardDecoder()


KEYS = DecoderInfo(
    name="keyboard-scanner",
    summary="Scanner that types each code as a keyboard would",
    example="--hex '" + b"".join(EVENT.pack(0, 0, 1, code, 1) for code in (30, 48, 28)).hex() + "'",
    build=_keyboard,
)
