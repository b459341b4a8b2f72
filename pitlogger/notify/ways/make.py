"""The way that a table of the configuration describes; modules are loaded only as needed."""

from __future__ import annotations

from pitlogger import config_notify
from pitlogger.notify.ways.way import Way


def make_way(table: config_notify.AnyWay, broker: Way | None) -> Way:
    """Return the way of a table.

    Args:
        broker: The session of ``[mqtt]``, where there is one.
    """
    match table:
        case config_notify.NtfyTable() | config_notify.GotifyTable() | config_notify.WebhookTable():
            from pitlogger.notify.ways.http import HttpWay

            return HttpWay(table)
        case config_notify.MailTable():
            from pitlogger.notify.ways.mail import Mail

            return Mail(table)
        case config_notify.CommandTable():
            from pitlogger.notify.ways.command import ProgramWay

            return ProgramWay(table)
        case config_notify.AppriseTable():
            from pitlogger.notify.ways.apprise import Apprise

            return Apprise(table)
        case config_notify.SpeechTable():
            from pitlogger.notify.ways.speech import Speech

            return Speech(table)
        case config_notify.MqttWayTable():
            assert broker is not None, "the configuration refuses such a way without [mqtt]"
            return broker
