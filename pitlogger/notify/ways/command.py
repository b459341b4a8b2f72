"""A program of one's own that gets the message as JSON on standard input."""

from __future__ import annotations

import json

from pitlogger.config_notify import CommandTable
from pitlogger.errors import DeliveryError
from pitlogger.notify.message import Message, message_document
from pitlogger.notify.ways.child import run_child


class ProgramWay:
    """Runs a program without a shell; exit code 0 means delivered, 75 means try again.

    Source of 75: sysexits.h, EX_TEMPFAIL. Any other code is for good.
    """

    def __init__(self, table: CommandTable) -> None:
        self._argv = table.argv
        self._timeout_s = table.timeout_s

    async def send(self, message: Message) -> str:
        """Run the program and wait for its end."""
        given = json.dumps(message_document(message), ensure_ascii=False).encode()
        try:
            code, said = await run_child(self._argv, given, self._timeout_s)
        except TimeoutError:
            raise DeliveryError(
                f"{self._argv[0]} did not end within {self._timeout_s:g} s and was stopped"
            ) from None
        except OSError as fault:
            raise DeliveryError(
                f"{self._argv[0]} cannot be run ({fault.strerror})",
                remedy="Give the whole path, and let the file be executable",
                for_good=True,
            ) from None
        if code:
            raise DeliveryError(
                f"{self._argv[0]} ended with code {code}: {said or 'it said nothing'}",
                for_good=code != 75,
            )
        return "the program ended with code 0"
