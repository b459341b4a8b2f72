"""The way that a table of the configuration describes; modules are loaded only as needed."""

from __future__ import annotations

from pitlogger.config_notify import (
    AnyWay,
    AppriseTable,
    CommandTable,
    GotifyTable,
    MailTable,
    MqttWayTable,
    NtfyTable,
    SpeechTable,
    WebhookTable,
)
from pitlogger.notify.ways.way import Way


def make_way(table: AnyWay, broker: Way | None) -> Way:
    """Return the way of a table.

    Args:
        broker: The session of ``[mqtt]``, where there is one.
    """
    match table:
        case NtfyTable() | GotifyTable() | WebhookTable():
            from pitlogger.notify.ways.http import HttpWay

            return HttpWay(table)
        case MailTable():
            from pitlogger.notify.ways.mail import Mail

            return Mail(table)
        case CommandTable():
            from pitlogger.notify.ways.command import ProgramWay

            return ProgramWay(table)
        case AppriseTable():
            from pitlogger.notify.ways.apprise import Apprise

            return Apprise(table)
        case SpeechTable():
            from pitlogger.notify.ways.speech import Speech

            return Speech(table)
        case MqttWayTable():
            assert broker is not None, "the configuration refuses such a way without [mqtt]"
            return broker
