"""What every way of being heard offers, and how secrets are read for it."""

from __future__ import annotations

import stat
from pathlib import Path
from typing import Protocol

from pitlogger.errors import DeliveryError
from pitlogger.notify.message import Message


class Way(Protocol):
    """One way to one person."""

    async def send(self, message: Message) -> str:
        """Send a message and return what is known of its arrival, in words.

        The same message may be sent again after a failure or a restart; its ``id`` goes with
        it wherever the way allows.

        Raises:
            DeliveryError: It did not get through.
        """


def read_secret(path: Path) -> str:
    """Return the secret in a file, without the line feed at its end.

    Raises:
        DeliveryError: The file cannot be read, is empty, or may be read by everybody.
    """
    try:
        mode = path.stat().st_mode
        text = path.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as fault:
        raise DeliveryError(
            f"the secret in {path} cannot be read ({fault})",
            remedy="Check that the file exists and belongs to the user that runs pitlogger",
            for_good=True,
        ) from None
    if mode & stat.S_IROTH:
        raise DeliveryError(
            f"{path} may be read by everybody on this machine",
            remedy=f"Run: chmod o-r {path}",
            for_good=True,
        )
    if not text:
        raise DeliveryError(f"{path} is empty; expected a secret in it", for_good=True)
    return text
