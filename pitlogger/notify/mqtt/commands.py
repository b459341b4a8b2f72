"""Commands over MQTT: read, checked, and answered. Pure but for the clock it is given.

A command is one JSON object: ``key`` (for idempotency), ``do``, what that needs, ``by`` and
``at``. A retained or late "stage: resting" would be dangerous after a reboot, so a command is
refused when it was retained, has no key, or shows no sign of being fresh: neither a message
expiry (MQTT 5, 3.3.2.3.3), after which the broker drops it, nor an ``at`` of the last half minute.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from pitlogger.clock import rfc3339
from pitlogger.errors import RefusedError, UsageError, unknown
from pitlogger.formats.capture import stage_of
from pitlogger.formats.json_text import parse_json
from pitlogger.formats.one_line import one_line
from pitlogger.model.cooks import Stage
from pitlogger.model.journal import AlertActed, Body, Noted, StageSet
from pitlogger.questions import NO_ANSWERS, Answers

FRESH_MS = 30_000
LONGEST_EXPIRY_S = 300
LARGEST_BYTES = 4096
WORDS = ("acknowledge", "shelve", "unshelve", "stage", "note")


@dataclass(frozen=True, slots=True)
class Arrived:
    """A message on the command topic, and what the broker said of it."""

    payload: bytes
    retained: bool
    expiry_s: int | None


@dataclass(frozen=True, slots=True)
class AcceptedCommand:
    """A command that may be carried out."""

    key: str
    by: str
    body: Body
    answers: Answers = NO_ANSWERS


def key_of(payload: bytes) -> str:
    """Return the key of a command, empty where there is none to be read."""
    try:
        return _text(_document(payload), "key", 80)
    except UsageError:
        return ""


def read(arrived: Arrived, now_ms: int, offset_ms: int) -> AcceptedCommand:
    """Return what a message asks for.

    Args:
        now_ms: Engine time.
        offset_ms: UTC less engine time.

    Raises:
        RefusedError: Retained, or not fresh.
        UsageError: It cannot be read.
    """
    if arrived.retained:
        raise RefusedError("a retained command is never carried out: publish it unretained")
    document = _document(arrived.payload)
    key = _text(document, "key", 80)
    _check_fresh(document, arrived.expiry_s, now_ms + offset_ms)
    by = _text(document, "by", 12, default="")
    answers = Answers.of(_text(document, "confirm", 2000, default=""))
    return AcceptedCommand(f"mqtt:{key}", by, _body(document, now_ms), answers)


def _document(payload: bytes) -> dict[str, Any]:
    if len(payload) > LARGEST_BYTES:
        raise UsageError(f"a command has at most {LARGEST_BYTES} bytes")
    try:
        document = parse_json(payload)
    except ValueError as fault:
        raise UsageError(f"a command is one JSON object: {fault}") from None
    if not isinstance(document, dict):
        raise UsageError("a command is one JSON object, such as"
                         ' {"key":"a1","do":"acknowledge","alert":"pit-low/pit"}')  # fmt: skip
    return document


def _check_fresh(document: dict[str, Any], expiry_s: int | None, utc_ms: int) -> None:
    if "at" in document:
        try:
            at_ms = datetime.fromisoformat(_text(document, "at", 40)).timestamp() * 1000
            said = rfc3339(round(at_ms))
        except (ValueError, OverflowError):
            raise UsageError("'at' is a time such as 2026-09-19T18:00:00Z") from None
        if abs(utc_ms - at_ms) > FRESH_MS:
            raise RefusedError(
                f"the command is of {said} and it is {rfc3339(utc_ms)}:"
                f" expected at most {FRESH_MS // 1000} s between them"
            )
    elif expiry_s is None or expiry_s > LONGEST_EXPIRY_S:
        raise RefusedError(
            f"a command needs an expiry of at most {LONGEST_EXPIRY_S} s (MQTT 5 message expiry"
            " interval) or its time in 'at': one that comes late is dangerous"
        )


def _body(document: dict[str, Any], now_ms: int) -> Body:
    word = _text(document, "do", 20)
    match word:
        case "acknowledge" | "unshelve":
            reason = _text(document, "reason", 500, default="")
            return AlertActed(_text(document, "alert", 200), word, reason=reason)
        case "shelve":
            minutes = document.get("minutes")
            if not isinstance(minutes, int | float) or not 0 < minutes <= 24 * 60:
                raise UsageError("'minutes' is a number above 0 and at most 1440")
            until_ms = now_ms + round(minutes * 60_000)
            alert, reason = _text(document, "alert", 200), _text(document, "reason", 500)
            return AlertActed(alert, "shelve", until_ms, reason)
        case "stage":
            return StageSet(_text(document, "piece", 80), _stage(document), now_ms)
        case "note":
            piece = _text(document, "piece", 80, default="")
            return Noted(_text(document, "text", 2000), piece or None)
        case _:
            raise UsageError(unknown("command", word, WORDS))


def _stage(document: dict[str, Any]) -> Stage:
    try:
        return stage_of(_text(document, "stage", 40))
    except ValueError as fault:
        raise UsageError(str(fault)) from None


def _text(document: dict[str, Any], name: str, longest: int, default: str | None = None) -> str:
    value = document.get(name, default)
    if isinstance(value, str):
        value = one_line(value)
    if not isinstance(value, str) or (default is None and not value) or len(value) > longest:
        raise UsageError(f"'{name}' is a text of at most {longest} characters, and needed")
    return value
