"""E-mail over SMTP, in a thread: the standard library's client waits."""

from __future__ import annotations

import asyncio
import smtplib
import ssl
from datetime import UTC, datetime
from email.message import EmailMessage
from email.utils import format_datetime

from pitlogger.config_notify import MailTable
from pitlogger.errors import DeliveryError
from pitlogger.notify.message import Message
from pitlogger.notify.ways.way import read_secret

TIMEOUT_S = 20.0


class Mail:
    """One mail server and the people to write to."""

    def __init__(self, table: MailTable) -> None:
        self._table = table

    async def send(self, message: Message) -> str:
        """Hand the mail to the server."""
        letter = self._letter(message)
        try:
            return await asyncio.to_thread(self._hand_over, letter)
        except smtplib.SMTPResponseException as fault:
            said = fault.smtp_error
            words = said.decode(errors="replace") if isinstance(said, bytes) else said
            raise DeliveryError(
                f"{self._table.host} answered {fault.smtp_code} {words}",
                remedy="Check user name, password and sender",
                for_good=500 <= fault.smtp_code < 600,
            ) from None
        except smtplib.SMTPRecipientsRefused as fault:
            raise DeliveryError(
                f"{self._table.host} takes no mail for {', '.join(fault.recipients)}",
                remedy="Check the addresses in `to`",
                for_good=True,
            ) from None
        except (OSError, smtplib.SMTPException) as fault:
            raise DeliveryError(
                f"mail server {self._table.host}:{self._table.port}: {fault}",
                remedy="Check address, port and `security`",
            ) from None

    def _letter(self, message: Message) -> EmailMessage:
        letter = EmailMessage()
        letter["Subject"] = " ".join(message.title.split())
        letter["From"] = self._table.sender
        letter["To"] = ", ".join(self._table.to)
        letter["Date"] = format_datetime(datetime.fromtimestamp(message.at_ms / 1000, UTC))
        letter["Message-ID"] = f"<{_dotted(message.id)}@pitlogger>"
        letter["Auto-Submitted"] = "auto-generated"  # RFC 3834: no holiday notes, please
        letter.set_content(message.text or message.title)
        return letter

    def _hand_over(self, letter: EmailMessage) -> str:
        table = self._table
        trust = ssl.create_default_context(cafile=table.ca_file)
        at = (table.host, table.port)
        client: smtplib.SMTP
        if table.security == "tls":
            client = smtplib.SMTP_SSL(*at, timeout=TIMEOUT_S, context=trust)
        else:
            client = smtplib.SMTP(*at, timeout=TIMEOUT_S)
        with client:
            if table.security == "starttls":
                client.starttls(context=trust)
            if table.username is not None and table.password_file is not None:
                client.login(table.username, read_secret(table.password_file))
            refused = client.send_message(letter)
        if refused:
            raise smtplib.SMTPRecipientsRefused(refused)
        return f"the mail server took it for {', '.join(table.to)}"


def _dotted(text: str) -> str:
    """Return a text with only what a message id may hold (RFC 5322, dot-atom)."""
    return "".join(char if char.isascii() and char.isalnum() else "." for char in text).strip(".")
