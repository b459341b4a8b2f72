"""What a stranger may publish: a command, or a named refusal; nothing else."""

from __future__ import annotations

import json
import os
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pitlogger.errors import PitloggerError, UsageError
from pitlogger.model.journal import Noted
from pitlogger.notify.mqtt.commands import AcceptedCommand, Arrived, key_of, read
from pitlogger.notify.mqtt.discovery import components_of

EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "300"))
NOW_MS = 1_790_000_000_000
DEEP = b"[" * 4000
NOTE = {"key": "k1", "do": "note", "text": "fire is lit"}

VALUES: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=60),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=8,
)
WORDS = st.sampled_from(["acknowledge", "shelve", "unshelve", "stage", "note", "smoking", "a/b"])
FIELDS = (
    "key",
    "do",
    "by",
    "at",
    "alert",
    "minutes",
    "reason",
    "piece",
    "stage",
    "text",
    "confirm",
)
COMMANDS = st.dictionaries(st.sampled_from(FIELDS), WORDS | VALUES).map(
    lambda document: json.dumps(document).encode()
)


def heard(payload: bytes) -> AcceptedCommand:
    """Return what a fresh message asks for."""
    return read(Arrived(payload, retained=False, expiry_s=30), NOW_MS, 0)


@given(st.binary(max_size=5000) | COMMANDS)
@example(DEEP)
@example(b"[" * 200_000)
@example(b"9" * 4000)
@example(b'{"key":"\\ud800","do":"note","text":"x"}')
@example(b'{"key":"a","do":"note","text":"\xed\xa0\x80"}')
@example(b'{"key":"a","do":"note","text":"x","at":"9999-12-31T23:59:59-14:00"}')
@example(b'{"key":"a","do":"note","text":"x","at":"0001-01-01T00:00:00"}')
@example(b'{"key":"a","do":"shelve","alert":"x","reason":"y","minutes":1e999}')
@settings(max_examples=EXAMPLES, deadline=None)
def test_a_message_is_a_command_or_refused_in_words(payload: bytes) -> None:
    assert len(key_of(payload)) <= 80
    key_of(payload).encode()
    try:
        asked = heard(payload)
    except PitloggerError as refusal:
        str(refusal).encode()
    else:
        assert asked.key.startswith("mqtt:")


@given(st.binary(max_size=2000) | VALUES.map(lambda value: json.dumps(value).encode()))
@example(DEEP)
@example(b'{"cmps":{"a":{"p":' + b"[" * 3000)
@settings(max_examples=EXAMPLES, deadline=None)
def test_a_description_the_broker_kept_is_read_or_passed_over(payload: bytes) -> None:
    assert all(isinstance(kind, str) for kind in components_of(payload).values())


def test_a_note_over_mqtt_forges_no_line_and_steers_no_terminal() -> None:
    payload = json.dumps(NOTE | {"text": "soft\n14:13 served\x1b[2J", "by": "A\nB"}).encode()
    asked = heard(payload)
    assert asked.body == Noted("soft 14:13 served [2J", None)
    assert asked.by == "A B"


def test_a_command_longer_than_any_of_ours_is_refused_unread() -> None:
    with pytest.raises(UsageError, match="at most 4096 bytes"):
        heard(b'{"key":"' + b"a" * 5000)
