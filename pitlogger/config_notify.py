"""``[notify]`` of the configuration: ways of being heard, quiet hours, sounder, heartbeat.

Secrets are named as files and never written into the configuration itself.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from pitlogger.formats.cook_file import Id
from pitlogger.formats.file_table import FileTable


def _minutes(value: Any) -> int:
    """Return a time of day such as ``22:30`` as minutes since midnight."""
    match = re.fullmatch(r"([01]?\d|2[0-3]):([0-5]\d)", value) if isinstance(value, str) else None
    if match is None:
        raise ValueError('expected a time of day as text, such as "22:30"')
    return int(match[1]) * 60 + int(match[2])


def _url(value: Any) -> str:
    """Return an address as given."""
    if not isinstance(value, str) or re.fullmatch(r"https?://[^\s/]+(/\S*)?", value) is None:
        raise ValueError('expected an address such as "http://192.168.1.20:2586/pit"')
    return value


def _url_with_topic(value: Any) -> str:
    """Return an address whose path is a topic."""
    if not _url(value).split("://")[1].partition("/")[2].strip("/"):
        raise ValueError('expected server and topic, such as "http://192.168.1.20:2586/pit"')
    return str(value).rstrip("/")


TimeOfDay = Annotated[int, BeforeValidator(_minutes)]
Url = Annotated[str, BeforeValidator(_url)]
TopicUrl = Annotated[str, BeforeValidator(_url_with_topic)]


class WayTable(FileTable):
    """What all ways have: who is reached, and by what.

    ``contact = "second"`` is told only of high priority that nobody acknowledged within
    ``escalate_after_min``, or at once where no way to the first contact works; ``"third"`` as
    long again after that. ``notices`` asks for what needs no hand, such as a stall that began.
    """

    id: Id = ""
    contact: Literal["first", "second", "third"] = "first"
    from_priority: Literal["low", "medium", "high"] = "low"
    notices: bool = False

    @model_validator(mode="before")
    @classmethod
    def _named_after_its_kind(cls, given: Any) -> Any:
        if isinstance(given, dict) and "kind" in given:
            return {"id": given["kind"], **given}
        return given


class NtfyTable(WayTable):
    kind: Literal["ntfy"]
    url: TopicUrl
    token_file: Path | None = None
    ca_file: Path | None = None


class GotifyTable(WayTable):
    kind: Literal["gotify"]
    url: Url
    token_file: Path
    ca_file: Path | None = None


class WebhookTable(WayTable):
    kind: Literal["webhook"]
    url: Url
    token_file: Path | None = None
    ca_file: Path | None = None


class MailTable(WayTable):
    kind: Literal["mail"]
    host: str
    port: int = Field(587, ge=1, le=65535)
    security: Literal["starttls", "tls", "none"] = "starttls"
    username: str | None = None
    password_file: Path | None = None
    sender: str
    to: Annotated[tuple[str, ...], Field(min_length=1)]
    ca_file: Path | None = None


class CommandTable(WayTable):
    """A program that gets the message as JSON on standard input."""

    kind: Literal["command"]
    argv: Annotated[tuple[str, ...], Field(min_length=1)]
    timeout_s: float = Field(20.0, gt=0, le=300)


class AppriseTable(WayTable):
    """Services of the optional package apprise; the file holds one address a line."""

    kind: Literal["apprise"]
    urls_file: Path


class SpeechTable(WayTable):
    """Spoken aloud here by espeak-ng; ``voice`` is one of its own, the node's language if empty."""

    kind: Literal["speech"]
    voice: Annotated[str, Field(pattern=r"^[A-Za-z0-9+/_-]*$", max_length=40)] = ""
    loudness_pct: int = Field(100, ge=10, le=200)


class MqttWayTable(WayTable):
    """The broker of ``[mqtt]``, topic BASE/NODE/notice."""

    kind: Literal["mqtt"]


AnyWay = Annotated[
    NtfyTable
    | GotifyTable
    | WebhookTable
    | MailTable
    | CommandTable
    | AppriseTable
    | MqttWayTable
    | SpeechTable,
    Field(discriminator="kind"),
]


Pin = Annotated[int, Field(ge=0, le=27)]


class SounderTable(FileTable):
    """GPIO pins by their BCM number. ``healthy_pin`` is a relay held on while all is well.

    ``lights`` are lamps, by the priority of what stands.
    """

    pin: Pin | None = None
    button_pin: Pin | None = None
    healthy_pin: Pin | None = None
    lights: dict[Literal["high", "medium", "low"], Pin] = Field(default_factory=dict)
    active_high: bool = True


class NotifyTable(FileTable):
    way: tuple[AnyWay, ...] = ()
    sounder: SounderTable | None = None
    quiet_from: TimeOfDay | None = None
    quiet_to: TimeOfDay | None = None
    escalate_after_min: float = Field(10.0, ge=1, le=120)
    heartbeat_url: Url | None = None
    heartbeat_way: Id | None = None  # a way that gets a message of kind "alive" as a heartbeat
    heartbeat_s: float = Field(60.0, ge=10, le=3600)

    @model_validator(mode="after")
    def _fits_together(self) -> NotifyTable:
        ids = [way.id for way in self.way]
        for name in ids:
            if ids.count(name) > 1:
                raise ValueError(f"way id '{name}' is given twice: give each an id of its own")
        if self.heartbeat_way is not None and self.heartbeat_way not in ids:
            raise ValueError(
                f"heartbeat_way '{self.heartbeat_way}' is no way: expected one of {ids}"
            )
        if (self.quiet_from is None) != (self.quiet_to is None):
            raise ValueError("quiet hours need both quiet_from and quiet_to")
        return self
