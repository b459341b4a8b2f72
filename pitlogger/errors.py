"""Every error pitlogger raises on purpose.

    PitloggerError
    ├── UsageError            what a person or a file gave cannot be used (exit 2)
    │   ├── QuantityError     a mass, temperature, time or amount that cannot be read
    │   ├── FieldError        a field of a question about the next cook
    │   ├── ConfigError       configuration or policy file
    │   ├── CookFileError     cook file
    │   └── CaptureError      capture file, with its line
    ├── RefusedError          understood, and refused; nothing was changed (exit 1)
    ├── DaemonUnreachableError  (exit 3)
    ├── DriverError           a driver that is missing, doubled or will not load
    ├── TransportError        the way to a device: not found, busy, lost
    │   └── SilentError       the way is open, and nobody speaks
    ├── DeliveryError         a notification that did not get through
    ├── DecodeError           bytes that are not a reading
    │   ├── ShortFrameError, ChecksumError, UnknownFrameError, MalformedError
    │   ├── OutOfRangeError       a value the layout does not allow
    │   ├── DeviceRefusalError    the device itself answered with an error
    │   ├── KeyMissingError       encrypted, and no key is known
    │   └── ReplayError
    │       └── DuplicateFrameError
    ├── BundleError           what a node sent to a hub cannot be taken
    ├── HubFullError          the hub cannot write; nodes wait
    ├── LibraryError          the forecast library shipped is damaged or of another version
    └── StoreError            the database
        └── RecordHeldError       another process works on it

A message says what was given, what was expected, where, and what to do.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable

_FIELD = re.compile(r"\{([a-z_]+)\}")


class PitloggerError(Exception):
    """Base of all errors raised on purpose."""

    exit_code = 1


class UsageError(PitloggerError):
    """What a person or a file gave cannot be used; ``field`` is the one at fault, where known."""

    exit_code = 2

    def __init__(self, message: str = "", field: str = "") -> None:
        super().__init__(message)
        self.field = field


class QuantityError(UsageError, ValueError):
    """A mass, temperature, time or amount that cannot be read."""


class FieldError(UsageError):
    """A field of a question that cannot be used.

    Args:
        field: The field at fault.
        reason: What is wrong; fields it names stand in braces: ``{portion} is missing``.
    """

    def __init__(self, field: str, reason: str) -> None:
        self.field, self.reason = field, reason
        super().__init__(self.worded(str), field)

    def worded(self, name: Callable[[str], str]) -> str:
        """Return the message with fields by the names that ``name`` gives them: options, labels."""
        text = _FIELD.sub(lambda found: name(found[1]), self.reason)
        return text if f"{{{self.field}}}" in self.reason else f"{name(self.field)}: {text}"


class ConfigError(UsageError):
    """A configuration or policy file that cannot be used."""


class CookFileError(UsageError):
    """A cook file that cannot be used."""


class CaptureError(UsageError):
    """A capture file that cannot be read; the message starts with ``file:line``."""


class RefusedError(PitloggerError):
    """Understood and refused; nothing was changed."""


class DaemonUnreachableError(PitloggerError):
    """No daemon answers on the socket."""

    exit_code = 3


class DriverError(PitloggerError):
    """A driver that is missing, doubled or will not load."""

    exit_code = 2


class TransportError(PitloggerError):
    """The way to a device failed; ``remedy`` says what a person can do."""

    def __init__(self, message: str, *, remedy: str = "") -> None:
        super().__init__(f"{message}. {remedy}" if remedy else message)
        self.message = message
        self.remedy = remedy


class SilentError(TransportError):
    """The way to a device is open, and nothing comes: it is off, or something else is there."""


class DeliveryError(PitloggerError):
    """A notification did not get through.

    ``for_good`` says that trying the same again cannot help: a wrong token, an unknown
    topic. ``remedy`` says what a person can do.
    """

    def __init__(self, message: str, *, remedy: str = "", for_good: bool = False) -> None:
        super().__init__(f"{message}. {remedy}" if remedy else message)
        self.message = message
        self.remedy = remedy
        self.for_good = for_good


class DecodeError(PitloggerError, ValueError):
    """Bytes that are not a reading; ``remedy`` says what to do where all of them are so."""

    def __init__(self, message: str, *, remedy: str = "") -> None:
        super().__init__(message)
        self.remedy = remedy


class ShortFrameError(DecodeError):
    """Fewer bytes than the layout needs."""


class ChecksumError(DecodeError):
    """Check bytes that do not match."""


class UnknownFrameError(DecodeError):
    """A type, unit or version this decoder does not know."""


class MalformedError(DecodeError):
    """Bytes or text that break the layout."""


class OutOfRangeError(DecodeError):
    """A value the layout does not allow: a battery at 101 %, a heat below absolute zero."""


class DeviceRefusalError(DecodeError):
    """The device itself answered with an error, an exception or "not understood"."""


class KeyMissingError(DecodeError):
    """An encrypted frame from a device whose key is not known."""


class ReplayError(DecodeError):
    """An authenticated frame that was already seen, or one sent plain that must not be."""


class BundleError(PitloggerError, ValueError):
    """What a node sent to a hub cannot be taken; the message is the reason."""


class HubFullError(PitloggerError):
    """The hub cannot take this now: disk, database or version; its node sends it again."""


class DuplicateFrameError(ReplayError):
    """The frame accepted last, heard again: advertisements are sent several times."""


class LibraryError(PitloggerError):
    """The forecast library shipped is damaged or made for another version."""


class StoreError(PitloggerError):
    """The database cannot be read or written."""


class RecordHeldError(StoreError):
    """Another process works on the record."""


PART = 2  # letters that a part of a longer word needs to be known by


def nearest(word: str, known: Iterable[str]) -> str:
    """Return `` (did you mean 'x'?)`` for the nearest known word, or an empty string."""
    given, words = word.casefold(), list(known)
    match = difflib.get_close_matches(given, words, n=1, cutoff=0.6)
    if not match and len(given) > PART:
        match = [one for one in words if given in one.split("-")]
    return f" (did you mean '{match[0]}'?)" if match else ""


def unknown(what: str, word: str, known: Iterable[str]) -> str:
    """Return the message for a word that is not one of those known.

    Example:
        ``unknown cut 'brisket-paker' (did you mean 'brisket-packer'?); known: ...``
    """
    words = list(known)
    return f"unknown {what} '{word}'{nearest(word, words)}; known: {', '.join(words) or 'none'}"
